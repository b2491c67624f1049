package rehearse

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/mark"
	"fairmetal/plan"
	"fairmetal/rack"
)

// stretched is a low with metal too much: around it the surface cannot have less area than stored. What raising or tapping takes away stands up again in a
// ring with waves along it.
type stretched struct {
	cells     []int
	ring      []float64 // of all cells, 1 um on the mean at its crest
	ringMM2   float64   // area that it has by itself
	storedMM2 float64
}

// newStretched keeps a share of the area that a low amid the panel begins with.
func newStretched(r *reality, ringMM, turn, share float64) *stretched {
	s := &stretched{ring: make([]float64, len(r.h))}
	for j := 1; j < r.Rows-1; j++ {
		for i := 1; i < r.Cols-1; i++ {
			x, y := r.XY(i, j)
			if d := math.Hypot(x, y); d < 2*ringMM {
				k := j*r.Cols + i
				s.cells = append(s.cells, k)
				q := (d - ringMM) / 4
				s.ring[k] = math.Exp(-q*q/2) * (1 + 0.5*math.Cos(2*math.Atan2(y, x)+turn))
			}
		}
	}
	s.ringMM2 = s.area(r, s.ring, s.ring)
	s.storedMM2 = share * s.area(r, r.h, r.h)
	return s
}

// area is half the integral of the product of two slopes, mm2: of one and the same heights, what they add to their ground.
func (s *stretched) area(r *reality, a, b []float64) float64 {
	sum := 0.0
	for _, k := range s.cells {
		sum += (a[k+1]-a[k-1])*(b[k+1]-b[k-1]) + (a[k+r.Cols]-a[k-r.Cols])*(b[k+r.Cols]-b[k-r.Cols])
	}
	return sum / 8e6
}

// stands lets the ring rise until the stored area is there again.
func (s *stretched) stands(r *reality) {
	missing := s.storedMM2 - s.area(r, r.h, r.h)
	if missing <= 0 {
		return
	}
	b := s.area(r, r.h, s.ring)
	um := (math.Sqrt(b*b+s.ringMM2*missing) - b) / s.ringMM2
	for _, k := range s.cells {
		r.h[k] += um * s.ring[k]
	}
}

// raised works one low of a made-up panel for some rounds, with a share of its area stored or sound, and returns what it told.
func raised(t *testing.T, seed uint64, stored float64, rounds int) []plan.Stretch {
	t.Helper()
	tools := rack.Default()
	rnd := rand.New(rand.NewPCG(seed, 0x57e7c4))
	believed, is, dents, film, _ := draw(rnd)
	d := dents[0]
	d.x, d.y, d.depth = 0, 0, 150+250*rnd.Float64()
	r := newReality(is, []dent{d}, rnd)
	low := newStretched(r, 3*d.sx, 2*math.Pi*rnd.Float64(), stored)
	heard, err := plan.NewHeard(believed, tools)
	if err != nil {
		t.Fatal(err)
	}
	film.ThicknessUM = 110
	s := r.measured()
	for range rounds {
		shape, _ := heard.Shape()
		p, err := plan.Make(plan.Input{Surface: s, Marks: mark.Find(s, mark.Options{}), Panel: heard.Panel(), Film: film, TempC: skinC, Rack: tools, NextOnly: true, Shape: shape})
		if err != nil || len(p.Rounds) == 0 {
			break
		}
		for _, h := range p.Rounds[0].Hits {
			r.work(plan.Round{Hits: []plan.Hit{h}}, tools)
			low.stands(r)
		}
		after := r.measured()
		heard.Round(p.Rounds[0], s, after)
		s = after
	}
	return heard.Lows()
}

// TestStretchedIsSeen raises one low a panel for two rounds. Of sound ones at most one in eight is called stretched, of those that keep half of their area
// at least five in eight are.
func TestStretchedIsSeen(t *testing.T) {
	called := func(stored float64) (n int) {
		for seed := range uint64(*panels) {
			for _, l := range raised(t, 300+seed, stored, 2) {
				if l.TooMuch() {
					n++
					break
				}
			}
		}
		t.Logf("with %.0f %% of the area kept %d of %d are called stretched", 100*stored, n, *panels)
		return n
	}
	if n := called(0); 8*n > *panels {
		t.Errorf("%d sound lows are called stretched", n)
	}
	if n := called(0.5); 8*n < 5**panels {
		t.Errorf("%d stretched lows are seen", n)
	}
}
