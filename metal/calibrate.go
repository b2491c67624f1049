package metal

import (
	"errors"
	"fmt"
	"math"
)

// Trial is a hit that was measured: how hard or how far, what was forecast, what was found.
type Trial struct {
	ForceN      float64 // tip force; 0: the hit was worked to LoadedUM
	LoadedUM    float64 // height under the tool over where the metal stood
	PredictedUM float64 // set as forecast with the yield of before; 0: as this panel forecasts it
	FoundUM     float64 // set as measured
	SigmaUM     float64 // of the measurement
	Tip         Tip
}

// Calibration is the yield that a panel showed.
type Calibration struct {
	YieldMPa, SigmaMPa float64
	Feels              float64 // yield over that of before: above 1 harder than thought
	Misfit             float64 // root mean square of (found - forecast)/sigma after the fit; near 1 is right, above 2 the trials disagree
	Doubtful           []int   // trials more than three sigma off after the fit: slipped, misread, or another spot
}

// responseSpread is the relative error of a forecast set that no yield explains: the compact form against finite elements (15 %).
const responseSpread = 0.15

// Calibrate fits the yield to hits that moved less or more than forecast: Bayes' rule with a log-normal prior of the material's
// Spread about its yield, and for each trial a Student t of 4 degrees of freedom about the forecast, so that one hit that slipped does
// not decide (from memory: Gelman et al., Bayesian Data Analysis, ch. 17). The yield found is an effective one: it also takes up what
// anisotropy, tip and hold do to force, which is what the next hit needs. Valid for virgin metal; sets in um.
func (p Panel) Calibrate(trials []Trial) (Calibration, error) {
	if len(trials) == 0 {
		return Calibration{}, errors.New("no hits to calibrate on; make one, measure what stayed and enter it")
	}
	prior := p.YieldMPa
	spread := p.Spread
	if spread <= 0 {
		spread = 0.15
	}
	factor := make([]float64, len(trials))
	for i, tr := range trials {
		if err := tr.check(i); err != nil {
			return Calibration{}, err
		}
		// The forecast was made for a place: its ratio to the plain one is kept while the yield is varied.
		factor[i] = 1
		if s := p.trialSetUM(tr); s != 0 && tr.PredictedUM/s > 0 {
			factor[i] = min(3, max(1.0/3, tr.PredictedUM/s))
		}
	}
	// Posterior over u = ln(yield/prior) on a grid of five spreads each way.
	const n = 401
	logp := make([]float64, n)
	us := make([]float64, n)
	best := math.Inf(-1)
	for k := range logp {
		u := spread * (float64(k)/(n-1) - 0.5) * 10
		us[k] = u
		l := -0.5 * (u / spread) * (u / spread)
		for _, r := range p.residuals(trials, factor, prior*math.Exp(u)) {
			l -= 2.5 * math.Log1p(r*r/4)
		}
		logp[k] = l
		best = max(best, l)
	}
	var sum, m1, m2 float64
	for k, l := range logp {
		w := math.Exp(l - best)
		sum += w
		m1 += w * us[k]
		m2 += w * us[k] * us[k]
	}
	m1 /= sum
	sd := math.Sqrt(max(m2/sum-m1*m1, 0))
	c := Calibration{YieldMPa: prior * math.Exp(m1), Feels: math.Exp(m1)}
	c.SigmaMPa = c.YieldMPa * sd
	for i, r := range p.residuals(trials, factor, c.YieldMPa) {
		c.Misfit += r * r / float64(len(trials))
		if math.Abs(r) > 3 {
			c.Doubtful = append(c.Doubtful, i)
		}
	}
	c.Misfit = math.Sqrt(c.Misfit)
	return c, nil
}

// Apply puts the yield found into a panel, hardening along with it, with what is left of the spread.
func (c Calibration) Apply(p Panel) Panel {
	p.Material = p.WithYield(c.YieldMPa)
	p.Spread = c.SigmaMPa / c.YieldMPa
	return p
}

func (tr Trial) check(i int) error {
	switch {
	case !within(math.Abs(tr.ForceN), 0, 5000) || !within(math.Abs(tr.LoadedUM), 0, 50000) || !within(math.Abs(tr.FoundUM), 0, 20000) || !within(math.Abs(tr.PredictedUM), 0, 20000):
		return fmt.Errorf("hit %d: a force of %g N, a height of %g um under load and %g um after are not those of a hit on a skin; correct the entry", i+1, tr.ForceN, tr.LoadedUM, tr.FoundUM)
	case tr.ForceN == 0 && tr.LoadedUM == 0:
		return fmt.Errorf("hit %d has neither a force nor a height under load; enter one of them", i+1)
	case !within(tr.SigmaUM, 0.1, 10000):
		return fmt.Errorf("hit %d: the measured height is said to be good to %g um; give 0.1 um or more", i+1, tr.SigmaUM)
	}
	return nil
}

// residuals of all trials at a yield, in sigmas.
func (p Panel) residuals(trials []Trial, factor []float64, yield float64) []float64 {
	p.Material = p.WithYield(yield)
	r := make([]float64, len(trials))
	for i, tr := range trials {
		f := factor[i] * p.trialSetUM(tr)
		r[i] = (tr.FoundUM - f) / math.Hypot(tr.SigmaUM, responseSpread*f)
	}
	return r
}

// trialSetUM is what a trial leaves on this panel, um.
func (p Panel) trialSetUM(tr Trial) float64 {
	if tr.ForceN != 0 {
		return p.SetUM(tr.ForceN, tr.Tip)
	}
	return p.SetAtHeightUM(tr.LoadedUM, tr.Tip)
}

// SetAtHeightUM is the set left by a hit that is worked to a height under load, um: the inverse of LoadedUM. Height decides on a
// dented place as on virgin metal, force does not.
func (p Panel) SetAtHeightUM(loadedUM float64, tip Tip) float64 {
	lo, hi := 0.0, maxForceUnits*p.ForceUnit()
	want := math.Abs(loadedUM)
	for range 60 {
		mid := (lo + hi) / 2
		if p.SetUM(mid, tip)+p.SpringbackUM(mid, tip) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Copysign(p.SetUM(hi, tip), loadedUM)
}
