package surface

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestDropCurl: a patch whose stripes are one off is struck along its rim, at any slant of it; a crease that turns as sharply stays whole,
// though its bottom is read but roughly, and its bottom is told to be doubtful; along a feature line it is struck.
func TestDropCurl(t *testing.T) {
	g := Grid{Cols: 161, Rows: 161, PitchMM: 0.5, X0MM: -40, Y0MM: -40}
	zx, zy := make([]float32, g.Len()), make([]float32, g.Len())
	rnd := rand.New(rand.NewPCG(3, 1))
	sin, cos := math.Sincos(0.4)
	for i := range zx {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		s := cos*x + sin*y
		deep := 0.03 * math.Exp(-math.Pow((cos*y-sin*x)/15, 4))
		d := deep * math.Tanh(s/0.8) * math.Exp(-s*s/18)
		rough := 2e-4 + 0.15*deep/math.Pow(math.Cosh(s/0.8), 2)
		zx[i], zy[i] = float32(d*cos+rough*rnd.NormFloat64()), float32(d*sin+rough*rnd.NormFloat64())
	}
	const size = 0.02 // one stripe of 16 mm at 400 mm
	rim, off := map[int]bool{}, func(c, r int) bool {
		x, y := g.XY(c, r)
		return math.Abs(x-25)+math.Abs(y-25) < 6 || math.Abs(x-25) < 5 && math.Abs(y+25) < 5
	}
	for r := range g.Rows {
		for c := range g.Cols {
			if off(c, r) {
				zx[r*g.Cols+c] += size
			}
			// A rim along y is a jump of dz/dx across x: no curl tells it.
			if off(c, r) != off(c, r+1) && off(c, r) != off(c+1, r+1) {
				rim[r*g.Cols+c] = true
			}
		}
	}
	lx, ly := slices.Clone(zx), slices.Clone(zy)
	doubtful := DropCurl(g, zx, zy, 25, 0.008, nil)
	lost, missed := 0, 0
	for i := range zx {
		switch x, _ := g.XY(i%g.Cols, i/g.Cols); {
		case x < 15 && zx[i] != zx[i]:
			lost++
		case rim[i] && zx[i] == zx[i]:
			missed++
		}
	}
	if lost > 0 {
		t.Errorf("%d cells of a crease were struck", lost)
	}
	if 10*missed > len(rim) {
		t.Errorf("%d of %d cells on the rim of a patch that slipped are kept", missed, len(rim))
	}
	if len(doubtful) == 0 {
		t.Fatal("the bottom of a crease that is read roughly is not doubted")
	}
	line := func(x, y float64) (s, t float64) { return cos*x + sin*y, cos*y - sin*x }
	DropCurl(g, lx, ly, 25, 0.008, func(x, y float64) bool { d, _ := line(x, y); return math.Abs(d) < 8 })
	if i := doubtful[len(doubtful)/2]; lx[i] == lx[i] {
		t.Error("on a feature line curl is kept")
	}
}

// TestContrary: the slopes of a surface, however noisy, contradict nothing; where those of a part are off by as much all over, as where its stripes are counted wrong, they
// do at its rim. What is left out says nothing.
func TestContrary(t *testing.T) {
	g := Grid{Cols: 240, Rows: 200, PitchMM: 0.5, X0MM: -60, Y0MM: -50}
	const off, noise, side = 0.01, 0.002, 12
	rnd := rand.New(rand.NewPCG(7, 8))
	slopes := func(wrong bool) (zx, zy []float32) {
		zx, zy = make([]float32, g.Len()), make([]float32, g.Len())
		for i := range zx {
			x, y := g.XY(i%g.Cols, i/g.Cols)
			zx[i] = float32(0.02*math.Cos(x/20)*math.Sin(y/25) + noise*rnd.NormFloat64())
			zy[i] = float32(0.016*math.Sin(x/20)*math.Cos(y/25) + noise*rnd.NormFloat64())
			if wrong && math.Hypot(x-10, y) < 20 {
				zy[i] += off
			}
		}
		return zx, zy
	}
	blocks := func(wrong bool, skip []bool) (over int) {
		zx, zy := slopes(wrong)
		z, err := Integrate(g, zx, zy, nil, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		b := Contrary(g, z, zx, zy, skip, side)
		for k, v := range b.V {
			if v > off/5 {
				over++
				if c, r := k%b.Cols*side, k/b.Cols*side; b.At(c+side-1, r+side-1) != v || b.Around(c, r) < v {
					t.Error("the cells of a block do not have its value")
				}
			}
		}
		return over
	}
	if n := blocks(false, make([]bool, g.Len())); n != 0 {
		t.Errorf("%d blocks of a surface contradict", n)
	}
	if n := blocks(true, make([]bool, g.Len())); n < 20 {
		t.Errorf("%d blocks contradict where a part slopes otherwise", n)
	}
	all := make([]bool, g.Len())
	for i := range all {
		all[i] = true
	}
	if n := blocks(true, all); n != 0 {
		t.Errorf("%d blocks contradict that were left out", n)
	}
}
