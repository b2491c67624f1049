package compare

import (
	"math"
	"strings"
	"testing"

	"fairmetal/mark"
	"fairmetal/register"
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

// TestMovedCards: three lows, two of them raised, under a frame that lies elsewhere: each is found again, and undamaged metal agrees.
func TestMovedCards(t *testing.T) {
	m := register.Move{XMM: 18, YMM: -11, TurnDeg: 7}
	at := func(m register.Move, h [4]float64) register.Side {
		g := surface.Grid{Cols: 301, Rows: 201, PitchMM: 0.5, X0MM: -75, Y0MM: -50}
		s := surface.New(g)
		for i := range s.Height {
			x, y := m.To(g.XY(i%g.Cols, i/g.Cols))
			z := 0.0
			for k, p := range [4][3]float64{{-30, 8, 49}, {12, -20, 36}, {25, 15, 25}, {-5, 25, 16}} {
				z += h[k] * math.Exp(-((x-p[0])*(x-p[0])+(y-p[1])*(y-p[1]))/(2*p[2]))
			}
			s.Height[i], s.Sigma[i] = float32(z), 0.0005
		}
		return register.Side{Surface: s, Marks: mark.Find(s, mark.Options{})}
	}
	p := Panels(at(register.Move{}, [4]float64{-0.3, -0.2, -0.15, -0.1}), at(m, [4]float64{-0.06, -0.05, -0.15, -0.1}))
	if !p.Alignment.Sure || !p.Alignment.Moved || math.Hypot(p.Alignment.Move.XMM-m.XMM, p.Alignment.Move.YMM-m.YMM) > 0.1 || math.Abs(p.Alignment.Move.TurnDeg-m.TurnDeg) > 0.1 {
		t.Errorf("%s: %+v", p.Frames, p.Alignment)
	}
	count := map[State]int{}
	for _, c := range p.Changes {
		count[c.State]++
	}
	if len(p.Changes) != 4 || count[Better] != 2 || count[Same] != 2 || !strings.Contains(p.Frames, "cards were moved") {
		t.Errorf("%s\n%+v", p.Frames, p.Changes)
	}
	// Without the move nothing would be found where it was.
	if p.SoundUM > 2 {
		t.Errorf("undamaged metal differs by %.1f um", p.SoundUM)
	}
}

// TestNothingTells: on metal without any mark or orange peel the cards' frame is kept, and that is said.
func TestNothingTells(t *testing.T) {
	a, ma := bowl(-0.3)
	b, _ := bowl(0)
	p := Panels(register.Side{Surface: a, Marks: ma}, register.Side{Surface: b})
	if p.Alignment.Sure || !strings.Contains(p.Frames, "the metal cannot tell") || p.Changes[0].State != Gone {
		t.Errorf("%s %+v", p.Frames, p.Changes)
	}
}

// TestJudge: what became of a mark, and that a depth which is the least it can be tells only what a larger one would tell.
func TestJudge(t *testing.T) {
	for _, c := range []struct {
		was, is           float64
		wasLeast, isLeast bool
		want              State
	}{
		{-100, -5, false, false, Gone},
		{-100, 30, false, false, Turned},
		{-100, -50, false, false, Better},
		{-100, -95, false, false, Same},
		{-100, -150, false, false, Worse},
		{-100, -5, true, false, Gone},
		{-100, -50, true, false, Better},
		{-100, -95, true, false, Open},
		{-100, -150, true, false, Open},
		{-100, -5, false, true, Open},
		{-100, -50, false, true, Open},
		{-100, -150, false, true, Worse},
		{-100, -100, true, true, Open},
		{-100, 30, true, true, Turned},
	} {
		if got := (&Change{WasUM: c.was, IsUM: c.is, WasLeast: c.wasLeast, IsLeast: c.isLeast}).judge(); got != c.want {
			t.Errorf("from %g to %g (the least: %v, %v): %s, want %s", c.was, c.is, c.wasLeast, c.isLeast, got, c.want)
		}
	}
}
