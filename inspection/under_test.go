package inspection

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/mark"
	"fairmetal/pose"
	"fairmetal/surface"
)

// TestUnderCards: a bump that comes out from under a card is told of; the same bump farther off, too shallow, or known as a mark is not.
func TestUnderCards(t *testing.T) {
	placed := func(letter string, x float64) pose.Placed {
		p := pose.Placed{Letter: letter}
		p.Centre = r3.Vec{X: x}
		p.Corners = [4]r3.Vec{{X: x - 20, Y: -20}, {X: x + 20, Y: -20}, {X: x + 20, Y: 20}, {X: x - 20, Y: 20}}
		return p
	}
	for _, c := range []struct {
		name      string
		x, bumpMM float64
		marks     []mark.Mark
		want      bool
	}{
		{"under", 78, 0.03, nil, true},
		{"low", 78, -0.03, nil, true},
		{"apart", 40, 0.03, nil, false},
		{"shallow", 78, 0.004, nil, false},
		{"known", 78, 0.03, []mark.Mark{{XMM: 76, LengthMM: 14, WidthMM: 10}}, false},
	} {
		r := &run{res: &Result{Surface: surface.New(surface.Grid{Cols: 500, Rows: 200, PitchMM: 0.5, X0MM: -125, Y0MM: -50}), Marks: c.marks}}
		r.res.Frame.A, r.res.Frame.B = placed("A", -100), placed("B", 100)
		r.res.Quality.SpreadUM = 0.6
		s := r.res.Surface
		for i := range s.Height {
			x, y := s.XY(i%s.Cols, i/s.Cols)
			s.Height[i] = float32(c.bumpMM * math.Exp(-((x-c.x)*(x-c.x)+y*y)/(2*9)))
			if math.Abs(math.Abs(x)-100) < 22 && math.Abs(y) < 22 {
				s.Height[i] = float32(math.NaN())
			}
		}
		r.underCards()
		if got := len(r.res.Notices) == 1 && r.res.Notices[0].Text == "the metal beside card B is uneven though no mark is there: one may hide under the card"; got != c.want {
			t.Errorf("%s: %v", c.name, r.res.Notices)
		}
	}
}
