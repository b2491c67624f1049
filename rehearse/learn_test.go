package rehearse

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/plan"
	"fairmetal/rack"
	"fairmetal/surface"
)

// panels that are worked to see what the metal tells; docs/method/plan.md tells of 60.
var panels = flag.Int("panels", 8, "made-up panels to learn from")

// feels is the factor on the yield with which the believed panel springs back as the panel does, for a hit of twice the unit of force: the crown
// that is other than thought counts as yield too.
func feels(believed, is metal.Panel) float64 {
	l := believed.SetUM(2*believed.ForceUnit(), metal.Tip{}) + believed.SpringbackUM(2*believed.ForceUnit(), metal.Tip{})
	want := is.SetAtHeightUM(l, metal.Tip{})
	lo, hi := 0.5, 2.0
	for range 40 {
		mid := (lo + hi) / 2
		p := believed
		p.Material = p.WithYield(p.YieldMPa * mid)
		if p.SetAtHeightUM(l, metal.Tip{}) > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// fieldError is the root mean square error, in per cent of the set, of the field that is planned with, 4 to 30 mm from the hit, less what is smooth.
func (r *reality) fieldError(t *testing.T, believed metal.Panel, shape plan.Shape) float64 {
	t.Helper()
	flat := surface.New(r.Grid)
	clear(flat.Height)
	one := plan.Plan{Rounds: []plan.Round{{Hits: []plan.Hit{{SetUM: 100}}}}}
	after := plan.After(plan.Input{Surface: flat, Panel: believed, Shape: shape}, one)
	var e []float64
	mean := 0.0
	for d := 4.0; d <= 30; d += 2 {
		v := 0.0
		for k := range 8 {
			s, c := math.Sincos(float64(k) * math.Pi / 4)
			v += 1000 * after.At(d*c, d*s) / 8
		}
		e = append(e, v-100*r.wide.at(d))
		mean += e[len(e)-1]
	}
	mean /= float64(len(e))
	sum := 0.0
	for _, v := range e {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / float64(len(e)))
}

// TestMetalHeard works three rounds on made-up panels whose metal is up to 15 % harder and whose crown is 15 % other than thought, with hits off by 1 mm
// and 20 %, and asks after each what the metal told: the yield within some 8 %, as sure as is said: a round holds a few pushes that move their neighbours, and a field nearer
// to the panel's own than the one worked out.
func TestMetalHeard(t *testing.T) {
	var sq, inSD, within, n [3]float64
	var thought, heardOf float64
	tools := rack.Default()
	for seed := range uint64(*panels) {
		rnd := rand.New(rand.NewPCG(seed+9000, 0x4e4ea5e))
		believed, is, dents, film, _ := draw(rnd)
		r := newReality(is, dents, rnd)
		heard, err := plan.NewHeard(believed, tools)
		if err != nil {
			t.Fatal(err)
		}
		truth := feels(believed, is)
		s := r.measured()
		for round := range 3 {
			shape, _ := heard.Shape()
			p, err := plan.Make(plan.Input{Surface: s, Marks: mark.Find(s, mark.Options{}), Panel: heard.Panel(), Film: film, TempC: skinC, Rack: tools, NextOnly: true, Shape: shape})
			if err != nil || len(p.Rounds) == 0 {
				break
			}
			r.work(p.Rounds[0], tools)
			after := r.measured()
			heard.Round(p.Rounds[0], s, after)
			s = after
			f, sd := heard.Factor()
			e := f - truth
			sq[round] += e * e
			inSD[round] += e * e / (sd * sd)
			if math.Abs(e) < 2*sd {
				within[round]++
			}
			n[round]++
		}
		shape, _ := heard.Shape()
		a, b := r.fieldError(t, believed, plan.Shape{}), r.fieldError(t, believed, shape)
		thought, heardOf = thought+a*a, heardOf+b*b
	}
	for k := range n {
		t.Logf("after round %d of %.0f panels: yield off by %.3f rms, %.2f standard deviations, %.0f %% within two", k+1, n[k], math.Sqrt(sq[k]/n[k]), math.Sqrt(inSD[k]/n[k]), 100*within[k]/n[k])
	}
	t.Logf("field off by %.2f %% of the set as worked out, %.2f %% as heard", math.Sqrt(thought/n[0]), math.Sqrt(heardOf/n[0]))
	if math.Sqrt(sq[0]/n[0]) > 0.1 || math.Sqrt(sq[2]/n[2]) > 0.09 {
		t.Error("the yield is not heard")
	}
	if inSD[2]/n[2] > 4 {
		t.Error("the yield is said to be surer than it is")
	}
	if heardOf > 0.7*thought {
		t.Error("the field is not heard")
	}
}
