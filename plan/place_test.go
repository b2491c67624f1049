package plan

import (
	"math"
	"testing"

	"fairmetal/metal"
	"fairmetal/rack"
)

// TestFieldNearAnEdge: the field of a hit 35 mm from a held edge, on a flat panel and on one crowned otherwise along than across, is that of package
// metal's shell for the whole panel, where the place lies in its square by up to 10 mm either way, within 0.06 of the set; the field amid the panel is off
// by more.
func TestFieldNearAnEdge(t *testing.T) {
	frame := &rack.Line{X0MM: -40, Y0MM: -150, X1MM: 360, Y1MM: 170}
	for name, c := range map[string]metal.Crown{"flat": {}, "crowned": {KxPerMM: 1.0 / 6000, KyPerMM: 1.0 / 1800}} {
		p := panel(t, 0)
		g, err := newGround(p, c, rack.Access{Frame: frame})
		if err != nil {
			t.Fatal(err)
		}
		room := metal.ShellSpec{Sheet: p.Sheet, WidthMM: frame.X1MM - frame.X0MM, HeightMM: frame.Y1MM - frame.Y0MM, KxPerMM: c.KxPerMM, KyPerMM: c.KyPerMM}
		shell, err := metal.NewShell(room)
		if err != nil {
			t.Fatal(err)
		}
		const x, y = -5.0, 12.0
		bent := shell.Bend(metal.Source{XMM: x - frame.X0MM, YMM: y - frame.Y0MM, BendMM: 1, CoreMM: patchMM})
		top := bent.AtMM(x-frame.X0MM, y-frame.Y0MM)
		worst := func(f *field) (most float64) {
			for _, d := range [][2]float64{{-16, 0}, {-24, 0}, {0, 30}, {0, -30}, {30, 0}, {60, 0}, {20, 40}} {
				want := bent.AtMM(x+d[0]-frame.X0MM, y+d[1]-frame.Y0MM) / top
				most = max(most, math.Abs(f.at(int(d[0]/cellMM), int(d[1]/cellMM))-want))
			}
			return most
		}
		here, mid := worst(g.at(x, y).wide), worst(g.mid.wide)
		t.Logf("%s: off by %.3f near the edge, %.3f as amid the panel", name, here, mid)
		if here > 0.06 || mid < 1.5*here {
			t.Errorf("%s: off by %.3f near the edge, %.3f as amid the panel", name, here, mid)
		}
		if far := g.at(160, 10); name == "crowned" && far != g.mid {
			t.Error("amid the panel the edge is felt")
		}
	}
}

// TestCrownBothWays: on metal that is crowned along only, a hit reaches farther along the straight way than across.
func TestCrownBothWays(t *testing.T) {
	g, err := newGround(panel(t, 2000), metal.Crown{KxPerMM: 1.0 / 800}, rack.Access{})
	if err != nil {
		t.Fatal(err)
	}
	f := g.at(0, 0).wide
	if across, along := f.at(15, 0), f.at(0, 15); math.Abs(across-along) < 0.02 {
		t.Errorf("30 mm across %.3f, along %.3f", across, along)
	}
}

// TestBraceHolds: with a brace 25 mm beside it a push lifts the metal there not at all, and plans for both differ.
func TestBraceHolds(t *testing.T) {
	a := rack.Access{Braces: []rack.Line{{X0MM: 25, Y0MM: -200, X1MM: 25, Y1MM: 200}}}
	g, err := newGround(panel(t, 0), metal.Crown{}, a)
	if err != nil {
		t.Fatal(err)
	}
	f := g.at(-10, 10) // a square's middle: the brace stands 35 mm beside
	if v, open := f.wide.at(17, 0), g.mid.wide.at(17, 0); math.Abs(v) > 0.02 || open < 0.2 {
		t.Errorf("over the brace %.3f, without %.3f", v, open)
	}
	s, m := dented(dent{-10, 0, 250, 26})
	in := input(s, m, panel(t, 0))
	in.NextOnly = true
	free, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	in.Access = a
	held, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	same := len(hits(free)) == len(hits(held))
	for i, h := range hits(free) {
		same = same && h == hits(held)[i]
	}
	if same {
		t.Error("the brace changes nothing")
	}
}
