package compare

import (
	"math"
	"strings"
	"testing"

	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/plan"
	"fairmetal/rack"
	"fairmetal/surface"
	"fairmetal/words"
)

// worked makes the hits of a round on the surface by the closed form of the field, on metal of a factor on the yield: another way than the
// planner's own shell.
func worked(s *surface.Surface, p metal.Panel, r plan.Round, harder float64) *surface.Surface {
	is := p
	is.Material = p.WithYield(harder * p.YieldMPa)
	out := surface.New(s.Grid)
	copy(out.Height, s.Height)
	copy(out.Sigma, s.Sigma)
	for _, h := range r.Hits {
		stands := 1000 * out.At(h.XMM, h.YMM)
		set := h.ToUM - stands
		switch {
		case h.Held:
			set = h.SetUM
		case h.Method != "tap":
			set = is.SetAtHeightUM(h.LoadedUM-stands, metal.Tip{Soft: strings.HasPrefix(h.Tool, "soft")})
		}
		for i := range out.Height {
			x, y := out.XY(i%out.Cols, i/out.Cols)
			d := math.Hypot(x-h.XMM, y-h.YMM)
			f := p.Field(d)
			switch {
			case h.Sharp:
				f *= math.Exp(-d * d / 9.7)
			case h.Held:
				f *= math.Exp(-d * d / 32)
			}
			out.Height[i] += float32(set * f / 1000)
		}
	}
	return out
}

// planned is a low of 0.3 mm on a steel panel with its plan.
func planned(t *testing.T) (plan.Input, plan.Plan) {
	t.Helper()
	m, err := metal.Lookup("mild steel")
	if err != nil {
		t.Fatal(err)
	}
	p := metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: 0.7}, RadiusMM: 2000, SupportMM: 150}
	before, marks := bowl(-0.3)
	in := plan.Input{Surface: before, Marks: marks, Panel: p, Film: metal.Film{ThicknessUM: 110}, TempC: 45, Rack: rack.Default()}
	pl, err := plan.Make(in)
	if err != nil {
		t.Fatal(err)
	}
	return in, pl
}

// TestMetalTells: a round on metal a fifth harder than thought says harder, on softer metal softer, within 8 %: a dozen hits of some 700 um under load whose
// springback is 85 % of that tell some per cent.
func TestMetalTells(t *testing.T) {
	in, pl := planned(t)
	p, before := in.Panel, in.Surface
	for _, harder := range []float64{0.85, 1.2} {
		w := Work{Forecast: pl.Forecast, Panel: p, Film: in.Film, TempC: 45, Rack: in.Rack, Done: []Done{{pl.Rounds[0], before, worked(before, p, pl.Rounds[0], harder)}}}
		s, err := Tell(w)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.Harder-harder) > 0.08 || s.Hits != len(pl.Rounds[0].Hits) {
			t.Errorf("heard %.3f +- %.3f of %.3f: %s", s.Harder, s.HarderSD, harder, s.Says)
		}
		german(t, s.Says)
		if want := map[bool]string{true: "harder than its name", false: "softer than its name"}[harder > 1]; !strings.Contains(s.Says, want) || !strings.Contains(s.Says, "stay push to") {
			t.Errorf("says %q", s.Says)
		}
	}
}

// german wants texts in the other language too.
func german(t *testing.T, texts ...string) {
	t.Helper()
	for _, s := range texts {
		if s != "" && !words.German.Has(s) {
			t.Errorf("not in German: %s", s)
		}
	}
}

// TestStretchedLowTells: around a low that was raised a ring stands up that no hit explains: that is told, with what to do; without the ring it is not.
func TestStretchedLowTells(t *testing.T) {
	in, pl := planned(t)
	p, before := in.Panel, in.Surface
	for _, ring := range []float64{0, 0.045} {
		after := worked(before, p, pl.Rounds[0], 1)
		for i := range after.Height {
			x, y := after.XY(i%after.Cols, i/after.Cols)
			q := (math.Hypot(x, y) - 18) / 4
			after.Height[i] += float32(ring * math.Exp(-q*q/2))
		}
		s, err := Tell(Work{Panel: p, TempC: 45, Rack: in.Rack, Done: []Done{{pl.Rounds[0], before, after}}})
		if err != nil {
			t.Fatal(err)
		}
		german(t, append(s.Warnings, s.Says, s.Made(), s.Bent())...)
		warned := false
		for _, w := range s.Warnings {
			warned = warned || strings.Contains(w, "stretched") && strings.Contains(w, "shrink")
		}
		if warned != (ring > 0) {
			t.Errorf("a ring of %g mm: %q %+v", ring, s.Warnings, s.Lows)
		}
	}
}

// TestWarnings: rounds that leave what they found, strain that adds up, a stretched low and more hits than forecast are told.
func TestWarnings(t *testing.T) {
	m, _ := metal.Lookup("mild steel")
	p := metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: 0.7}, RadiusMM: 2000}
	s, _ := bowl(-0.3)
	r := plan.Round{Hits: []plan.Hit{{Method: "tap", XMM: 5, StrainPct: 2}, {Method: "tap", XMM: 5, StrainPct: 1}}}
	w := Work{Forecast: plan.Forecast{HitsLow: 1, HitsHigh: 3}, Panel: p, TempC: 45, Rack: rack.Default(), Done: []Done{{r, s, s}, {r, s, s}}, Marks: []mark.Mark{{ID: "m01", Kind: mark.Round, StretchPct: 0.9}}}
	story, err := Tell(w)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"stop paying", "forecast was 1 to 3", "bent by 6.0 %", "stretched"} {
		if len(story.Warnings) != 4 || !strings.Contains(story.Warnings[i], want) {
			t.Fatalf("%q, want %q", story.Warnings, want)
		}
		german(t, story.Warnings[i])
	}
	if _, err := Tell(Work{Panel: p}); err == nil {
		t.Error("a story without a round")
	}
}
