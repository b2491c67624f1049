package metal

import (
	"math"
	"testing"
)

// TestMandrel: plain geometry t/(d + t) without a film on 0.8 mm sheet: 3.1, 4.0, 5.9, 7.8, 11, 20 % on 25, 19, 12.7, 9.5, 6.4, 3.2 mm; the
// published elongations for 25 um on the same sheet (ASTM D522, table in a test maker's manual) are never smaller.
func TestMandrel(t *testing.T) {
	for _, c := range [][3]float64{{25, 3.1, 3.3}, {19, 4.0, 4.4}, {12.7, 5.9, 6.75}, {9.5, 7.8, 9.0}, {6.4, 11, 14}, {3.2, 20, 28}} {
		if got := MandrelStrainPct(c[0], 0.8, 0); math.Abs(got-c[1]) > 0.15 {
			t.Errorf("%g mm: %.2f %%, want %.1f", c[0], got, c[1])
		}
		if got := MandrelStrainPct(c[0], 0.8, 25); got > c[2] {
			t.Errorf("%g mm with a film: %.2f %%, published %.2f", c[0], got, c[2])
		}
	}
	// A film that stood 25 mm on 0.8 mm at 23 C stands what we allow there.
	if MandrelStrainPct(25, 0.8, 110) < (Film{ThicknessUM: 110}).CapabilityPct(23) {
		t.Error("the planner allows more than the mildest mandrel proves")
	}
}

func TestFilmStrain(t *testing.T) {
	p := steel(160, 0.7, 2000)
	tip := Tip{RadiusMM: 5}
	thin, thick := Film{ThicknessUM: 60}, Film{ThicknessUM: 160}
	metal := p.StrainPct(100, tip)
	a, b := p.FilmStrainPct(100, tip, thin), p.FilmStrainPct(100, tip, thick)
	if !(metal < a && a < b) || math.Abs((b-metal)/(a-metal)-160.0/60) > 1e-9 {
		t.Errorf("metal %.3f, thin %.3f, thick %.3f %%", metal, a, b)
	}
	// The bending part ends where the sheet wraps the tip: 6.5 % for 5 mm.
	deep := p.FilmStrainPct(1500, tip, thin) - p.StrainPct(1500, tip)
	if want := 100 * 0.7 / 10.7 * 0.12 / 0.7; math.Abs(deep-want) > 1e-9 {
		t.Errorf("film adds %.3f %% wrapped, want %.3f", deep, want)
	}
}

// TestAccumulated: to and fro on one spot adds both; far apart nothing; order does not matter.
func TestAccumulated(t *testing.T) {
	hits := []FilmHit{{0, 0, 1.5, 0}, {0, 0, -0.5, 0}, {30, 0, 1, 0}, {2.2, 0, 1, 0}}
	if got := AccumulatedPct(hits[:2], 0, 0); math.Abs(got-2) > 1e-12 {
		t.Errorf("to and fro: %g", got)
	}
	if got := AccumulatedPct(hits[:3], 30, 0); math.Abs(got-1) > 1e-6 {
		t.Errorf("30 mm away: %g", got)
	}
	if got := AccumulatedPct(hits, 0, 0); math.Abs(got-2-math.Exp(-0.5)) > 1e-6 {
		t.Errorf("one reach away: %g", got)
	}
	w, x, y := WorstPct(hits)
	back := []FilmHit{hits[3], hits[2], hits[1], hits[0]}
	if v, _, _ := WorstPct(back); math.Abs(v-w) > 1e-6 || x < 0 || x > 2.2 || y != 0 || w < AccumulatedPct(hits, 0, 0) {
		t.Errorf("worst %g at (%g, %g), backwards %g", w, x, y, v)
	}
	// Two equal hits 1.4 reaches apart: the middle is the worst, 2 exp(-0.49/2).
	if w, x, _ := WorstPct([]FilmHit{{0, 0, 1, 5}, {7, 0, 1, 5}}); math.Abs(x-3.5) > 0.05 || math.Abs(w-2*math.Exp(-0.245)) > 1e-4 {
		t.Errorf("between two hits: %g at %g", w, x)
	}
	if w, _, _ := WorstPct(nil); w != 0 {
		t.Errorf("no hits: %g", w)
	}
}

// TestWarm: warm paint stands more bending (common practice): what cracks at 15 C is worked at 40 and more; a battery behind forbids more than
// 50; filler stands nothing.
func TestWarm(t *testing.T) {
	f := Film{ThicknessUM: 110}
	if w, err := f.Warm(1, 20); err != nil || w.WarmNeeded || w.ToC != 20 {
		t.Errorf("1 %% at 20 C: %+v, %v", w, err)
	}
	w, err := f.Warm(3, 15)
	if err != nil || !w.WarmNeeded || w.ToC < WarmFromC || w.StandsPct < 3*filmMargin || len(w.Cautions) < 4 {
		t.Errorf("3 %% at 15 C: %+v, %v", w, err)
	}
	if f.CapabilityPct(15) >= 3 {
		t.Error("cold paint stands it as well")
	}
	if w, err := f.Warm(3, 15, Battery, Foam); err != nil || w.MaxC != 50 || w.LimitedBy != Battery || w.ToC > 50 {
		t.Errorf("battery: %+v, %v", w, err)
	}
	for name, c := range map[string]struct {
		f Film
		e float64
	}{"too much": {f, 6}, "refinish": {Film{ThicknessUM: 250}, 3}, "filler": {Film{ThicknessUM: 900}, 0.5}, "nan": {f, math.NaN()}} {
		if w, err := c.f.Warm(c.e, 20); err == nil {
			t.Errorf("%s: %+v", name, w)
		}
	}
	if _, err := f.Warm(1, 20, Behind("cheese")); err == nil {
		t.Error("cheese accepted")
	}
	// Never told to go above the limit, and the need grows with the strain.
	last := -100.0
	for e := 0.1; e < 4.7; e += 0.1 {
		w, err := f.Warm(e, 10, Foam)
		if err != nil || w.ToC > w.MaxC || w.NeedC < last {
			t.Errorf("%.1f %%: %+v, %v", e, w, err)
		}
		last = w.NeedC
	}
}
