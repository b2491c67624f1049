package metal

import (
	"math"
	"math/rand/v2"
	"testing"
)

// trials hits a panel of the given true yield by force and by height, measured to 5 um, response off by 8 % from hit to hit.
func trials(truth, thought Panel, n int, seed uint64) []Trial {
	rng := rand.New(rand.NewPCG(seed, 1))
	var out []Trial
	for i := range n {
		f := thought.ForceUnit() * (1.6 + 0.3*float64(i%4))
		tr := Trial{ForceN: f, PredictedUM: thought.SetUM(f, Tip{}), SigmaUM: 5}
		tr.FoundUM = truth.SetUM(f, Tip{})
		if i%2 == 1 {
			h := thought.SetUM(f, Tip{}) + thought.SpringbackUM(f, Tip{})
			tr = Trial{LoadedUM: h, PredictedUM: thought.SetAtHeightUM(h, Tip{}), FoundUM: truth.SetAtHeightUM(h, Tip{}), SigmaUM: 5}
		}
		tr.FoundUM = tr.FoundUM*(1+0.08*rng.NormFloat64()) + 5*rng.NormFloat64()
		out = append(out, tr)
	}
	return out
}

func TestCalibrate(t *testing.T) {
	for _, radius := range []float64{0, 2000} {
		thought := steel(180, 0.7, radius)
		for _, yield := range []float64{140, 160, 180, 210, 235} {
			truth := steel(yield, 0.7, radius)
			tr := trials(truth, thought, 8, uint64(yield))
			c, err := thought.Calibrate(tr)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(c.YieldMPa-yield) > 3*c.SigmaMPa || math.Abs(c.YieldMPa/yield-1) > 0.06 {
				t.Errorf("R %g: found %.0f +- %.0f MPa, true %g", radius, c.YieldMPa, c.SigmaMPa, yield)
			}
			if c.SigmaMPa > 0.08*yield || c.SigmaMPa < 0.005*yield {
				t.Errorf("R %g: sigma %.1f MPa after eight hits, prior %.0f", radius, c.SigmaMPa, 0.15*180)
			}
			// The next forecast is nearer to the truth than the first.
			next := c.Apply(thought)
			f := 1.8 * truth.ForceUnit()
			was, is, want := thought.SetUM(f, Tip{}), next.SetUM(f, Tip{}), truth.SetUM(f, Tip{})
			if yield != 180 && math.Abs(is-want) > 0.5*math.Abs(was-want) {
				t.Errorf("R %g, %g MPa: forecast %.0f um became %.0f, true %.0f", radius, yield, was, is, want)
			}
			if len(c.Doubtful) != 0 || c.Misfit > 2 {
				t.Errorf("misfit %.1f, doubtful %v", c.Misfit, c.Doubtful)
			}
		}
	}
}

// TestCalibrateSlip: one hit that slipped and left nothing neither decides nor goes unsaid.
func TestCalibrateSlip(t *testing.T) {
	thought := steel(180, 0.7, 0)
	tr := trials(thought, thought, 8, 3)
	tr[2].FoundUM = 0
	c, err := thought.Calibrate(tr)
	if err != nil || math.Abs(c.YieldMPa-180) > 9 || len(c.Doubtful) != 1 || c.Doubtful[0] != 2 {
		t.Errorf("%+v, %v", c, err)
	}
}

// TestCalibrateLittle: a hit below the threshold that left nothing tells that the metal is not much softer, and hardly more.
func TestCalibrateLittle(t *testing.T) {
	thought := steel(180, 0.7, 0)
	c, err := thought.Calibrate([]Trial{{ForceN: 0.65 * thought.ForceUnit(), SigmaUM: 5}})
	if err != nil || c.YieldMPa < 180 || c.YieldMPa > 206 || c.SigmaMPa < 10 {
		t.Errorf("%+v, %v", c, err)
	}
	for _, bad := range [][]Trial{nil, {{SigmaUM: 5}}, {{ForceN: 100}}, {{ForceN: math.NaN(), SigmaUM: 5}}, {{ForceN: 100, FoundUM: 1e9, SigmaUM: 5}}} {
		if _, err := thought.Calibrate(bad); err == nil {
			t.Errorf("%+v accepted", bad)
		}
	}
}

// TestSetAtHeight inverts LoadedUM, on either side.
func TestSetAtHeight(t *testing.T) {
	p := steel(180, 0.7, 2500)
	for _, set := range []float64{30, 120, 400, -80} {
		h, err := p.LoadedUM(set, Tip{})
		if err != nil || math.Abs(p.SetAtHeightUM(h, Tip{})-set) > 0.1 {
			t.Errorf("%g um: loaded %g, back %g, %v", set, h, p.SetAtHeightUM(h, Tip{}), err)
		}
	}
}
