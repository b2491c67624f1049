package compare

import (
	"math"
	"testing"

	"fairmetal/mark"
	"fairmetal/surface"
)

func bowl(h float64, extra ...[3]float64) (*surface.Surface, []mark.Mark) {
	g := surface.Grid{Cols: 301, Rows: 201, PitchMM: 0.5, X0MM: -75, Y0MM: -50}
	s := surface.New(g)
	for i := range s.Height {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		z := h * math.Exp(-(x*x+y*y)/(2*49))
		for _, e := range extra {
			z += e[2] * math.Exp(-((x-e[0])*(x-e[0])+(y-e[1])*(y-e[1]))/(2*9))
		}
		s.Height[i], s.Sigma[i] = float32(z), 0.0005
	}
	return s, mark.Find(s, mark.Options{})
}

func TestStates(t *testing.T) {
	before, mb := bowl(-0.3)
	for _, c := range []struct {
		h    float64
		want State
	}{{-0.3, Same}, {-0.1, Better}, {-0.4, Worse}, {0.05, Turned}, {-0.002, Gone}} {
		after, ma := bowl(c.h)
		p := Captures(before, after, mb, ma)
		if len(p.Changes) == 0 || p.Changes[0].State != c.want && !(c.want == Turned && p.Changes[0].State == Turned) {
			t.Errorf("%+.3f mm: %+v, want %s", c.h, p.Changes, c.want)
		}
	}
}

// TestNewHigh: what appears in a round is named, and sound metal agrees.
func TestNewHigh(t *testing.T) {
	before, mb := bowl(-0.3)
	after, ma := bowl(-0.06, [3]float64{40, 10, 0.05})
	p := Captures(before, after, mb, ma)
	if len(p.Changes) != 2 || p.Changes[1].State != New || math.Abs(p.Changes[1].IsUM-50) > 2 {
		t.Errorf("%+v", p.Changes)
	}
	if p.SoundUM > 1 || p.HighestUM < 45 || p.CommonCM2 != 150 {
		t.Errorf("%+v", p)
	}
}
