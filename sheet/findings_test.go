package sheet

import (
	"math"
	"testing"
)

// strength fits A of w = A (ln(a/r) - (1 - r^2/a^2)/2), what a source of plastic curvature leaves on a flat sheet clamped at a, to a
// profile beyond 10 mm; miss is the largest distance from it, of the height at 10 mm.
func strength(r, w []float64, a float64) (strength, miss float64) {
	form := func(r float64) float64 { return math.Log(a/r) - (1-r*r/(a*a))/2 }
	var up, down float64
	for i := 1; i < len(r); i++ {
		if r[i] > 10 {
			f := form(r[i])
			up += w[i] * f * (r[i] - r[i-1])
			down += f * f * (r[i] - r[i-1])
		}
	}
	strength = up / down
	for i := range r {
		if r[i] > 10 && r[i] < a {
			miss = math.Max(miss, math.Abs(w[i]-strength*form(r[i])))
		}
	}
	return strength, miss / (strength * form(10))
}

// TestOneCurve: A/t against F/(yield t^2) falls on one line for all sheets tried (mechanics.md section 14: flat, disc of 2 mm, scatter
// 8 %; the values are those of the reference runs), nothing to speak of stays below 0.8 units, and A does not depend on the support.
func TestOneCurve(t *testing.T) {
	line := map[float64]float64{1.25: 0.027, 1.75: 0.085, 2.45: 0.206}
	for _, d := range []Disc{
		{Material: steel160, ThicknessMM: 0.7, SupportMM: 150},
		{Material: steel160, ThicknessMM: 0.7, SupportMM: 50},
		{Material: steel160, ThicknessMM: 0.9, SupportMM: 150},
		{Material: steel220, ThicknessMM: 0.7, SupportMM: 150},
		{Material: al180, ThicknessMM: 1, SupportMM: 150},
	} {
		unit := d.YieldMPa * d.ThicknessMM * d.ThicknessMM
		hits, err := Pushes(d, Tip{DiscMM: 2}, []float64{0.5 * unit, 0.8 * unit, 1.25 * unit, 1.75 * unit, 2.45 * unit})
		if err != nil {
			t.Fatal(err)
		}
		if s := hits[0].SetUM / 1000 / d.ThicknessMM; s > 0.001 {
			t.Errorf("%g MPa, %g mm: half a unit of force leaves %.4f thicknesses", d.YieldMPa, d.ThicknessMM, s)
		}
		if s := hits[1].SetUM / 1000 / d.ThicknessMM; s > 0.015 {
			t.Errorf("%g MPa, %g mm: 0.8 units of force leave %.4f thicknesses", d.YieldMPa, d.ThicknessMM, s)
		}
		for _, h := range hits[2:] {
			a, miss := strength(h.R, h.W, d.SupportMM)
			// The runs scatter by 8 % about the line; near the threshold ours does by 15 %.
			near(t, "A/t", a/d.ThicknessMM, line[math.Round(100*h.ForceN/unit)/100], 0.16)
			if miss > 0.03 {
				t.Errorf("%g N: the profile is %.1f %% off the law", h.ForceN, 100*miss)
			}
		}
	}
}

// TestSquareObeysTheLaw: the same A is found on a square sheet of equal stiffness, along its axis out to a third of the side.
func TestSquareObeysTheLaw(t *testing.T) {
	h, err := Square(Quarter(steel160, 0.7, 150/EquivalentRadius(1), 0), Tip{DiscMM: 2}, []float64{137, 192})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.085, 0.206} {
		n := 0
		for h[i].R[n] < 90 {
			n++
		}
		a, _ := strength(h[i].R[:n], h[i].W[:n], 150)
		near(t, "A/t", a/0.7, want, 0.12)
	}
}

// TestSpringbackDoesNotAskForTheDent: on a dented place it is the height under load less a nearly constant springback that decides, not the
// force: 120 N fall back by 0.58 mm on virgin metal of R = 2 m and by 0.57 to 0.66 mm in dents, 160 N by 0.68 to 0.70.
func TestSpringbackDoesNotAskForTheDent(t *testing.T) {
	springback := func(dent float64) (back [2]float64) {
		w := start(t, Quarter(steel160, 0.7, 300, 2000), Place{FineMM: 4, StepMM: 1.2})
		if dent != 0 {
			hit(t, w, 0, 0, Tip{DiscMM: 5.4531}, dent)
		}
		for i, f := range []float64{120, 160} {
			back[i] = hit(t, w, 0, 0, Tip{DiscMM: 1.9627}, f) - w.HeightMM(0, 0)
		}
		return back
	}
	virgin := springback(0)
	for _, dent := range []float64{-150, -250} {
		for i, b := range springback(dent) {
			near(t, "springback", b, virgin[i], 0.20)
		}
	}
}

// TestPullLeavesSoftMetalHigh: common practice: a pull leaves soft metal around a sharp low higher than its centre. A low pressed with a
// punch of 2 mm into a flat panel is brought level by a tab of 25 mm and by a tip of 3 mm from behind: both leave a ring, the tab a higher one.
func TestPullLeavesSoftMetalHigh(t *testing.T) {
	ring := func(tip Tip, rising []float64) float64 {
		w := start(t, Quarter(steel160, 0.7, 200, 0), Place{FineMM: 3, StepMM: 1.2})
		hit(t, w, 0, 0, Tip{DiscMM: 1.5}, -170)
		for _, f := range rising {
			hit(t, w, 0, 0, tip, f)
			if w.HeightMM(0, 0) > 0 {
				break
			}
		}
		high := math.Inf(-1)
		for x := 5.0; x < 60; x++ {
			high = math.Max(high, w.HeightMM(x, 0)-w.HeightMM(0, 0))
		}
		return high
	}
	pull, push := ring(Tip{DiscMM: 12.5}, []float64{120, 160, 200, 240, 280, 320, 360}), ring(Tip{BallMM: 3}, []float64{80, 100, 120, 140, 160})
	t.Logf("ring over the centre: pulled %.3f mm, pushed %.3f mm", pull, push)
	if pull < 0.05 || pull < 1.3*push {
		t.Errorf("a ring of %.3f mm after the pull, %.3f mm after the push", pull, push)
	}
}

// TestHeavyPushesNeedThePanelHeld: common practice: a push of 240 N in the middle of a flat panel of 600 mm moves the panel by five
// millimetres of which one stays; held by blocks 40 mm around it moves by a quarter of that, and as much stays: the hand feels the mark
// and not the panel.
func TestHeavyPushesNeedThePanelHeld(t *testing.T) {
	push := func(braces ...Brace) (loaded, left float64) {
		w := start(t, Quarter(steel160, 0.7, 600, 0), Place{StepMM: 1.2})
		w.Hold(braces...)
		loaded = hit(t, w, 0, 0, Tip{BallMM: 5}, 240)
		w.Hold()
		if _, ok := w.settle(0, 240); !ok {
			t.Fatal("no balance once the blocks are gone")
		}
		return loaded, w.HeightMM(0, 0)
	}
	free, left := push()
	held, stays := push(Brace{XMM: 40}, Brace{YMM: 40}, Brace{XMM: 28.3, YMM: 28.3})
	t.Logf("free: %.2f mm under load, %.3f left; held: %.2f, %.3f", free, left, held, stays)
	if held > free/3 {
		t.Errorf("held, the panel still moves by %.2f of %.2f mm", held, free)
	}
	near(t, "what stays", stays, left, 0.1)
}

// TestProp: a prop behind the sheet takes what presses the sheet in and leaves what lifts it alone.
func TestProp(t *testing.T) {
	give := func(force float64, side int) float64 {
		w := start(t, Rect{Material: elastic, ThicknessMM: 0.7, WidthMM: 200, HeightMM: 160}, Place{XMM: 80, YMM: 70, StepMM: 4})
		w.Hold(Brace{XMM: 90, YMM: 70, Side: side})
		if err := w.Push(80, 70, Tip{DiscMM: 3}, force); err != nil {
			t.Fatal(err)
		}
		return w.HeightMM(80, 70) / force
	}
	free, held := give(5, 1), give(-5, 1)
	if held > 0.3*free {
		t.Errorf("gives %.4f mm/N against the prop, %.4f from it", held, free)
	}
	near(t, "a prop before the sheet", give(-5, -1), free, 1e-6)
}
