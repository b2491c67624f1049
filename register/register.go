package register

import (
	"fmt"
	"math"

	"fairmetal/mark"
	"fairmetal/surface"
)

// Side is one capture's measured surface and what stands out on it.
type Side struct {
	Surface *surface.Surface
	Marks   []mark.Mark
	Lines   []Line
}

// Result is how the second surface lies against the first.
type Result struct {
	Move Move `json:"move"`
	// Standard uncertainties of the shift of the common metal's middle and of the turn, from what the fit leaves.
	SigmaXMM     float64 `json:"sigma_x_mm"`
	SigmaYMM     float64 `json:"sigma_y_mm"`
	SigmaTurnDeg float64 `json:"sigma_turn_deg"`
	// PlaceSigmaMM is what both mean for a place of the common metal, rms.
	PlaceSigmaMM float64 `json:"place_sigma_mm"`
	CommonCM2    float64 `json:"common_cm2"`
	// PeelAgreement is the correlation of both surfaces' orange peel and short waviness outside the marks, PeelSigmas the same in
	// standard deviations of an accidental one.
	PeelAgreement float64 `json:"peel_agreement"`
	PeelSigmas    float64 `json:"peel_sigmas"`
	Landmarks     int     `json:"landmarks"` // marks that meet
	SpreadUM      float64 `json:"spread_um"` // robust spread of the difference
	FormUM        float64 `json:"form_um"`   // rms of the smooth difference between both forms
	Sure          bool    `json:"sure"`
	Reason        string  `json:"reason"` // of the verdict, in plain words
	Moved         bool    `json:"moved"`  // the frames differ by more than cards that lay still explain

	score float64
}

// Limits of the verdict.
const (
	// peelSure: of some million moves tried, the best accidental one reaches about five standard deviations.
	peelSure = 7.0
	// Two marks or more that meet tell a move, unless so many meet by chance: chanceSure is the number of accidental moves as good that
	// is still put up with.
	landmarksSure = 2
	chanceSure    = 0.01
	// rivalShare: another move that explains this share as much is a rival.
	rivalShare = 0.75
	// placeSureMM: marks are followed from capture to capture within 4 mm; three sigma stay inside it.
	placeSureMM = 4.0 / 3
	// Cards that lie still bring frames together within a few tenths; more than stillMM is a move.
	stillMM = 1.0
	// hereMM is how far the search without moved cards reaches.
	hereMM = 4.0
)

// aligner holds what all tries share.
type aligner struct {
	a, b   Side
	la, lb []landmark
	fa, fb field // fingerprints
	under  []int // the mark of a under each point; -1: none
	smooth []float32
	// cellMM2 is the area that a point stands for.
	cellMM2 float64
	// searched: moves other than the cards' are being tried.
	searched bool
	problem
}

// Between finds how b lies against a. It looks first where the cards say, then everywhere.
func Between(a, b Side) Result {
	l := newAligner(a, b)
	if l == nil {
		return Result{Reason: "too little of the panel was measured in both captures"}
	}
	here := l.settle(Move{}, true)
	if here.Sure && apart(here.Move, Move{}) < hereMM {
		here.Moved = apart(here.Move, Move{}) > max(stillMM, 3*here.PlaceSigmaMM)
		return here
	}
	l.searched = true
	l.sample(searchPointMM)
	best, rival := l.search()
	if best.Sure {
		l.sample(pointMM)
		best = l.settle(best.Move, true)
	}
	if best.score > 0 && rival.score > rivalShare*best.score && best.Sure && best.PeelSigmas < peelSure {
		best.Sure, best.Reason = false, fmt.Sprintf("two places fit nearly alike, %.0f mm apart", apart(best.Move, rival.Move))
	}
	if best.Sure {
		best.Moved = apart(best.Move, Move{}) > max(stillMM, 3*best.PlaceSigmaMM)
		return best
	}
	if best.score > here.score {
		return best
	}
	return here
}

func newAligner(a, b Side) *aligner {
	l := &aligner{a: a, b: b, la: landmarks(a.Marks), lb: landmarks(b.Marks)}
	l.narrowing, l.maxSteps = markNarrowing, markSteps
	l.fa, _ = fingerprint(a.Surface, a.Marks)
	l.fb, _ = fingerprint(b.Surface, b.Marks)
	l.smooth = surface.Gauss(a.Surface.Grid, a.Surface.Height, surface.GaussCutoff(fingerShortMM))
	l.problem.b = field{b.Surface.Grid, surface.Gauss(b.Surface.Grid, b.Surface.Height, surface.GaussCutoff(fingerShortMM))}
	if l.sample(pointMM); len(l.points) < minShared {
		return nil
	}
	return l
}

// sample takes heights about stepMM apart as the fit's points.
func (l *aligner) sample(stepMM float64) {
	g := l.a.Surface.Grid
	stride := max(1, int(math.Round(stepMM/g.PitchMM)))
	l.points, l.under = nil, nil
	for r := 0; r < g.Rows; r += stride {
		for c := 0; c < g.Cols; c += stride {
			if h := l.smooth[r*g.Cols+c]; h == h {
				x, y := g.XY(c, r)
				l.points = append(l.points, point{x, y, float64(h)})
				l.under = append(l.under, markOver(l.a.Marks, x, y, markMargin))
			}
		}
	}
	l.cellMM2 = float64(stride*stride) * g.PitchMM * g.PitchMM
	e := exponents(formDegree)
	l.terms = len(e)
	l.basis = make([]float64, l.terms*len(l.points))
	for i, q := range l.points {
		powers(g, e, q.x, q.y, l.basis[i*l.terms:(i+1)*l.terms])
	}
	l.centre()
}

// formDegree is that of the smooth difference: flattening of two captures of unlike extent leaves little more.
const formDegree = 3

// markNarrowing: marks are found from some millimetres, within a few steps.
const (
	markNarrowing = 0.4
	markSteps     = 25
)

// pointMM is the spacing of the heights that the fit uses.
const pointMM = 1.5

// searchPointMM is the same while many moves are tried.
const searchPointMM = 3.0

// search tries the moves that marks propose, and where these leave doubts those that orange peel proposes.
func (l *aligner) search() (best, rival Result) {
	try := func(all []candidate, wide bool) {
		for _, c := range all {
			if best.PeelSigmas >= peelSure {
				return // by chance in a million moves none comes near it
			}
			r := l.settle(c.move, wide)
			switch {
			case r.Sure && !best.Sure || r.Sure == best.Sure && r.score > best.score:
				if apart(r.Move, best.Move) > 3*nearMM {
					rival = best
				}
				best = r
			case r.score > rival.score && apart(r.Move, best.Move) > 3*nearMM:
				rival = r
			}
		}
	}
	try(byLandmarks(l.la, l.lb), true)
	if best.PeelSigmas < peelSure {
		try(byFingerprint(&l.fa, &l.fb), false)
	}
	return best, rival
}

// settle fits from a start and judges what comes out: first by what the undamaged metal says nearby, then, where wide, by the marks.
func (l *aligner) settle(start Move, wide bool) Result {
	l.ties, l.loose = nil, nil
	near := l.report(l.fit(start, true))
	if near.PeelSigmas >= peelSure || !wide || len(l.la) == 0 || len(l.lb) == 0 {
		return near
	}
	far := l.byMarks(start)
	// Where the marks led, the orange peel may agree after all.
	l.ties, l.loose = nil, nil
	if r := l.report(l.fit(far.Move, true)); r.PeelSigmas >= peelSure {
		return r
	}
	return far
}

// keptShare is how much of a mark must fit within the last cut: below it the mark was worked, and its rim is no witness.
const keptShare = 0.6

// A prior far wider than what marks tell, for what they do not: one round mark tells no turn.
const anyMM, anyTurn = 500.0, 0.8

// byMarks fits the marks alone: paint whose orange peel does not agree only pretends to know. Marks that were worked count by their
// place, the others by their form.
func (l *aligner) byMarks(start Move) Result {
	l.ties = ties(l.a, l.b, l.la, l.lb, start)
	l.loose = make([]bool, len(l.points))
	for i := range l.loose {
		l.loose[i] = l.under[i] < 0
	}
	l.priorMM, l.priorTurn = anyMM, anyTurn
	defer func() { l.priorMM, l.priorTurn = 0, 0 }()
	s := l.fit(start, false)
	for range 2 {
		if !s.ok {
			break
		}
		kept, all := make([]float64, len(l.a.Marks)), make([]float64, len(l.a.Marks))
		for i, k := range l.under {
			if k >= 0 {
				kept[k] += s.kept[i]
				all[k]++
			}
		}
		for i, k := range l.under {
			l.loose[i] = k < 0 || kept[k] < keptShare*all[k]
		}
		m := l.move(s)
		l.ties = ties(l.a, l.b, l.la, l.lb, m)
		s = l.fit(m, true)
	}
	return l.report(s)
}

// report describes and judges a solution.
func (l *aligner) report(s solution) Result {
	if !s.ok {
		return Result{Reason: "too little of the panel was measured in both captures"}
	}
	r := Result{Move: l.move(s), SpreadUM: 1000 * s.spreadMM}
	r.SigmaXMM, r.SigmaYMM, r.SigmaTurnDeg = math.Sqrt(s.cov[0][0]), math.Sqrt(s.cov[1][1]), math.Sqrt(s.cov[2][2])*180/math.Pi
	var lever, form, n float64
	for i, p := range l.points {
		if _, _, _, ok := l.problem.b.at(r.Move.From(p.x, p.y)); !ok {
			continue
		}
		lever += (p.x-l.cx)*(p.x-l.cx) + (p.y-l.cy)*(p.y-l.cy)
		var z float64
		for k, v := range s.coef[1:] {
			z += v * l.basis[i*l.terms+1+k]
		}
		form += z * z
		n++
	}
	r.PlaceSigmaMM = math.Sqrt(s.cov[0][0] + s.cov[1][1] + s.cov[2][2]*lever/n)
	r.FormUM = 1000 * math.Sqrt(form/n)
	r.CommonCM2 = math.Round(n * l.cellMM2 / 100)
	corr, spread := agreement(&l.fa, &l.fb, r.Move)
	r.PeelAgreement, r.PeelSigmas = corr, corr/spread
	pairs, score := match(l.la, l.lb, r.Move, nearMM)
	r.Landmarks = len(pairs)
	// Both kinds of evidence in one currency: landmarks by weight in threes, orange peel, beyond what happens all the time, in units of what makes
	// it sure.
	r.score = score/3 + max(0, r.PeelSigmas-3)/(peelSure-3)
	accidents := math.Inf(1) // of paint that only pretends to know, marks are no witness
	if l.loose != nil {
		accidents = chance(len(l.la), len(l.lb), len(pairs), n*l.cellMM2, l.searched)
	}
	r.judge(accidents)
	return r
}

// judge gives the verdict and its reason.
func (r *Result) judge(accidents float64) {
	fits := r.PeelSigmas >= peelSure
	meets := r.Landmarks >= landmarksSure && accidents < chanceSure
	switch {
	case !fits && !meets && r.Landmarks == 0:
		r.Reason = "there is nothing to hold on to: no marks meet and the orange peel does not agree"
	case !fits && !meets && r.Landmarks >= landmarksSure:
		r.Reason = fmt.Sprintf("%s, which so many do by chance, and the orange peel does not agree", meeting(r.Landmarks))
	case !fits && !meets:
		r.Reason = fmt.Sprintf("only %s and the orange peel does not agree", meeting(r.Landmarks))
	case !(r.PlaceSigmaMM <= placeSureMM):
		r.Reason = fmt.Sprintf("places are known within %.1f mm only", r.PlaceSigmaMM)
	case fits:
		r.Sure, r.Reason = true, fmt.Sprintf("the orange peel agrees, %.0f standard deviations over chance, and %s", r.PeelSigmas, meeting(r.Landmarks))
	default:
		r.Sure, r.Reason = true, meeting(r.Landmarks)
	}
}

func meeting(n int) string {
	switch n {
	case 0:
		return "no marks meet"
	case 1:
		return "1 mark meets"
	}
	return fmt.Sprintf("%d marks meet", n)
}
