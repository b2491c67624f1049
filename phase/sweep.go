package phase

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"fairmetal/internal/order"
)

// Sweep is a board coordinate read from frames taken while the board slid by unknown, uneven steps.
type Sweep struct {
	Field
	Shifts []float64 // found, in pitches from the first frame, growing
	Moved  []string  // files that do not fit the others and were left out
}

// ErrSweep says that the frames do not show stripes sliding one way.
var ErrSweep = errors.New("the frames do not show stripes that slide steadily one way over more than half a stripe; slide the board slowly in one direction, camera and cards still")

const (
	// moveLimit is the unexplained share of a frame, in units of the modulation, from which it counts as moved,
	moveLimit = 0.35
	moveFar   = 2.0 // if it is so much farther off than half the frames are: noise spoils all alike,
	allNoise  = 0.8 // up to here; of noise alone 1.2 are unexplained
)

// Swept solves shifts and phases together. First guess of the shifts: the two leading principal components of the frames over the
// striped pixels are the cosine and sine of the shifts [Vargas2011]; then pixels and shifts are fitted in turn by least squares
// [WangHan2004]. The sliding direction, forward towards growing coordinates, settles the sign. Frames that stay unexplained
// are left out. One pitch alone leaves whole pitches free; the coordinate follows by continuity.
func Swept(axis string, shots []Shot, forward bool, boardMM float64) (*Sweep, error) {
	shots = finest(shots)
	if len(shots) < 4 {
		return nil, fmt.Errorf("a sweep needs seven photos or more of %s stripes of one pitch", axis)
	}
	var moved []string
	for {
		shifts, err := sweepShifts(shots, forward)
		if err != nil {
			at := spoiler(shots, forward)
			if at < 0 || len(moved) > 2 {
				return nil, err
			}
			moved = append(moved, shots[at].File)
			shots = slices.Delete(slices.Clone(shots), at, at+1)
			continue
		}
		with := make([]Shot, len(shots))
		for i, s := range shots {
			with[i] = s
			with[i].Shift = shifts[i]
		}
		worst, usual, at := frameMisfit(with)
		if worst > moveLimit && (worst > moveFar*usual || usual > allNoise) && len(shots) > 5 {
			moved = append(moved, shots[at].File)
			shots = slices.Delete(slices.Clone(shots), at, at+1)
			continue
		}
		g, err := nstep(axis, with)
		if err != nil {
			return nil, ErrSweep
		}
		w, h := shots[0].Img.W, shots[0].Img.H
		ok := readable(g, w, h)
		g.judge(ok, len(shots))
		if g.share > maxShiftResidual {
			return nil, ErrSweep
		}
		f := Field{W: w, H: h, Mod: g.mod, PitchMM: g.pitch,
			SigmaMM: g.pitch / (2 * math.Pi) * math.Sqrt(2/float64(len(shots))) * g.noise / medianWhere(g.mod, ok)}
		f.X = unwrapReliable(g.phase, ok, w, h, g.pitch)
		centre(f.X, ok, g.pitch, boardMM)
		mendOrders(f.X, ok, w, h, g.pitch)
		ok = f.countOut(g, f.X, ok)
		nan := float32(math.NaN())
		for i, good := range ok {
			if !good {
				f.X[i] = nan
			}
		}
		f.evenTurn()
		f.keep(g, ok)
		f.openPixels()
		return &Sweep{Field: f, Shifts: shifts, Moved: moved}, nil
	}
}

// finest keeps the frames of the finest pitch: those of another do not tell against them, since where they began is unknown too.
func finest(shots []Shot) []Shot {
	p := math.Inf(1)
	for _, s := range shots {
		p = min(p, s.PitchMM)
	}
	var out []Shot
	for _, s := range shots {
		if s.PitchMM == p {
			out = append(out, s)
		}
	}
	return out
}

// spoiler finds the one frame without which the others make a good sweep, -1 if there is none.
func spoiler(shots []Shot, forward bool) int {
	best, at := moveLimit, -1
	if len(shots) < 6 {
		return at
	}
	for i := range shots {
		rest := slices.Delete(slices.Clone(shots), i, i+1)
		shifts, err := sweepShifts(rest, forward)
		if err != nil {
			continue
		}
		for k := range rest {
			rest[k].Shift = shifts[k]
		}
		if worst, _, _ := frameMisfit(rest); worst < best {
			best, at = worst, i
		}
	}
	return at
}

// striped samples pixels whose brightness swings most over the frames, their exposures evened out: values[pixel][frame].
func striped(shots []Shot) [][]float64 {
	pix := len(shots[0].Img.Pix)
	step := max(1, pix/60000)
	var all [][]float64
	for i := 0; i < pix; i += step {
		v := make([]float64, len(shots))
		for k, s := range shots {
			v[k] = float64(s.Img.Pix[i])
		}
		if slices.Max(v) < 0.97 {
			all = append(all, v)
		}
	}
	if len(all) == 0 {
		return nil
	}
	gains := exposures(all)
	swing := make([]float64, len(all))
	for i, v := range all {
		for k := range v {
			v[k] /= gains[k]
		}
		swing[i] = slices.Max(v) - slices.Min(v)
	}
	sorted := slices.Clone(swing)
	floor := 0.4 * order.Nth(sorted, len(sorted)*98/100)
	var out [][]float64
	for i, v := range all {
		if swing[i] > floor {
			out = append(out, v)
		}
	}
	return out
}

// exposures is the brightness of each frame, 1 on the average, on what swings least for how bright it is: the cards and what lies around the
// stripes. Bright cards under an uneven exposure would pass for stripes.
func exposures(values [][]float64) []float64 {
	type one struct {
		share, mean float64
		v           []float64
	}
	all := make([]one, len(values))
	for i, v := range values {
		mean := 0.0
		for _, x := range v {
			mean += x / float64(len(v))
		}
		all[i] = one{(slices.Max(v) - slices.Min(v)) / max(mean, 1e-3), mean, v}
	}
	slices.SortFunc(all, func(a, b one) int { return cmp.Compare(a.share, b.share) })
	gains, ratio := make([]float64, len(values[0])), make([]float64, 0, len(all))
	for k := range gains {
		ratio = ratio[:0]
		for _, o := range all[:(len(all)+stillShare-1)/stillShare] {
			ratio = append(ratio, o.v[k]/max(o.mean, 1e-3))
		}
		gains[k] = order.Median(ratio)
	}
	return gains
}

// stillShare is one over the share of the pixels that tell exposures.
const stillShare = 20

// sweepShifts finds the shifts, in pitches, from the first frame on.
func sweepShifts(shots []Shot, forward bool) ([]float64, error) {
	values := striped(shots)
	n := len(shots)
	if len(values) < 500 {
		return nil, ErrSweep
	}
	var shifts []float64
	for range 3 {
		var ok bool
		if shifts, ok = principal(values, n); !ok {
			return nil, ErrSweep
		}
		for range 20 {
			next, ok := alternate(values, shifts)
			if !ok {
				return nil, ErrSweep
			}
			change := 0.0
			for i := range next {
				change = max(change, math.Abs(next[i]-shifts[i]))
			}
			shifts = next
			if change < 1e-5 {
				break
			}
		}
		// Edges of cards and glints swing, too, but fit no shifts.
		values = better(values, shifts)
	}
	return oneWay(shifts, forward)
}

// better keeps the half of the pixels that the shifts explain best, as long as there are plenty.
func better(values [][]float64, shifts []float64) [][]float64 {
	basis, inv, err := normalEquations(shifts)
	if err != nil || len(values) < 2000 {
		return values
	}
	off, fit := make([]float64, len(values)), fitWith(basis, inv, nil)
	for i, v := range values {
		a, c, s := fit.of(v)
		for k := range v {
			d := v[k] - a - c*basis[k][1] - s*basis[k][2]
			off[i] += d * d
		}
		off[i] /= c*c + s*s
	}
	sorted := slices.Clone(off)
	half := order.Median(sorted)
	var out [][]float64
	for i, v := range values {
		if off[i] <= half {
			out = append(out, v)
		}
	}
	return out
}

// principal returns the shifts up to sign and a constant, from the covariance of the frames.
func principal(values [][]float64, n int) ([]float64, bool) {
	cov := mat.NewSymDense(n, nil)
	for _, v := range values {
		var mean float64
		for _, x := range v {
			mean += x / float64(n)
		}
		for i := range n {
			for j := i; j < n; j++ {
				cov.SetSym(i, j, cov.At(i, j)+(v[i]-mean)*(v[j]-mean))
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(cov, true) {
		return nil, false
	}
	val := e.Values(nil)
	if val[n-2] < 0.02*val[n-1] {
		return nil, false // one component alone: the stripes hardly moved
	}
	var vec mat.Dense
	e.VectorsTo(&vec)
	shifts := make([]float64, n)
	a, b := math.Sqrt(val[n-1]), math.Sqrt(val[n-2])
	for i := range n {
		shifts[i] = math.Atan2(b*vec.At(i, n-2), a*vec.At(i, n-1)) / (2 * math.Pi)
	}
	return shifts, true
}

// alternate fits every pixel with the given shifts, then every frame's shift with the given pixels.
func alternate(values [][]float64, shifts []float64) ([]float64, bool) {
	basis, inv, err := normalEquations(shifts)
	if err != nil {
		return nil, false
	}
	n := len(shifts)
	// For each frame: I = a + p C + q S over pixels, C and S being the pixels' cosine and sine parts.
	type sums struct{ m [3][4]float64 }
	acc := make([]sums, n)
	fit := fitWith(basis, inv, nil)
	for _, v := range values {
		_, c, s := fit.of(v)
		for k := range n {
			r := [3]float64{1, c, s}
			for i := range 3 {
				for j := range 3 {
					acc[k].m[i][j] += r[i] * r[j]
				}
				acc[k].m[i][3] += r[i] * v[k]
			}
		}
	}
	out := make([]float64, n)
	for k := range n {
		m := acc[k].m
		for p := range 3 {
			if math.Abs(m[p][p]) < 1e-12 {
				return nil, false
			}
			for q := p + 1; q < 3; q++ {
				f := m[q][p] / m[p][p]
				for j := p; j < 4; j++ {
					m[q][j] -= f * m[p][j]
				}
			}
		}
		q := m[2][3] / m[2][2]
		p := (m[1][3] - m[1][2]*q) / m[1][1]
		out[k] = math.Atan2(q, p) / (2 * math.Pi)
	}
	return out, true
}

// oneWay turns wrapped shifts into a walk from the first frame in the asked direction: steps are shorter than half a pitch, the sign
// is free, so the one that walks forward is taken.
func oneWay(shifts []float64, forward bool) ([]float64, error) {
	n := len(shifts)
	walk := make([]float64, n)
	back := 0
	for i := 1; i < n; i++ {
		d := shifts[i] - shifts[i-1]
		d -= math.Round(d)
		walk[i] = walk[i-1] + d
		if d < 0 {
			back++
		}
	}
	// Principal components do not know left from right.
	if walk[n-1] < 0 {
		for i := range walk {
			walk[i] = -walk[i]
		}
		back = n - 1 - back
	}
	if walk[n-1] < 0.5 || back > n/4 {
		return nil, ErrSweep
	}
	if !forward {
		for i := range walk {
			walk[i] = -walk[i]
		}
	}
	return walk, nil
}

// frameMisfit returns the frame whose pixels are explained worst, and by how much, in units of the modulation, and by how much half the
// frames are.
func frameMisfit(shots []Shot) (worst, usual float64, at int) {
	values := striped(shots)
	shifts := make([]float64, len(shots))
	for i, s := range shots {
		shifts[i] = s.Shift
	}
	basis, inv, err := normalEquations(shifts)
	if err != nil || len(values) == 0 {
		return 0, 0, 0
	}
	bad := make([]float64, len(shots))
	var power float64
	fit := fitWith(basis, inv, nil)
	for _, v := range values {
		a, c, s := fit.of(v)
		power += c*c + s*s
		for k := range v {
			d := v[k] - a - c*basis[k][1] - s*basis[k][2]
			bad[k] += d * d
		}
	}
	for k, b := range bad {
		bad[k] = math.Sqrt(b / power)
		if bad[k] > worst {
			worst, at = bad[k], k
		}
	}
	return worst, order.Median(bad), at
}
