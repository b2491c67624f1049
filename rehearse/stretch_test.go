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
	x, y, ringMM, turn float64
	storedMM2          float64
}

// area is what the heights about the low add to its ground, half the integral of the squared slope, mm2.
func (s *stretched) area(r *reality) float64 {
	sum := 0.0
	for j := 1; j < r.Rows-1; j++ {
		for i := 1; i < r.Cols-1; i++ {
			x, y := r.XY(i, j)
			if math.Hypot(x-s.x, y-s.y) > 2*s.ringMM {
				continue
			}
			k := j*r.Cols + i
			gx, gy := (r.h[k+1]-r.h[k-1])/(2000*r.PitchMM), (r.h[k+r.Cols]-r.h[k-r.Cols])/(2000*r.PitchMM)
			sum += (gx*gx + gy*gy) / 2
		}
	}
	return sum * r.PitchMM * r.PitchMM
}

// stands lets the ring rise until the stored area is there again.
func (s *stretched) stands(r *reality) {
	before := append([]float64(nil), r.h...)
	lo, hi := 0.0, 300.0
	raise := func(um float64) float64 {
		for k := range r.h {
			x, y := r.XY(k%r.Cols, k/r.Cols)
			d, phi := math.Hypot(x-s.x, y-s.y), math.Atan2(y-s.y, x-s.x)
			q := (d - s.ringMM) / 4
			r.h[k] = before[k] + um*math.Exp(-q*q/2)*(1+0.5*math.Cos(2*phi+s.turn))
		}
		return s.area(r)
	}
	if s.area(r) >= s.storedMM2 {
		return
	}
	for range 8 {
		if mid := (lo + hi) / 2; raise(mid) < s.storedMM2 {
			lo = mid
		} else {
			hi = mid
		}
	}
	raise(hi)
}

// raised works one low of a made-up panel for some rounds, with a share of its area stored or sound, and returns what it told.
func raised(t *testing.T, seed uint64, stored float64, rounds int) []plan.Stretch {
	t.Helper()
	tools := rack.Default()
	rnd := rand.New(rand.NewPCG(seed, 0x57e7c4))
	believed, is, dents, film := draw(rnd)
	d := dents[0]
	d.x, d.y, d.depth = 0, 0, 150+250*rnd.Float64()
	r := newReality(is, []dent{d}, rnd)
	low := stretched{ringMM: 3 * d.sx, turn: 2 * math.Pi * rnd.Float64()}
	low.storedMM2 = stored * low.area(r)
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
			if stored > 0 {
				low.stands(r)
			}
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
