package mark

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/surface"
)

// TestRestless: a mark no deeper than what is all around it is dropped, one in calm metal is kept.
func TestRestless(t *testing.T) {
	s := surface.New(surface.Grid{Cols: 400, Rows: 200, PitchMM: 0.5, X0MM: -100, Y0MM: -50})
	for i := range s.Height {
		x, y := s.XY(i%s.Cols, i/s.Cols)
		s.Height[i] = 2e-4
		if x > 0 {
			s.Height[i] = float32(3e-3 * math.Sin(x/2) * math.Sin(y/2))
		}
	}
	f := newFinder(s, Options{MinDepthUM: DefaultMinDepthUM})
	got := f.dropRestless([]*region{{}, {}}, []Mark{{ID: "calm", XMM: -60, LengthMM: 12, DepthUM: 6}, {ID: "restless", XMM: 60, LengthMM: 12, DepthUM: 6}})
	if len(got) != 1 || got[0].ID != "calm" {
		t.Errorf("%+v", got)
	}
}

// TestInBand: noise of slopes adds up to long waves, in which a small mark is seen only in its own band; waves alone are no marks.
func TestInBand(t *testing.T) {
	g := surface.Grid{Cols: 500, Rows: 360, PitchMM: 0.5, X0MM: -125, Y0MM: -90}
	waves := func(seed uint64) *surface.Surface {
		r := rand.New(rand.NewPCG(seed, 1))
		s := surface.New(g)
		for i := range s.Height {
			s.Height[i], s.Sigma[i] = 0, 2e-3
		}
		for range 400 {
			// Slopes that scatter alike in waves of every length leave as much of height in every octave of it.
			length := 30 * math.Exp(r.Float64()*math.Log(10))
			dir, at := 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64()
			kx, ky := 2*math.Pi/length*math.Cos(dir), 2*math.Pi/length*math.Sin(dir)
			for i := range s.Height {
				x, y := g.XY(i%g.Cols, i/g.Cols)
				s.Height[i] += float32(3.4e-4 * math.Sin(kx*x+ky*y+at))
			}
		}
		return s
	}
	find := func(s *surface.Surface, read Reading) int {
		n := 0
		for _, m := range Find(s, Options{Read: read}) {
			if math.Hypot(m.XMM-15, m.YMM+10) < 4 && m.Kind == Round && math.Abs(m.DepthUM-26) < 10 {
				n++
				continue
			}
			t.Errorf("false: %+v", m)
		}
		return n
	}
	for seed := range uint64(3) {
		s := waves(seed)
		if n := find(s, Stripewise); n != 0 {
			t.Errorf("seed %d: %d marks in waves alone", seed, n)
		}
		for i := range s.Height {
			x, y := g.XY(i%g.Cols, i/g.Cols)
			s.Height[i] -= float32(0.026 * math.Exp(-((x-15)*(x-15)+(y+10)*(y+10))/(2*3*3)))
		}
		if plain, banded := find(s, Exactly), find(s, Stripewise); plain != 0 || banded != 1 {
			t.Errorf("seed %d: %d marks by height alone, %d in the band", seed, plain, banded)
		}
	}
}
