package metal

import (
	"math"
	"math/rand/v2"
	"testing"
)

// relief draws a height (mm) on a grid.
func relief(half, pitch float64, w func(x, y float64) float64) Relief {
	n := 2*int(half/pitch) + 1
	g := Relief{NX: n, NY: n, PitchMM: pitch, ZUM: make([]float64, n*n)}
	for j := range n {
		for i := range n {
			g.ZUM[j*n+i] = 1000 * w(float64(i-n/2)*pitch, float64(j-n/2)*pitch)
		}
	}
	return g
}

// TestExcess: a cone of depth d has pi d^2/2 too much whatever its radius; a bell d exp(-r^2/2s^2) has pi d^2/2 as well; a mirrored cap of
// depth d in a sphere of radius R, w = -(d - r^2/R), has none (Pogorelov: it only folds).
func TestExcess(t *testing.T) {
	const d, r = 0.8, 2000.0
	cap0 := relief(50, 0.25, func(x, y float64) float64 { return min(0, (x*x+y*y)/r-d) })
	cap0.CrownPerMM = 2 / r
	for _, c := range []struct {
		name string
		g    Relief
		want float64
		tol  float64
	}{
		{"cone", relief(25, 0.25, func(x, y float64) float64 { return -d * max(0, 1-math.Hypot(x, y)/20) }), math.Pi * d * d / 2, 0.02},
		{"bell", relief(40, 0.5, func(x, y float64) float64 { return -d * math.Exp(-(x*x+y*y)/200) }), math.Pi * d * d / 2, 0.01},
		{"mirrored cap", cap0, 0, 0.02},
	} {
		e, err := c.g.Excess()
		if err != nil || math.Abs(e.AreaMM2-c.want) > c.tol*math.Pi*d*d/2 {
			t.Errorf("%s: %.4f mm2, want %.4f, %v", c.name, e.AreaMM2, c.want, err)
		}
	}
	// A twice as deep one holds four times as much; the mean strain of a cone is d^2/(2 R^2).
	e, _ := relief(25, 0.25, func(x, y float64) float64 { return -d * max(0, 1-math.Hypot(x, y)/20) }).Excess()
	deep, _ := relief(25, 0.25, func(x, y float64) float64 { return -2 * d * max(0, 1-math.Hypot(x, y)/20) }).Excess()
	if math.Abs(deep.AreaMM2/e.AreaMM2-4) > 1e-9 || math.Abs(e.Strain*e.MarkMM2/(math.Pi*400)/(d*d/800)-1) > 0.02 {
		t.Errorf("%.4f and %.4f mm2, strain %.2e", e.AreaMM2, deep.AreaMM2, e.Strain)
	}
	if e.Verdict != ReturnsByPushing {
		t.Errorf("0.8 mm over 40 mm: %s at %.4f", e.Verdict, e.Strain)
	}
	sharp, _ := relief(25, 0.25, func(x, y float64) float64 { return -1.5 * max(0, 1-math.Hypot(x, y)/10) }).Excess()
	if sharp.Verdict != Stretched || !sharp.Confident {
		t.Errorf("1.5 mm deep, 20 mm wide: %+v", sharp)
	}
}

// TestExcessNoise: heights summed from noisy slopes: the noise's own square is taken off, and sigma tells the scatter.
func TestExcessNoise(t *testing.T) {
	const sigma, d = 0.002, 0.3
	clean := relief(30, 1, func(x, y float64) float64 { return -d * math.Exp(-(x*x+y*y)/128) })
	want, err := clean.Excess()
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(5, 5))
	var sum, sum2, said float64
	const runs = 60
	for range runs {
		g := clean
		g.ZUM = append([]float64(nil), clean.ZUM...)
		// White heights of sigma sqrt(2) h give central slopes of sigma; neighbours two apart share a height.
		for i := range g.ZUM {
			g.ZUM[i] += 1000 * sigma * math.Sqrt2 * rng.NormFloat64()
		}
		g.SlopeSigma, g.MarkUM = sigma, 30
		e, err := g.Excess()
		if err != nil {
			t.Fatal(err)
		}
		sum += e.AreaMM2
		sum2 += e.AreaMM2 * e.AreaMM2
		said += e.SigmaMM2 / runs
	}
	mean := sum / runs
	scatter := math.Sqrt(sum2/runs - mean*mean)
	if math.Abs(mean-want.AreaMM2) > 3*scatter/math.Sqrt(runs)+0.1*want.AreaMM2 {
		t.Errorf("mean %.4f mm2, clean %.4f, scatter %.4f", mean, want.AreaMM2, scatter)
	}
	// White heights cancel along the sum in part, white slopes would not: sigma is on the safe side.
	if said < scatter || said > 3*scatter {
		t.Errorf("sigma said %.4f, found %.4f mm2", said, scatter)
	}
	g := clean
	g.ZUM = append([]float64(nil), clean.ZUM...)
	for i := range 12 * g.NX {
		g.ZUM[i] = math.NaN()
	}
	if e, err := g.Excess(); err != nil || e.Seen > 0.85 || e.SigmaMM2 <= want.SigmaMM2 {
		t.Errorf("a fifth unseen: %+v, %v", e, err)
	}
	for _, bad := range []Relief{{}, {NX: 3, NY: 3, PitchMM: 1, ZUM: make([]float64, 9)}, {NX: 3, NY: 3, PitchMM: 1, ZUM: make([]float64, 8)}} {
		if _, err := bad.Excess(); err == nil {
			t.Errorf("%+v accepted", bad)
		}
	}
}

// TestDrum: the bow of a stretched flat panel is snapped from about 1.6 thicknesses on (lambda 3.3); what fits into the plane does not bow;
// a crown of its own keeps a panel on its side.
func TestDrum(t *testing.T) {
	p := steel(180, 0.7, 0)
	if d, err := p.Drum(2); err != nil || d.BowMM != 0 || d.Risk != DrumNone {
		t.Errorf("2 mm2: %+v, %v", d, err)
	}
	last := DrumNone
	for area := 0.0; area < 20; area += 0.1 {
		d, _ := p.Drum(area)
		if d.Risk != last {
			t.Logf("%s from %.1f mm2, bow %.2f mm", d.Risk, area, d.BowMM)
			if want := map[DrumRisk]float64{DrumPossible: 0.73, DrumLikely: 1.65}[d.Risk]; math.Abs(d.BowMM/0.7-want) > 0.06 {
				t.Errorf("%s from a bow of %.2f thicknesses, want %.2f", d.Risk, d.BowMM/0.7, want)
			}
			last = d.Risk
		}
	}
	if last != DrumLikely {
		t.Errorf("20 mm2: %s", last)
	}
	crowned := steel(180, 0.7, 1000)
	if d, _ := crowned.Drum(20); d.Risk != DrumNone {
		t.Errorf("crown of 1 m: %+v", d)
	}
	if _, err := p.Drum(math.NaN()); err == nil {
		t.Error("not a number accepted")
	}
}
