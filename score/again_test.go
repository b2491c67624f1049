package score

import (
	"math"
	"testing"

	"fairmetal/mark"
	"fairmetal/surface"
)

// TestAgain: two measurements half a micrometre apart on sound metal, one mark worked in between and one left alone; what truth calls
// damaged, or one of both does not hold, takes no part.
func TestAgain(t *testing.T) {
	g := surface.Grid{Cols: 40, Rows: 20, PitchMM: 1}
	flat := func(um float64) *surface.Surface {
		s := surface.New(g)
		for i := range s.Height {
			s.Height[i] = float32(um / 1000)
		}
		return s
	}
	low := TrueMark{ID: "low", Kind: mark.Round, XMM: 10, YMM: 8, DepthUM: 200}
	a, b := &Truth{Height: flat(0)}, &Truth{Height: flat(0)}
	sa, sb := flat(1), flat(1.5)
	for i := range g.Cols {
		a.Height.Height[i] = -0.2
		sb.Height[i] = -0.1
		sa.Height[g.Len()-1-i] = float32(math.NaN())
	}
	pair := func(m TrueMark, um float64) Pair { return Pair{True: m, Found: mark.Mark{DepthUM: um}} }
	worked := low
	worked.ID, worked.XMM = "worked", 30
	less := worked
	less.DepthUM = 40
	r, ok := Again(a, b, sa, sb, []Pair{pair(low, 202), pair(worked, 200)}, []Pair{pair(less, 41), pair(low, 198)})
	if !ok || math.Abs(r.RMSUM-0.5) > 1e-3 || r.CM2 < 6.5 || r.CM2 > 7.2 || r.Marks != 1 || math.Abs(r.DepthPct-2.02) > 0.01 {
		t.Errorf("%+v %v", r, ok)
	}
	if _, ok := Again(a, b, sa, flat(math.NaN()), nil, nil); ok {
		t.Error("nothing in common, but a figure")
	}
}
