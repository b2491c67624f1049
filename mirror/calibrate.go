package mirror

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/internal/lm"
	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/phase"
	"fairmetal/pose"
	"fairmetal/surface"
)

// Sight is what a small patch of the photo sees: pixel, board coordinates in mm and how many pixels were averaged.
type Sight struct {
	PX, PY float64
	U, V   float64
	Weight float64
}

// sightsAcross is how many patches, each averaged into one sight, span the photo's width: orange peel averages out within one,
// and their spacing on the panel, some 4 mm, still shows a feature line.
const sightsAcross = 133

// Sights averages both fields over patches that can be read as a whole.
func Sights(u, v *phase.Field) []Sight { return SomeSights(u, v, 1) }

// SomeSights averages both fields over patches of which a share or more can be read, for faint stripes that leave holes everywhere; the
// rims of holes, as on a feature line, are not to be trusted as well.
func SomeSights(u, v *phase.Field, share float64) []Sight {
	side := max(3, u.W/sightsAcross)
	bands := make([][]Sight, u.H/side)
	rows.Do(len(bands), func(b0, b1 int) {
		for b := b0; b < b1; b++ {
			for x := 0; x+side <= u.W; x += side {
				var n, su, sv, sx, sy float64
				for j := b * side; j < (b+1)*side; j++ {
					a, c := u.X[j*u.W+x:j*u.W+x+side], v.X[j*u.W+x:j*u.W+x+side]
					for i, p := range a {
						if q := c[i]; p == p && q == q {
							n, su, sv, sx, sy = n+1, su+float64(p), sv+float64(q), sx+float64(x+i)+0.5, sy+float64(j)+0.5
						}
					}
				}
				if n >= share*float64(side*side) {
					bands[b] = append(bands[b], Sight{PX: sx / n, PY: sy / n, U: su / n, V: sv / n, Weight: 1})
				}
			}
		}
	})
	return slices.Concat(bands...)
}

// Prior is what is known before the stripes are looked at.
type Prior struct {
	DistanceMM float64 // taped from the panel's origin to the board's centre
	// DistanceSigma is the relative standard deviation of the tape; 0: TapeSigma.
	DistanceSigma float64
	// PeriodU and PeriodV are the whole steps, mm, by which the sights' board coordinates may be off together: the coarsest
	// pitch. 0: they are absolute.
	PeriodU, PeriodV float64
	// WidthMM and HeightMM are the board's size.
	WidthMM, HeightMM float64
	// SeekLine lets a feature line be tried at places between the cards where the form leaves much unexplained; Lines, if there are any,
	// are tried instead.
	SeekLine bool
	Lines    []Fold
	// Begin, if it is there, is where the fit begins.
	Begin *Start
	// Smooth has no feature lines looked for beyond those it begins with: the sights end at one.
	Smooth bool
	// Beyond says of cards A and B that they lie beyond a feature line at which the sights end: they tell nothing of the form on this side, nor does the frame
	// that both tell how it is tilted.
	Beyond [2]bool
	// Rough fits few of the sights, to tell which of several counts of the stripes fits best.
	Rough bool
}

// Start is a set-up to begin a fit with.
type Start struct {
	x     []float64 // of board and smooth form; nil: as they were set up
	Lines []Fold
	// Settled says that the sights to come fit it, but for the damage.
	Settled bool
}

// With is the same set-up with other lines.
func (s *Start) With(lines []Fold) *Start { return &Start{x: s.x, Lines: lines} }

// Widths of what is known beforehand. Common practice, no source, but for TapeSigma (the capture format).
const (
	TapeSigma      = 0.01   // of the distance
	squareSigma    = 0.10   // rad: how squarely a board is set up by eye
	sidewaysSigma  = 200.0  // mm: how well its middle is aimed at the damage; the coordinates may be off by whole periods besides
	cardTiltSigma  = 1.5e-3 // rad: how flat a card lies and how well its tilt is read
	cardPlaceSigma = 0.15   // mm: height of a card's centre over the metal
)

// formSigma is how far, in mm at FormScaleMM from the origin, terms of the form of each degree may reach. Degree 2, the crown
// itself, is free; a panel is never an exact quadric, but what it has beyond is small.
var formSigma = [FormDegree + 1]float64{0.3, 0.6, 100, 0.6, 0.25}

// tiltedFrame is how many times as far the form on one side of a feature line may be tilted against the frame of both.
const tiltedFrame = 20.0

// A styled line is nearly straight over a capture (1 unit: 10 mm of sag over +-100 mm), its fold some millimetres wide within a
// factor of three. Common practice, no source.
const (
	usualFoldMM    = 6.0
	foldBendSigma  = 1.0
	foldWidthSigma = 1.1
)

// Calibration is the solved set-up.
type Calibration struct {
	// Frame is the camera with the lens that explains the stripes best: FocalRatio times what was told, corners of the picture moved
	// outwards by CornerShare of their distance from its middle. It is the frame that was given where the lens could not be tried.
	Frame                   pose.Frame
	FocalRatio, CornerShare float64
	Board                   Board
	Form                    Form
	// ScaleSigma is the relative standard uncertainty of depth that comes from the set-up.
	ScaleSigma float64
	// TapeRatio is the taped distance over what the stripes say by themselves, TapeRatioSigma its uncertainty.
	TapeRatio, TapeRatioSigma float64
	// RMSMM is what the model leaves of the undamaged sights, mm on the board; TiltDeg how far the board was off square.
	RMSMM, TiltDeg float64
	// Undamaged is the share of sights that the fit kept, Stray the share that lies at the rim of what is seen and that the form does not
	// explain at all.
	Undamaged, Stray float64
	// Edge is where a feature line would have to run to part the stray sights from the others; nil: no straight line does, or none was asked for.
	Edge *Fold
	// Settled is where a fit of more of the same sights may begin.
	Settled *Start
	// ShiftU and ShiftV, mm, were found to be missing from all board coordinates: whole periods, to be taken off them.
	ShiftU, ShiftV float64
}

// LeastSights is how many sights a fit needs: thrice its unknowns.
const LeastSights = 60

// ErrNoFit says that the mirror model found no set-up that explains the stripes.
var ErrNoFit = errors.New("the stripes do not fit a mirror image of the board; check the taped distance, the stripe pitch and which photo shows which stripes")

const nBoard = 6 // sideways u, v, distance, and three small turns

// Calibrate fits board pose and undamaged form to sights spread over the photo by robust least squares of the exact
// reflection model, the damage dropping out by its own residual (Tukey's biweight).
func Calibrate(fr *pose.Frame, sights []Sight, prior Prior) (*Calibration, error) {
	if len(sights) < LeastSights {
		return nil, ErrNoFit
	}
	s := newSolver(fr, sights, prior)
	sigma := s.prior.DistanceSigma
	if prior.PeriodU > 0 {
		s.prior.DistanceSigma = 0.1 // until it is known which point of the board is its centre
	}
	x, err := s.settle(s.begin(prior.Begin))
	if err != nil {
		return nil, err
	}
	if s.rms > astrayRMSMM && s.folds == 0 {
		x = s.outwards(x)
	}
	if !prior.Smooth {
		x = s.addFolds(x)
		if sought, ok := s.seekFold(x); ok {
			x = s.addFolds(sought)
		}
		x = s.arcs(x)
	}
	if x, err = s.dropFaint(x); err != nil || s.rms > maxRMSMM {
		return nil, ErrNoFit
	}
	settled := s.startAt(x)
	settled.Settled = true
	c, err := s.weighTape(x, sigma)
	if err != nil {
		return nil, err
	}
	c.Settled = settled
	return c, nil
}

// startAt is x as another fit may begin with it.
func (s *solver) startAt(x []float64) *Start {
	return &Start{x: slices.Clone(x[:nBoard+len(s.exps)]), Lines: s.form(x).Folds}
}

func newSolver(fr *pose.Frame, sights []Sight, prior Prior) *solver {
	if prior.DistanceSigma == 0 {
		prior.DistanceSigma = TapeSigma
	}
	quick := quickSights
	if prior.Rough {
		quick = roughSights
		few := make([]Sight, 0, len(sights))
		for i := 0; i < len(sights); i += max(1, len(sights)/(4*roughSights)) {
			few = append(few, sights[i])
		}
		sights = few
	}
	s := &solver{fr: fr, sights: slices.Clone(sights), stride: max(1, len(sights)/quick), prior: prior, nominal: Nominal(&fr.Camera, prior.DistanceMM), exps: Exponents(FormDegree), told: fr.Camera}
	s.place(fr)
	s.weight = make([]float64, len(sights))
	for i := range s.weight {
		s.weight[i] = 1
	}
	return s
}

// Misfit is what the best form with the prior's lines, each near its place, leaves of few of the sights, rms in mm on the board over the square
// of the share that it explains: enough to compare counts of the stripes. That fit comes back to begin others with.
func Misfit(fr *pose.Frame, sights []Sight, prior Prior) (float64, *Start, error) {
	few := make([]Sight, 0, 2*lineSights)
	for i := 0; i < len(sights); i += max(1, len(sights)/lineSights) {
		few = append(few, sights[i])
	}
	s := newSolver(fr, few, prior)
	if prior.PeriodU > 0 {
		s.prior.DistanceSigma = 0.1
	}
	x, err := s.settle(s.begin(&Start{Lines: prior.Lines}))
	if err != nil {
		return 0, nil, err
	}
	return s.misfit(), s.startAt(x), nil
}

// weighTape asks the stripes alone for the board's distance, compares the tape with it, and settles with the tape unless the
// two contradict each other.
func (s *solver) weighTape(x []float64, sigma float64) (*Calibration, error) {
	s.prior.DistanceSigma = freeTape
	rough, err := s.solve(x)
	if err != nil {
		return nil, ErrNoFit
	}
	s.snap(rough.X)
	s.prior.DistanceSigma = looseTape
	x = s.fitLens(rough.X)
	if !s.prior.Rough {
		s.stride = 1
	}
	s.freeLens()
	if s.lens != nil {
		x = append(x, 0, 0)
	}
	s.prior.DistanceSigma = freeTape
	free, err := s.solve(x)
	if err != nil {
		return nil, ErrNoFit
	}
	ratio := s.prior.DistanceMM / r3.Norm(s.board(free.X).Centre)
	// The set-up's waviness enters as if it were noise: twice the formal sigma is what other panels bear out.
	ratioSigma := 2 * math.Sqrt(free.Cov.At(2, 2))
	res := free
	if math.Abs(ratio-1) < 3*math.Hypot(ratioSigma, sigma) {
		s.prior.DistanceSigma = sigma
		if res, err = s.solve(free.X); err != nil {
			return nil, ErrNoFit
		}
	}
	c := s.report(s.fixLens(res.X), res)
	c.TapeRatio, c.TapeRatioSigma = ratio, ratioSigma
	return c, nil
}

// snap moves the sights' coordinates, and the board with them, by whole periods to where the board's centre fits best what
// is known of it: the taped distance, facing the panel, and every coordinate seen on the board.
func (s *solver) snap(x []float64) {
	if s.prior.PeriodU <= 0 || s.prior.PeriodV <= 0 {
		return
	}
	b := s.board(x)
	var us, vs []float64
	for i, t := range s.sights {
		if s.weight[i] > 0.1 {
			us, vs = append(us, t.U), append(vs, t.V)
		}
	}
	slices.Sort(us)
	slices.Sort(vs)
	n := len(us)
	over := func(lo, hi, size float64) float64 { return max(0, -size/2-lo) + max(0, hi-size/2) }
	best, bu, bv := math.Inf(1), 0.0, 0.0
	const reach = 4
	for i := -reach; i <= reach; i++ {
		for j := -reach; j <= reach; j++ {
			du, dv := float64(i)*s.prior.PeriodU, float64(j)*s.prior.PeriodV
			// Coordinates lowered by (du, dv): the centre they count from moves the other way.
			c := b.At(du, dv)
			off := math.Acos(min(1, -r3.Dot(r3.Unit(c), b.N)))
			tape := (r3.Norm(c)/s.prior.DistanceMM - 1) / (2 * TapeSigma)
			// A tape may be plainly wrong: beyond three sigma its cost grows no faster than its distance.
			cost := robust(tape, 3) + off*off/(squareSigma*squareSigma)
			if s.prior.WidthMM > 0 {
				o := over(us[n/200]-du, us[n-1-n/200]-du, s.prior.WidthMM) + over(vs[n/200]-dv, vs[n-1-n/200]-dv, s.prior.HeightMM)
				cost += o * o / (15 * 15)
			}
			if cost < best {
				best, bu, bv = cost, du, dv
			}
		}
	}
	for i := range s.sights {
		s.sights[i].U -= bu
		s.sights[i].V -= bv
	}
	c := b.At(bu, bv)
	x[0], x[1] = r3.Dot(c, s.nominal.U), r3.Dot(c, s.nominal.V)
	x[2] = -r3.Dot(c, s.nominal.N)/s.prior.DistanceMM - 1
	s.shiftU, s.shiftV = s.shiftU+bu, s.shiftV+bv
}

// robust is Huber's loss.
func robust(v, k float64) float64 {
	if v = math.Abs(v); v > k {
		return k * (2*v - k)
	}
	return v * v
}

// freeTape is a tape that knows next to nothing, looseTape one that may be plainly wrong but keeps the lens from standing in for it.
const (
	freeTape  = 0.3
	looseTape = 0.03
)

// maxFolds bounds the feature lines of one capture.
const maxFolds = 3

// maxRMSMM is the misfit, mm on the board, over which the model explains nothing.
const maxRMSMM = 25.0

// settle alternates the fit and the robust weights from x until the weights rest.
func (s *solver) settle(x []float64) ([]float64, error) {
	for i := range s.weight {
		s.weight[i] = 1
	}
	s.sigma = 20
	least := 4
	if s.settled {
		s.reweight(x)
		least, s.settled = 1, false
	}
	var err error
	for round := range 12 {
		var res lm.Result
		res, err = s.solve(x)
		if err != nil && !errors.Is(err, lm.ErrSingular) {
			return nil, err
		}
		x = res.X
		if settled := s.reweight(x); settled && round >= least {
			break
		}
	}
	if err != nil {
		return nil, ErrNoFit
	}
	return x, nil
}

// fitted is where a fit has come to.
type fitted struct {
	x, weight         []float64
	sigma, scale, rms float64
	folds             int
	arc               bool
}

// now is where the fit has come to with x.
func (s *solver) now(x []float64) fitted {
	return fitted{x, slices.Clone(s.weight), s.sigma, s.scale, s.rms, s.folds, s.arc}
}

// back returns to where the fit was.
func (s *solver) back(f fitted) []float64 {
	s.weight, s.sigma, s.scale, s.rms, s.folds, s.arc = f.weight, f.sigma, f.scale, f.rms, f.folds, f.arc
	return f.x
}

// misfit grows with what the fit misses and with how much of the sights it leaves out.
func (s *solver) misfit() float64 { return s.rms / (s.kept() * s.kept()) }

// addFolds looks for lasting steps in what the form leaves, adds each to it as a feature line, and settles again. As many stay as explain the most.
func (s *solver) addFolds(x []float64) []float64 {
	best, least := s.now(x), s.misfit()
	for s.folds < maxFolds {
		f, ok := s.leftoverFold(x)
		if !ok {
			break
		}
		s.folds++
		trial, err := s.settle(append(s.smoothStart(x), f.unknowns()...))
		if err != nil {
			break
		}
		x = trial
		if m := s.misfit(); m < least {
			best, least = s.now(x), m
		}
	}
	return s.back(best)
}

// dropFaint takes lines out that have lost their step on the way, to another one that explains the same: where they lie the sights do not say.
func (s *solver) dropFaint(x []float64) ([]float64, error) {
	n := nBoard + len(s.exps)
	out := slices.Clone(x[:n])
	for k := range s.folds {
		if q := x[n+k*foldUnknowns : n+(k+1)*foldUnknowns]; math.Abs(q[3]) > foldMinStep/2 {
			out = append(out, q...)
		}
	}
	if len(out) == len(x) {
		return x, nil
	}
	s.folds = (len(out) - n) / foldUnknowns
	return s.settle(out)
}

// leftoverFold looks for a feature line that the form of x does not hold yet.
func (s *solver) leftoverFold(x []float64) (Fold, bool) {
	b, f := s.board(x), s.form(x)
	const pitch = 3.0
	g := surface.Grid{Cols: 201, Rows: 201, PitchMM: pitch, X0MM: -300, Y0MM: -300}
	rx, ry := make([]float32, g.Len()), make([]float32, g.Len())
	n := make([]float32, g.Len())
	for i, t := range s.sights {
		p, _, _, ok := f.Hit(s.fr.Camera.Centre, s.rays[i])
		if !ok {
			continue
		}
		c, r := g.Cell(p.X, p.Y)
		q, k := int(math.Round(c)), int(math.Round(r))
		if q < 0 || k < 0 || q >= g.Cols || k >= g.Rows {
			continue
		}
		mx, my := Slopes(s.fr.Camera.Centre, p, b.At(t.U, t.V))
		j := k*g.Cols + q
		for k := range f.Folds {
			_, zx, zy := f.Folds[k].eval(p.X, p.Y)
			mx, my = mx-zx, my-zy
		}
		rx[j] += float32(mx)
		ry[j] += float32(my)
		n[j]++
	}
	for j, k := range n {
		rx[j], ry[j] = rx[j]/k, ry[j]/k // 0/0 is NaN: unknown
	}
	return findFold(g, rx, ry)
}

// Where a feature line is sought: the fit finds its place from some 50 mm and 30 degrees off, whichever way the line bends the metal.
const (
	seekKept    = 0.92 // share of sights kept under which a smooth form is doubted
	seekRMSMM   = 0.1  // and the misfit of those
	poorRMSMM   = 0.3  // misfit that no smooth form of a panel leaves, however many are kept
	seekStepDeg = 45
	seekStep    = -0.02
	seekShare   = 0.35 // of the way from the middle to the cards
	seekBetter  = 0.7  // the misfit with the line over that without
	seekMore    = 0.02 // share of sights that the line must explain besides
	seekFar     = 0.3  // or the misfit over that without, if it keeps
	seekLess    = 0.05 // no smaller a share than by this
)

// seekFold tries a feature line between the middle and either card where the form explains too little, both beside the lines found so far
// and in their place. A line that leaves one card beyond it bends the fit so far that it does not show as a step in what is left, and
// may feign another. ok is false, and all as before, unless one explains more, and clearly better.
func (s *solver) seekFold(x []float64) (sought []float64, ok bool) {
	kept, rms := s.kept(), s.rms
	if !s.prior.SeekLine || rms < seekRMSMM || kept > seekKept && rms < poorRMSMM {
		return x, false
	}
	best := s.now(x)
	lines := s.prior.Lines
	if len(lines) == 0 {
		s0 := seekShare * r3.Norm(r3.Sub(s.fr.B.Centre, s.fr.A.Centre)) / 2
		for deg := 0; deg < 360; deg += seekStepDeg {
			lines = append(lines, Fold{Angle: float64(deg) * math.Pi / 180, S0: s0, Step: seekStep, Width: usualFoldMM})
		}
	}
	bases := [][]float64{nil}
	if found := x[nBoard+len(s.exps):]; len(found) > 0 && s.folds < maxFolds {
		bases = append(bases, found)
	}
	most := seekBetter * rms
	for _, base := range bases {
		s.folds = len(base)/foldUnknowns + 1
		for _, f := range lines {
			trial, err := s.settle(slices.Concat(s.start(), base, f.unknowns()))
			more := s.kept() - kept
			if err == nil && s.rms < most && (more > seekMore || more > -seekLess && s.rms < seekFar*rms) && math.Abs(trial[len(trial)-2]) > foldMinStep {
				best, most, ok = s.now(trial), s.rms, true
			}
		}
	}
	return s.back(best), ok
}

// smoothStart returns x with the smooth part of the form put back to its first guess, the folds kept: a smooth form that has
// swallowed half a feature line is a bad start.
func (s *solver) smoothStart(x []float64) []float64 {
	out := s.start()
	return append(out, x[nBoard+len(s.exps):]...)
}

type solver struct {
	fr      *pose.Frame
	told    pose.Camera // as it was given
	lens    *lens       // nil: as in fr
	stay    bool        // the lens stays as told
	sights  []Sight
	rays    []r3.Vec
	along   []float64 // where each ray met the form last
	weight  []float64 // robust
	prior   Prior
	nominal Board
	exps    [][2]int
	sigma   float64 // of one sight, mm, with its correlation folded in
	scale   float64 // robust spread of one sight
	rms     float64
	folds   int
	arc     bool    // all of them
	settled bool    // what comes to be settled first is so already, but for a few sights
	shiftU  float64 // mm taken off all U, V: whole periods
	shiftV  float64
	stride  int // of the sights that the search uses; the last fits use all
}

func (s *solver) start() []float64 {
	x := make([]float64, nBoard+len(s.exps))
	// First crown from the cards: their tilts give the curvature along x.
	if s.prior.Beyond != [2]bool{} {
		return x
	}
	l := r3.Norm(r3.Sub(s.fr.B.Centre, s.fr.A.Centre)) / 2
	x[nBoard+3] = -s.fr.SagMM * (FormScaleMM / l) * (FormScaleMM / l)
	return x
}

// begin is where a fit starts; nil: from a smooth form.
func (s *solver) begin(from *Start) []float64 {
	if from == nil {
		return s.start()
	}
	s.folds, s.settled = len(from.Lines), from.Settled
	s.arc = s.folds > 0 && !slices.ContainsFunc(from.Lines, func(f Fold) bool { return !f.Arc })
	x := slices.Clone(from.x)
	if x == nil {
		x = s.start()
	}
	for _, f := range from.Lines {
		if f.Arc && !s.arc {
			f.Width /= ArcOfTails
		}
		x = append(x, f.unknowns()...)
	}
	return x
}

func (s *solver) board(x []float64) Board {
	b := s.nominal
	w := r3.Add(r3.Add(r3.Scale(x[3], b.U), r3.Scale(x[4], b.V)), r3.Scale(x[5], b.N))
	if a := r3.Norm(w); a > 1e-15 {
		rot := r3.NewRotation(a, w)
		b.U, b.V, b.N = rot.Rotate(b.U), rot.Rotate(b.V), rot.Rotate(b.N)
	}
	n := s.nominal
	b.Centre = r3.Add(r3.Add(r3.Scale(x[0], n.U), r3.Scale(x[1], n.V)), r3.Scale(s.prior.DistanceMM*(1+x[2]), r3.Scale(-1, n.N)))
	return b
}

// form reads the panel's form out of the unknowns.
func (s *solver) form(x []float64) Form {
	n := nBoard + len(s.exps)
	f := Form{C: x[nBoard:n]}
	for k := range s.folds {
		q := x[n+k*foldUnknowns:]
		f.Folds = append(f.Folds, Fold{Angle: q[0], S0: q[1], Bend: q[2] / bendScale, Step: q[3], Width: math.Exp(q[4]), Arc: s.arc}.Prepared())
	}
	return f
}

// bendScale brings a line's bend to the size of the other unknowns: 1 unit is a sag of 10 mm over +-100 mm.
const bendScale = 1000.0

func (s *solver) solve(x []float64) (lm.Result, error) {
	maxIter := 6
	if s.stride > 1 {
		maxIter = 3 // the weights are not final yet
	}
	step := s.steps()
	m := 2*((len(s.sights)+s.stride-1)/s.stride) + s.priorRows()
	return lm.Minimise(lm.Problem{
		M: m, Step: step, MaxIter: maxIter, Tol: 1e-4, NoCov: s.stride > 1 && !s.prior.Rough,
		Residuals: func(x, r []float64) { s.misfits(x, r) },
		Jacobian:  func(x []float64, cols [][]float64) { s.jacobian(x, step, cols) },
	}, x)
}

// steps are those of the difference quotients.
func (s *solver) steps() []float64 {
	step := []float64{0.05, 0.05, 1e-4, 1e-4, 1e-4, 1e-4}
	for range s.exps {
		step = append(step, 1e-3)
	}
	for range s.folds {
		step = append(step, 1e-4, 0.02, 1e-3, 1e-4, 1e-3)
	}
	if s.lens != nil {
		step = append(step, 1e-4, 1e-4)
	}
	return step
}

// priorRows is how many residuals the priors add.
func (s *solver) priorRows() int { return nBoard + len(s.exps) + 6 + 2*s.folds + nLens }

// misfits fills what the unknowns leave of the sights in use, two a sight, and of the priors, weighted.
func (s *solver) misfits(x, r []float64) {
	used := (len(s.sights) + s.stride - 1) / s.stride
	b, f, see := s.board(x), s.form(x), s.view(x)
	rows.Do(used, func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			i := k * s.stride
			t := s.sights[i]
			w := s.rootWeight(i)
			if w == 0 {
				r[2*k], r[2*k+1] = 0, 0
				continue
			}
			ray := see.ray(i)
			p, zx, zy, ok := s.hit(&f, see.eye, ray, i)
			var u, v float64
			if ok {
				u, v, ok = b.Reflect(ray, p, zx, zy)
			}
			if !ok {
				r[2*k], r[2*k+1] = 500*w, 500*w
				continue
			}
			r[2*k], r[2*k+1] = w*(u-t.U), w*(v-t.V)
		}
	})
	s.priors(b, f, &see, x, r[2*used:])
}

// hit is where the ray of a sight meets the form, sought from where it did last.
func (s *solver) hit(f *Form, eye, ray r3.Vec, i int) (p r3.Vec, zx, zy float64, ok bool) {
	if ray.Z > -1e-6 {
		return p, 0, 0, false
	}
	if s.along[i] == 0 {
		s.along[i] = -eye.Z / ray.Z
	}
	p, zx, zy, ok = f.hitFrom(eye, ray, &s.along[i])
	if !ok {
		s.along[i] = 0
	}
	return p, zx, zy, ok
}

// rootWeight is the square root of the weight of a sight in the fit, 1/mm.
func (s *solver) rootWeight(i int) float64 {
	return math.Sqrt(s.weight[i]*s.sights[i].Weight*float64(s.stride)) / s.sigma
}

func (s *solver) priors(b Board, f Form, see *view, x, r []float64) {
	r[0], r[1] = x[0]/sidewaysSigma, x[1]/sidewaysSigma
	r[2] = (r3.Norm(b.Centre)/s.prior.DistanceMM - 1) / s.prior.DistanceSigma
	r[3], r[4], r[5] = x[3]/squareSigma, x[4]/squareSigma, x[5]/squareSigma
	k := nBoard
	for i, e := range s.exps {
		degree := e[0] + e[1]
		r[k] = f.C[i] / formSigma[degree]
		if degree < 2 && s.prior.Beyond != [2]bool{} {
			r[k] /= tiltedFrame
		}
		k++
	}
	for i, c := range see.cards {
		if s.prior.Beyond[i] {
			r[k], r[k+1], r[k+2] = 0, 0, 0
			k += 3
			continue
		}
		z, zx, zy := f.Eval(c.Centre.X, c.Centre.Y)
		r[k] = (z - (c.Centre.Z - pose.CardThicknessMM)) / cardPlaceSigma
		r[k+1] = (zx + c.Normal.X/c.Normal.Z) / cardTiltSigma
		r[k+2] = (zy + c.Normal.Y/c.Normal.Z) / cardTiltSigma
		k += 3
	}
	for _, fold := range f.Folds {
		r[k] = fold.Bend * bendScale / foldBendSigma
		r[k+1] = math.Log(fold.Width/usualFoldMM) / foldWidthSigma
		k += 2
	}
	r[k], r[k+1] = 0, 0
	if s.lens != nil {
		r[k], r[k+1] = (s.lens.focal+see.d[0])/FocalSigma, (s.lens.corner+see.d[1])/cornerSigma
	}
}

// residuals returns the unweighted misfit of every sight, mm on the board.
func (s *solver) residuals(x []float64) []float64 {
	b := s.board(x)
	f := s.form(x)
	out := make([]float64, len(s.sights))
	rows.Do(len(out), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			out[i] = s.miss(&b, &f, i)
		}
	})
	return out
}

// miss is how far on the board a sight's ray lands from where it was seen, mm; +Inf where it lands nowhere.
func (s *solver) miss(b *Board, f *Form, i int) float64 {
	p, zx, zy, ok := s.hit(f, s.fr.Camera.Centre, s.rays[i], i)
	if !ok {
		return math.Inf(1)
	}
	u, v, ok := b.Reflect(s.rays[i], p, zx, zy)
	if !ok {
		return math.Inf(1)
	}
	return math.Hypot(u-s.sights[i].U, v-s.sights[i].V)
}

// kept is the share of sights that the fit keeps.
func (s *solver) kept() float64 {
	n := 0
	for _, w := range s.weight {
		if w > 0.1 {
			n++
		}
	}
	return float64(n) / float64(len(s.weight))
}

// tukey is the cut of the biweight in robust standard deviations (Beaton & Tukey 1974: 4.685 keeps 95 % efficiency).
const tukey = 4.685

// reweight updates the robust weights and the effective sigma of a sight.
func (s *solver) reweight(x []float64) (settled bool) {
	d := s.residuals(x)
	// Median of a Rayleigh-distributed distance is 1.1774 sigma.
	s.scale = max(order.Nth(slices.Clone(d), len(d)/2)/1.1774, 0.02)
	var sum, n, change float64
	for i, v := range d {
		w := 0.0
		if q := v / (tukey * s.scale); q < 1 {
			w = (1 - q*q) * (1 - q*q)
		}
		change += math.Abs(w - s.weight[i])
		s.weight[i] = w
		if w > 0 {
			sum += w * v * v / 2
			n += w
		}
	}
	s.rms = math.Sqrt(sum / n)
	// What the model leaves is correlated over some centimetres of metal (waviness), so that only about effectiveSights
	// places are independent; folding that into sigma keeps the priors' weight honest.
	s.sigma = max(s.rms, 0.02) * math.Sqrt(math.Max(1, n/effectiveSights))
	return change/float64(len(d)) < 0.01
}

// quickSights is about how many sights settle the robust weights; all of them take part in the last fits.
const quickSights = 2000

// roughSights tell counts of the stripes apart, lineSights do where the lines are known.
const (
	roughSights = 600
	lineSights  = 200
)

// effectiveSights is how many independent looks at the form a capture gives: some 300 x 200 mm of metal in patches of 15 mm.
const effectiveSights = 270

func (s *solver) report(x []float64, res lm.Result) *Calibration {
	focal, corner := s.lensOf(&s.fr.Camera)
	c := &Calibration{Frame: *s.fr, FocalRatio: math.Exp(focal), CornerShare: corner, Board: s.board(x), Form: s.form(slices.Clone(x)), RMSMM: s.rms, ShiftU: s.shiftU, ShiftV: s.shiftV}
	c.Undamaged = s.kept()
	toOrigin := r3.Unit(r3.Scale(-1, c.Board.Centre))
	c.TiltDeg = math.Acos(min(1, r3.Dot(toOrigin, c.Board.N))) * 180 / math.Pi
	c.ScaleSigma = math.Sqrt(res.Cov.At(2, 2))
	stray := s.stray()
	c.Stray = float64(len(stray)) / float64(max(1, len(s.sights)))
	if !s.prior.Smooth && !s.prior.Rough {
		c.Edge = s.edge(stray, &c.Board, &c.Form)
	}
	return c
}
