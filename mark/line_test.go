package mark

import (
	"math"
	"testing"

	"fairmetal/surface"
)

// TestOfTheLine: a thin strip and a speck on a feature line are the line's own; the same elsewhere, and a dent on the line, are marks.
func TestOfTheLine(t *testing.T) {
	const angle = 35.0
	sin, cos := math.Sincos(angle * math.Pi / 180)
	find := func(off float64, height func(s, t float64) float64) []Mark {
		line := func(x, y float64) (s, t float64) { return cos*x + sin*y - 4, -sin*x + cos*y }
		sk := skin(51, 0.4, func(x, y float64) float64 {
			s, t := line(x, y)
			return height(s-off, t+6)
		})
		return Find(sk, Options{Lines: []surface.Across{line}, Read: Pixelwise})
	}
	gauss := func(mm, along, across float64) func(s, t float64) float64 {
		return func(s, t float64) float64 { return mm * math.Exp(-s*s/(2*across*across)-t*t/(2*along*along)) }
	}
	for _, c := range []struct {
		name   string
		height func(s, t float64) float64
		on     int // marks on the line
	}{
		{"strip", gauss(0.06, 4, 0.7), 0},
		{"speck", gauss(-0.06, 0.9, 0.9), 0},
		{"dent", gauss(-0.2, 4, 3.5), 1},
		{"crease across", gauss(-0.2, 1.6, 5), 1},
	} {
		if m := find(0, c.height); len(m) != c.on {
			t.Errorf("%s on the line: %+v", c.name, m)
		}
		if m := find(30, c.height); len(m) != 1 {
			t.Errorf("%s off the line: %+v", c.name, m)
		}
	}
}

// TestRoughOnTheLine: metal that is rough on a feature line and even beside it has no marks there.
func TestRoughOnTheLine(t *testing.T) {
	line := func(x, y float64) (s, t float64) { return x - 8, y }
	s := skin(52, 0.3, func(x, y float64) float64 {
		return 0.012 * math.Exp(-(x-8)*(x-8)/4) * math.Sin(2*math.Pi*y/19)
	})
	if m := Find(s, Options{Lines: []surface.Across{line}, Read: Pixelwise}); len(m) != 0 {
		t.Errorf("on a rough line: %+v", m)
	}
	if m := Find(s, Options{Read: Pixelwise}); len(m) == 0 {
		t.Error("without a line what is rough is no mark either")
	}
}

// TestRestlessRim: a tile of which the rim of the map leaves little is as restless as its neighbours.
func TestRestlessRim(t *testing.T) {
	s := surface.New(surface.Grid{Cols: 320, Rows: 120, PitchMM: 0.5})
	f := &finder{s: s}
	told := make([]float64, len(s.Height))
	f.byTile(func(i int) float64 {
		switch c := i % s.Cols; {
		case c > 310:
			return math.NaN()
		case c > 210:
			return 3
		}
		return 1
	}, func(i int, more float64) { told[i] = more })
	if got := told[50*s.Cols+50]; got != 1 {
		t.Errorf("amid the map %g", got)
	}
	if got := told[50*s.Cols+305]; got != 3 {
		t.Errorf("at the rim %g", got)
	}
}

// TestHidden: where metal inside a mark has no value a low of unknown depth is put.
func TestHidden(t *testing.T) {
	s := surface.New(surface.Grid{Cols: 201, Rows: 201, PitchMM: 0.5, X0MM: -50, Y0MM: -50})
	high := Mark{Kind: High, XMM: 5, YMM: -3, LengthMM: 40, WidthMM: 30}
	clear(s.Height)
	if low, across := Hidden(s, &high); across != 0 {
		t.Errorf("where all has a value: %+v", low)
	}
	for i := range s.Height {
		if x, y := s.XY(i%s.Cols, i/s.Cols); (x-8)*(x-8)/144+(y+3)*(y+3)/16 < 1 {
			s.Height[i] = float32(math.NaN())
		}
	}
	low, across := Hidden(s, &high)
	if low.Kind != Round || !low.Folded || math.Hypot(low.XMM-8, low.YMM+3) > 0.3 || math.Abs(low.LengthMM-24) > 1 || math.Abs(low.WidthMM-8) > 0.6 || math.Abs(across-2*math.Sqrt(48)) > 0.5 {
		t.Errorf("%+v, %.1f mm across", low, across)
	}
}
