package plan

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func benched(t *testing.T, radius float64, ds ...dent) *bench {
	t.Helper()
	s, m := dented(ds...)
	b := benchOn(t, input(s, m, panel(t, radius)), m)
	var err error
	if _, b.groups, err = b.interaction(); err != nil {
		t.Fatal(err)
	}
	return b
}

// TestBoundHolds: each of three dents apart asks for three hits at least, and no plan is told with fewer than its bound.
func TestBoundHolds(t *testing.T) {
	s, m := dented(dent{-70, 0, 150, 20}, dent{0, 40, 150, 20}, dent{70, -20, 150, 20})
	p, err := Make(input(s, m, panel(t, 1500)))
	if err != nil {
		t.Fatal(err)
	}
	if p.Bound.Hits < 6 || p.Bound.Hits > p.Bound.Told || p.Bound.Told != len(hits(p)) || !strings.Contains(p.Bound.Why, "no plan") {
		t.Errorf("%+v", p.Bound)
	}
}

// TestBoundNeverAboveAPlan: metal is made up from what few hits take away to within the limit, on one mark or several, flat or crowned. With those
// hits as the plan, the bound must not ask for more; where one hit was enough it asks for one.
func TestBoundNeverAboveAPlan(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 7))
	asked, made := 0, 0
	for _, radius := range []float64{0, 1500, 4000} {
		for _, ds := range [][]dent{{{0, 0, 120, 16}}, {{0, 0, 200, 40}}, {{-14, 0, 120, 18}, {14, 4, 100, 18}}, {{-40, 0, 120, 16}, {0, 0, 90, 14}, {40, 0, 100, 18}}} {
			b := benched(t, radius, ds...)
			var sites []int
			for i, o := range b.site {
				if o != 0 {
					sites = append(sites, i)
				}
			}
			for range 4 {
				b.done = nil
				for i := range b.h {
					b.h[i] = (2*rnd.Float64() - 1) * (b.in.FairUM + ReadUM)
				}
				copy(b.start, b.h)
				k := 1 + rnd.IntN(6)
				for range k {
					w := worked{cell: sites[rnd.IntN(len(sites))]}
					touch := touch(rnd.IntN(3))
					w.Held, w.Sharp = touch != free, touch == sharp
					w.SetUM = maxSetUM * (2*rnd.Float64() - 1)
					w.mark = b.site[w.cell] - 1
					b.bump(b.start, w.cell, b.field(touch, grip{}), -w.SetUM)
					b.done = append(b.done, w)
				}
				bd := b.bound()
				asked, made = asked+bd.Hits, made+k
				if bd.Hits > k {
					t.Errorf("radius %g, %d marks: %d hits made the metal, the bound asks for %d", radius, len(ds), k, bd.Hits)
				}
			}
		}
	}
	t.Logf("%d hits asked for of %d made", asked, made)
	if 10*asked < 3*made {
		t.Errorf("the bound asks for %d hits of %d", asked, made)
	}
}

// TestBoundAgainstBruteForce: on one small mark with few places, all single hits and pairs are tried with the set of the first in steps of 2 um and
// that of the second in between: where a pair does, the bound asks for two or less, and where none comes near, for three.
func TestBoundAgainstBruteForce(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 11))
	agree := 0
	const trials = 10
	for trial := range trials {
		b := benched(t, []float64{0, 2000}[trial%2], dent{0, 0, 60 + 90*rnd.Float64(), 9 + 6*rnd.Float64()})
		clear(b.site)
		var cells []int
		for i := range b.owner {
			x, y := b.at(i)
			if math.Hypot(x-1, y) > 4.5 {
				b.owner[i] = 0
			}
			if b.owner[i] != 0 {
				cells = append(cells, i)
			}
		}
		copy(b.h, b.start)
		for _, i := range cells {
			b.h[i] = 0
		}
		least := 3
		limit := b.in.FairUM + ReadUM
		type move struct {
			cell int
			f    *field
		}
		var moves []move
		for _, i := range cells {
			moves = append(moves, move{i, b.fields.wide}, move{i, b.fields.fine}, move{i, b.fields.sharp})
		}
		at := func(m move, i int) float64 {
			return m.f.at(i%b.grid.Cols-m.cell%b.grid.Cols, i/b.grid.Cols-m.cell/b.grid.Cols)
		}
		for k, m := range moves {
			for s := -maxSetUM; s <= maxSetUM && least > 1; s += 2 {
				for _, o := range moves[k:] {
					lo, hi := -maxSetUM, maxSetUM
					for _, i := range cells {
						h, v := b.start[i]+s*at(m, i), at(o, i)
						x, y := (-limit-h)/v, (limit-h)/v
						lo, hi = max(lo, min(x, y)), min(hi, max(x, y))
					}
					if lo <= hi {
						least = min(least, 2)
						if lo <= 0 && hi >= 0 {
							least = 1
						}
					}
				}
			}
		}
		got := b.bound().Hits
		if got > least {
			t.Errorf("trial %d: %d hits do, the bound asks for %d", trial, least, got)
		}
		if got == least {
			agree++
		}
	}
	if agree < trials-2 { // steps of 2 um may step over a narrow range
		t.Errorf("bound and brute force agree in %d of %d", agree, trials)
	}
}
