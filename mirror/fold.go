package mirror

import (
	"math"
	"slices"

	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/surface"
)

// Fold is a feature line of the panel's form: along a gently bent line the slope across it changes by Step,
//
//	z = Step/2 (s + sqrt(s^2 + Width^2)),  s = n.(x, y) - S0 - Bend t^2,
//
// n being the unit normal of the line and t the coordinate along it, mm. That reaches far, so that a fit finds the line from far off; pressed lines
// are arcs, beside which the metal is straight. Arc is a kink smeared to an arc's width, Gaussian of the standard deviation Width/sqrt 12 that an arc
// of that width has:
//
//	z = Step (s Phi(s/sigma) + sigma phi(s/sigma)).
type Fold struct {
	Angle float64 // of n from +x, rad
	S0    float64 // mm
	Bend  float64 // 1/mm
	Step  float64
	Width float64 // mm, the fold's radius is about Width/Step
	Arc   bool

	sin, cos float64 // of Angle, where prepared
}

// Prepared returns the fold with its direction worked out, for loops.
func (f Fold) Prepared() Fold {
	f.sin, f.cos = math.Sincos(f.Angle)
	return f
}

// Reversed is the same line with its normal to the other side.
func (f Fold) Reversed() Fold {
	f.Angle, f.S0, f.Bend = math.Mod(f.Angle+math.Pi, 2*math.Pi), -f.S0, -f.Bend
	return f.Prepared()
}

func (f *Fold) normal() (sin, cos float64) {
	if f.sin == 0 && f.cos == 0 {
		return math.Sincos(f.Angle)
	}
	return f.sin, f.cos
}

// foldUnknowns is how many unknowns a fold adds to the calibration.
const foldUnknowns = 5

// unknowns is the fold as the calibration counts it.
func (f *Fold) unknowns() []float64 {
	return []float64{f.Angle, f.S0, f.Bend * bendScale, f.Step, math.Log(f.Width)}
}

// Across returns the distance s of a place from the line and its gradient.
func (f *Fold) Across(x, y float64) (s, sx, sy float64) {
	sin, cos := f.normal()
	t := -sin*x + cos*y
	return cos*x + sin*y - f.S0 - f.Bend*t*t, cos + 2*f.Bend*t*sin, sin - 2*f.Bend*t*cos
}

// Line is Across as package surface wants it: distance and place along the line, mm.
func (f *Fold) Line(x, y float64) (s, t float64) {
	s, _, _ = f.Across(x, y)
	sin, cos := f.normal()
	return s, -sin*x + cos*y
}

func (f *Fold) eval(x, y float64) (z, zx, zy float64) {
	s, sx, sy := f.Across(x, y)
	if f.Arc {
		sigma := f.Width / rootTwelve
		switch q := s / sigma; {
		case q < -arcEnds:
			return 0, 0, 0
		case q > arcEnds:
			return f.Step * s, f.Step * sx, f.Step * sy
		default:
			share := math.Erfc(-q/math.Sqrt2) / 2
			d := f.Step * share
			return d*s + f.Step*sigma*math.Exp(-q*q/2)/math.Sqrt(2*math.Pi), d * sx, d * sy
		}
	}
	q := math.Sqrt(s*s + f.Width*f.Width)
	d := f.Step / 2 * (1 + s/q)
	return f.Step / 2 * (s + q), d * sx, d * sy
}

const (
	rootTwelve = 3.4641016151377544 // of which the width of an even spread is a multiple of its standard deviation
	arcEnds    = 5.0                // standard deviations: what is left of the step there is under a millionth
	// ArcOfTails is the width of an arc over that of a line with tails that bends as sharply in the middle.
	ArcOfTails = rootTwelve * 0.7978845608028654
)

// Thresholds of a feature line: a bend that anyone would call a line, and not the waviness of a skin. Common practice, no
// source; orange peel leaves medians along a line a tenth of it.
const (
	foldMinStep     = 4e-3 // change of slope over 12 mm
	foldMinCoverage = 0.65 // share of the line's run that shows it
	foldPersistence = 0.5  // share of the step still there 15 mm to either side: else it is a crease
)

// minBin is the least number of sights whose median counts in foldAt, minBins the least number of steps between such medians: 80 mm.
const (
	minBin  = 8
	minBins = 13
)

// maxGapBins is the widest unreadable strip, in bins of foldAt, that a feature line may hide in.
const maxGapBins = 4

// findFold looks for the strongest feature line in the slopes of the metal (row-major on g, NaN unknown): a straight line over
// the measured part across which the median slope, taken along the line, changes for good, over and above the even curvature
// of the crown.
func findFold(g surface.Grid, mx, my []float32) (Fold, bool) {
	type candidate struct {
		fold  Fold
		crown float64
	}
	const stepDeg = 3
	known := knownSlopes(g, mx, my)
	tried := make([]candidate, 180/stepDeg)
	rows.Do(len(tried), func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			if f, crown, ok := foldAt(known, float64(k*stepDeg)*math.Pi/180); ok {
				tried[k] = candidate{f, crown}
			}
		}
	})
	var all []candidate
	strongest := 0.0
	for _, c := range tried {
		if c.fold.Step != 0 {
			all = append(all, c)
			strongest = max(strongest, math.Abs(c.fold.Step))
		}
	}
	// A line a few degrees off shows nearly the whole step; the run that it covers tells the direction.
	var best Fold
	most := 0.0
	for _, c := range all {
		if math.Abs(c.fold.Step) < 0.75*strongest {
			continue
		}
		if v := coverage(known, c.fold, c.crown); v > most || v == most && math.Abs(c.fold.Step) > math.Abs(best.Step) {
			best, most = c.fold, v
		}
	}
	return best, most >= foldMinCoverage
}

// slopeAt is the slope of the metal at a place, mm.
type slopeAt struct{ x, y, zx, zy float64 }

func knownSlopes(g surface.Grid, rx, ry []float32) (known []slopeAt) {
	for i, zx := range rx {
		if zy := ry[i]; zx == zx && zy == zy {
			x, y := g.XY(i%g.Cols, i/g.Cols)
			known = append(known, slopeAt{x, y, float64(zx), float64(zy)})
		}
	}
	return known
}

// foldAt finds the largest lasting step for one direction of the line's normal, and the crown's curvature in that direction,
// 1/mm.
func foldAt(known []slopeAt, angle float64) (f Fold, crown float64, found bool) {
	sin, cos := math.Sincos(angle)
	const bin = 6.0 // mm: over the spacing of the sights
	half := int(600 / bin)
	place, count := make([]int, len(known)), make([]int, 2*half)
	most := 0
	for i, p := range known {
		k := int(math.Floor((cos*p.x+sin*p.y)/bin)) + half
		if place[i] = k; k >= 0 && k < len(count) {
			count[k]++
			most = max(most, count[k])
		}
	}
	all, bins := make([]float64, len(known)), make([][]float64, len(count))
	for k, n := range count {
		bins[k], all = all[:0:n], all[n:]
	}
	for i, p := range known {
		if k := place[i]; k >= 0 && k < len(bins) {
			bins[k] = append(bins[k], cos*p.zx+sin*p.zy)
		}
	}
	m := make([]float64, len(bins))
	for k, b := range bins {
		m[k] = math.NaN()
		if 4*len(b) > most && len(b) > minBin {
			m[k] = order.Median(b)
		}
	}
	jump := func(k, reach int) float64 {
		if k-reach < 0 || k+reach >= len(m) {
			return math.NaN()
		}
		return m[k+reach] - m[k-reach]
	}
	var jumps []float64
	for k := range m {
		if j := jump(k, 1); !math.IsNaN(j) {
			jumps = append(jumps, j)
		}
	}
	if len(jumps) < minBins {
		return f, 0, false
	}
	slices.Sort(jumps)
	mid := jumps[len(jumps)/2]
	spread := (jumps[len(jumps)*3/4] - jumps[len(jumps)/4]) / 1.349
	best, at := 0.0, -1
	for k := range m {
		if j := jump(k, 1) - mid; math.Abs(j) > math.Abs(best) {
			best, at = j, k
		}
	}
	// On the line itself the stripes may be too dense to be read: a short gap counts by its two rims.
	for a := 1; a < len(m); a++ {
		b := a
		for b < len(m) && math.IsNaN(m[b]) {
			b++
		}
		if n := b - a; n > 0 && n <= maxGapBins && b < len(m) && !math.IsNaN(m[a-1]) {
			if j := m[b] - m[a-1] - mid*float64(n+1)/2; math.Abs(j) > math.Abs(best) {
				best, at = j, a+n/2
			}
		}
		a = b
	}
	if at < 0 || math.Abs(best) < foldMinStep || math.Abs(best) < 6*spread {
		return f, 0, false
	}
	// Close to the rim of what is seen, 12 mm to either side must do.
	far := jump(at, 3) - 3*mid
	if math.IsNaN(far) {
		far = jump(at, 2) - 2*mid
	}
	if math.IsNaN(far) || far/best < foldPersistence {
		return f, 0, false
	}
	return Fold{Angle: angle, S0: (float64(at-half) + 0.5) * bin, Step: best, Width: 6}, mid / (2 * bin), true
}

// coverage is the share of 25 mm runs along the line that show at least half its step between 4 and 16 mm on either side.
func coverage(known []slopeAt, f Fold, crown float64) float64 {
	sin, cos := math.Sincos(f.Angle)
	type side struct{ lo, hi []float64 }
	runs := map[int]*side{}
	for _, p := range known {
		s, _, _ := f.Across(p.x, p.y)
		if a := math.Abs(s); a < 4 || a > 16 {
			continue
		}
		t := int(math.Floor((-sin*p.x + cos*p.y) / 25))
		q := runs[t]
		if q == nil {
			q = &side{}
			runs[t] = q
		}
		v := cos*p.zx + sin*p.zy - crown*s
		if s < 0 {
			q.lo = append(q.lo, v)
		} else {
			q.hi = append(q.hi, v)
		}
	}
	shown, all := 0.0, 0.0
	for _, q := range runs {
		if len(q.lo) < 5 || len(q.hi) < 5 {
			continue
		}
		all++
		if (order.Median(q.hi)-order.Median(q.lo))/f.Step > 0.5 {
			shown++
		}
	}
	if all < 4 {
		return 0
	}
	return shown / all
}
