package plan

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"fairmetal/metal"
	"fairmetal/rack"
	"fairmetal/surface"
)

// Heard is what the metal has told so far: how much harder or softer it is than its name says, and how a hit moves the metal around. All rounds of
// a job are weighed together.
type Heard struct {
	panel  metal.Panel // with the yield of its name
	tools  rack.Rack
	ground *ground
	curves map[bool][]curve
	tabs   map[tab]*fields // of pulls
	told   [factors]told   // by the factor on the yield
	lows   []low
	Hits   int // that it rests on
}

// told is what the rounds say of one factor on the yield: the log likelihood is log + eta x - x lambda x/2 for a shape x.
type told struct {
	log    float64
	eta    [shapes]float64
	lambda [shapes][shapes]float64
}

// curve is the set that stays of a hit to a height under load.
type curve struct{ loadedUM, setUM []float64 }

// Factors on the yield that are weighed.
const (
	leastFactor, factorStep, factors = 0.70, 0.005, 141
	// usualSpread of yields where the material names none.
	usualSpread = 0.15
)

// shapePrior are the standard deviations of a Shape before any hit: of the far field against finite elements (docs/method/metal.md); of the bump with
// tip and force, whose plastic patch is 1.5 to 3 mm wide; of a held hit, common practice, no source.
var shapePrior = [shapes]float64{0.15, 0.2, 0.15}

const (
	// readUM is the error of a change of height between two captures, um, alike within alikeCells cells.
	readUM, alikeCells = 1.0, 4.0
	// leftOver is what no shape explains of all that moved at a place.
	leftOver = 0.05
	// slipped: from this many standard deviations on a hit counts for less.
	slipped = 3.0
	// told is believed by this share and some um, before the metal is looked at.
	toldSpread, toldUM = 0.6, 5.0
	// formDegree of the smooth form that a capture takes off, formUM how far it may be off.
	formDegree, formTerms, formUM = 4, 15, 100.0
	// aroundMM is how far around its hits a round is looked at.
	aroundMM = 30.0
)

// NewHeard starts with what the material's name says: a log-normal of its spread.
func NewHeard(p metal.Panel, tools rack.Rack) (*Heard, error) {
	h := &Heard{panel: p, tools: tools, curves: map[bool][]curve{}, tabs: map[tab]*fields{}}
	if err := h.On(metal.Crown{}, rack.Access{}); err != nil {
		return nil, err
	}
	spread := p.Spread
	if spread <= 0 {
		spread = usualSpread
	}
	for i := range h.told {
		u := math.Log(factorAt(i)) / spread
		h.told[i].log = -u * u / 2
	}
	return h, nil
}

// On tells the form's crown and where the skin is held, as a plan knows them; before any round.
func (h *Heard) On(c metal.Crown, a rack.Access) (err error) {
	h.ground, err = newGround(h.panel, c, a)
	return err
}

func factorAt(i int) float64 { return leastFactor + factorStep*float64(i) }

// shapeOf is the shape that goes with a factor, its covariance, and the log weight of the factor.
func (t *told) shapeOf() (mean [shapes]float64, cov *mat.SymDense, log float64) {
	l := mat.NewSymDense(shapes, nil)
	eta := mat.NewVecDense(shapes, t.eta[:])
	for i := range shapes {
		for j := i; j < shapes; j++ {
			l.SetSym(i, j, t.lambda[i][j])
		}
		l.SetSym(i, i, l.At(i, i)+1/(shapePrior[i]*shapePrior[i]))
	}
	var c mat.Cholesky
	cov = mat.NewSymDense(shapes, nil)
	var m mat.VecDense
	if !c.Factorize(l) || c.SolveVecTo(&m, eta) != nil || c.InverseTo(cov) != nil {
		return mean, cov, math.Inf(-1) // no shape goes with it
	}
	copy(mean[:], m.RawVector().Data)
	return mean, cov, t.log + mat.Dot(eta, &m)/2 - c.LogDet()/2
}

// weights of the factors, in sum 1, and the shape that goes with each.
func (h *Heard) weights() (w [factors]float64, mean [factors][shapes]float64, cov [factors]*mat.SymDense) {
	most, sum := math.Inf(-1), 0.0
	for i := range h.told {
		mean[i], cov[i], w[i] = h.told[i].shapeOf()
		most = max(most, w[i])
	}
	for i := range w {
		w[i] = math.Exp(w[i] - most)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w, mean, cov
}

// Factor is the yield over that of the name, and its standard deviation.
func (h *Heard) Factor() (mean, sd float64) {
	w, _, _ := h.weights()
	q := 0.0
	for i, p := range w {
		f := factorAt(i)
		mean, q = mean+p*f, q+p*f*f
	}
	return mean, math.Hypot(math.Sqrt(max(0, q-mean*mean)), curveSpread*mean)
}

// curveSpread is what all hits of a job have in common: the curve of what stays against height under the tool is within 15 % of finite
// elements, and a set changes by some six times the share that the yield does.
const curveSpread = 0.02

// Shape is how hits move the metal around, over what was worked out, and the standard deviation of each part.
func (h *Heard) Shape() (mean, sd Shape) {
	w, means, covs := h.weights()
	var m, q [shapes]float64
	for i, p := range w {
		for k, v := range means[i] {
			m[k], q[k] = m[k]+p*v, q[k]+p*(v*v+covs[i].At(k, k))
		}
	}
	for k := range q {
		q[k] = math.Sqrt(max(0, q[k]-m[k]*m[k]))
	}
	return Shape{m[shapeFar], m[shapeWide], m[shapeHeld]}, Shape{q[shapeFar], q[shapeWide], q[shapeHeld]}
}

// Panel is the panel with the yield heard.
func (h *Heard) Panel() metal.Panel {
	p := h.panel
	f, _ := h.Factor()
	p.Material = p.WithYield(p.YieldMPa * f)
	return p
}

// at are the curves of all factors for a soft or hard tip.
func (h *Heard) at(soft bool) []curve {
	if c, ok := h.curves[soft]; ok {
		return c
	}
	const steps, from, to = 40, 0.6, 5.0
	out := make([]curve, factors)
	for i := range out {
		p := h.panel
		p.Material = p.WithYield(p.YieldMPa * factorAt(i))
		for k := range steps {
			f := p.ForceUnit() * (from + (to-from)*float64(k)/(steps-1))
			set := p.SetUM(f, metal.Tip{Soft: soft})
			loaded := set + p.SpringbackUM(f, metal.Tip{Soft: soft})
			if k == 0 || loaded > out[i].loadedUM[len(out[i].loadedUM)-1] {
				out[i].loadedUM, out[i].setUM = append(out[i].loadedUM, loaded), append(out[i].setUM, set)
			}
		}
	}
	h.curves[soft] = out
	return out
}

func (c curve) stays(loadedUM float64) float64 {
	if loadedUM <= c.loadedUM[0] {
		return 0
	}
	return interpolate(loadedUM, c.loadedUM, c.setUM)
}

// raises tells whether the hit is worked to a height under the tool.
func (h Hit) raises() bool { return h.Method != "tap" && !h.Held }

// touch is how the hit works the metal.
func (h Hit) touch() touch {
	switch {
	case h.Sharp:
		return sharp
	case h.Held:
		return held
	}
	return free
}

// look is a round as it shows on the metal: how much each hit has moved each cell around, and by how much that changes with the shape.
type looked struct {
	grid  surface.Grid
	cells []int
	moved []float64 // of the cells, um, without the broad part that a capture takes for the form
	was   []float64 // where each hit's metal stood before the round, um
	hits  []Hit
	by    []*fields // of each hit
	curve [][]curve // of each hit that is worked to a height under the tool
	lows  []low
	low   []int // of each hit; -1: none
}

// Round weighs what a round has changed, surface before and after. What each hit has left is fitted to the metal; a push or pull then tells the yield by
// the height under the tool that was told for it, from where those before it left the metal, and what moved beside the hits tells the shape. A
// round with fewer than two pushes tells nothing.
func (h *Heard) Round(r Round, before, after *surface.Surface) {
	l := h.look(r, before, after)
	pushes := 0
	for _, c := range l.hits {
		if c.raises() {
			pushes++
		}
	}
	if pushes < 2 {
		return
	}
	// First about what was told, then about what the metal says itself.
	set, spread := make([]float64, len(l.hits)), make([]float64, len(l.hits))
	for j, c := range l.hits {
		set[j], spread[j] = c.SetUM, toldSpread*math.Abs(c.SetUM)+toldUM
	}
	shape, _ := h.Shape()
	next := *h
	var w *weighing
	for range weighings {
		var err error
		if w, err = h.newWeighing(&l, shape, set, spread); err != nil {
			return // hits that cannot be told apart
		}
		next = *h
		for u := range next.told {
			if !w.add(&next.told[u], u) {
				return
			}
		}
		factor, _ := next.Factor()
		shape, _ = next.Shape()
		set, spread = w.expected(factorIndex(factor))
	}
	h.told = next.told
	h.Hits += pushes
	h.returned(w, set, spread, shape)
}

// weighings of a round, each about what the one before it found.
const weighings = 3

func factorIndex(f float64) int {
	return min(max(int(math.Round((f-leastFactor)/factorStep)), 0), factors-1)
}

// look lays a round's change on the bench's raster. Hits where the metal was not measured are left out.
func (h *Heard) look(r Round, before, after *surface.Surface) looked {
	g := after.Grid
	l := looked{grid: surface.Grid{X0MM: g.X0MM, Y0MM: g.Y0MM, PitchMM: cellMM,
		Cols: int(float64(g.Cols-1)*g.PitchMM/cellMM) + 1, Rows: int(float64(g.Rows-1)*g.PitchMM/cellMM) + 1}}
	change := make([]float64, l.grid.Len())
	for i := range change {
		x, y := l.grid.XY(i%l.grid.Cols, i/l.grid.Cols)
		change[i] = 1000 * (after.At(x, y) - before.At(x, y))
	}
	soft, tabs := map[string]bool{}, map[string]float64{}
	for _, t := range h.tools.Tips {
		soft[t.Name] = t.Metal().Soft
	}
	for _, t := range h.tools.Tabs {
		tabs[t.Name] = math.Sqrt(t.Metal().AreaMM2() / math.Pi)
	}
	near := map[int]bool{}
	for _, c := range r.Hits {
		was := 1000 * before.At(c.XMM, c.YMM)
		if math.IsNaN(was) {
			continue
		}
		l.hits, l.was = append(l.hits, c), append(l.was, was)
		here := h.ground.at(c.XMM, c.YMM)
		l.by = append(l.by, here)
		l.curve = append(l.curve, nil)
		if c.raises() {
			l.curve[len(l.hits)-1] = h.at(c.Method == "pull" || soft[c.Tool])
		}
		if t := tabs[c.Tool]; c.Method == "pull" && t > 0 {
			k := tab{here, t}
			if h.tabs[k] == nil {
				h.tabs[k] = here.spreadOver(t)
			}
			l.by[len(l.hits)-1] = h.tabs[k]
		}
		col, row := l.grid.Cell(c.XMM, c.YMM)
		n := int(aroundMM / cellMM)
		for j := max(0, int(row)-n); j <= min(l.grid.Rows-1, int(row)+n); j++ {
			for i := max(0, int(col)-n); i <= min(l.grid.Cols-1, int(col)+n); i++ {
				if math.Hypot(float64(i)-col, float64(j)-row) <= float64(n) && !math.IsNaN(change[j*l.grid.Cols+i]) {
					near[j*l.grid.Cols+i] = true
				}
			}
		}
	}
	l.lows, l.low = lowsOf(l.hits)
	for i := range change {
		if near[i] {
			l.cells, l.moved = append(l.cells, i), append(l.moved, change[i])
		}
	}
	return l
}

// shows is what a capture shows of a hit at an offset, and by what it changes with the shape.
func (f *fields) shows(t touch, c, r int) (v float64, by [shapes]float64) {
	for k := range f.by {
		if d := f.by[k].of(t); d != nil {
			by[k] = d.at(c, r)
		}
	}
	return f.of(t).at(c, r), by
}

// lifts is what a hit of 1 does to the metal at an offset on metal of a shape.
func (f *fields) lifts(t touch, dx, dy float64, shape [shapes]float64) float64 {
	v, by := f.shows(t, int(math.Round(dx/cellMM)), int(math.Round(dy/cellMM)))
	for k, d := range by {
		v += shape[k] * d
	}
	return v
}

// weighing is a round as a linear model of what its hits may have left: the metal moved by the sets times the fields, by the fields' slopes where a hit
// landed beside its place, and by what the shape changes. Places are taken out at once; what stays is the same for all factors.
type weighing struct {
	l             *looked
	normal        *mat.SymDense // of sets, shape, the metal itself, and for each low what its taps lost again, and rings around it
	fitted        []float64     // what each hit has left
	stood, unsure []float64     // where its metal stood, and the variance of that
}

// newWeighing builds it about a shape and sets, with their standard deviations.
func (h *Heard) newWeighing(l *looked, around Shape, set, spread []float64) (*weighing, error) {
	n, cells, at := len(l.hits), len(l.cells), around.parts()
	// Columns: the sets, the shape, the metal, the lows; behind them the places, and the form that a capture takes off the metal.
	lows := l.lows
	metalAt, places := n+shapes, n+shapes+1+lowParts*len(lows)
	form := places + 2*n
	x := mat.NewDense(cells, form+formTerms, nil)
	for k, i := range l.cells {
		px, py := l.grid.XY(i%l.grid.Cols, i/l.grid.Cols)
		row := x.RawRowView(k)
		row[metalAt] = l.moved[k]
		all := 0.0
		for j, c := range l.hits {
			c0, r0 := int(math.Round((px-c.XMM)/cellMM)), int(math.Round((py-c.YMM)/cellMM))
			here, by := l.by[j].shows(c.touch(), c0, r0)
			var side [4]float64
			for d, o := range aroundCell {
				side[d], _ = l.by[j].shows(c.touch(), c0+o[0], r0+o[1])
			}
			// Landing beside its place a hit is blurred on the mean.
			here += placeMM * placeMM / 2 * (side[0] + side[1] + side[2] + side[3] - 4*here) / (cellMM * cellMM)
			for s, w := range by {
				here += at[s] * w
				row[n+s] += set[j] * w
				row[metalAt] += at[s] * set[j] * w
			}
			row[j] = here
			row[places+2*j] = placeMM * c.SetUM * (side[1] - side[0]) / (2 * cellMM)
			row[places+2*j+1] = placeMM * c.SetUM * (side[3] - side[2]) / (2 * cellMM)
			all += math.Abs(set[j] * here)
			if k := l.low[j]; k >= 0 && c.Method == "tap" {
				row[metalAt+1+lowParts*k] += set[j] * here
			}
		}
		for k := range lows {
			ring := lows[k].around(px, py)
			copy(row[metalAt+2+lowParts*k:], ring[:])
		}
		k := form
		u, v := 2*float64(i%l.grid.Cols)/float64(l.grid.Cols)-1, 2*float64(i/l.grid.Cols)/float64(l.grid.Rows)-1
		for p := range formDegree + 1 {
			for q := range formDegree + 1 - p {
				row[k] = formUM * math.Pow(u, float64(p)) * math.Pow(v, float64(q))
				k++
			}
		}
		w := 1 / math.Sqrt(alikeCells*(readUM*readUM+leftOver*leftOver*all*all))
		for j := range row {
			row[j] *= w
		}
	}
	q := form + formTerms
	full := mat.NewSymDense(q, nil)
	full.SymOuterK(1, x.T())
	block := func(r0, r1, c0, c1 int) *mat.Dense {
		d := mat.NewDense(r1-r0, c1-c0, nil)
		for i := r0; i < r1; i++ {
			for j := c0; j < c1; j++ {
				d.Set(i-r0, j-c0, full.At(i, j))
			}
		}
		return d
	}
	own := mat.NewSymDense(q-places, nil)
	for i := range q - places {
		for j := i; j < q-places; j++ {
			own.SetSym(i, j, full.At(places+i, places+j))
		}
		own.SetSym(i, i, own.At(i, i)+1)
	}
	var c mat.Cholesky
	if !c.Factorize(own) {
		return nil, errors.New("the places of the hits cannot be told")
	}
	cross := block(places, q, 0, places)
	var solved, less mat.Dense
	if err := c.SolveTo(&solved, cross); err != nil {
		return nil, err
	}
	less.Mul(cross.T(), &solved)
	w := &weighing{l: l, normal: mat.NewSymDense(places, nil), stood: make([]float64, n), unsure: make([]float64, n)}
	for i := range places {
		for j := i; j < places; j++ {
			w.normal.SetSym(i, j, full.At(i, j)-less.At(i, j))
		}
	}
	return w, w.fit(set, spread, at)
}

// fit finds what each hit has left, about sets that are known to a spread, and where its metal stood.
func (w *weighing) fit(set, spread []float64, at [shapes]float64) error {
	n := len(set)
	s, rhs := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, w.normal.At(i, j))
		}
		v := 1 / (spread[i] * spread[i])
		s.SetSym(i, i, s.At(i, i)+v)
		rest := w.normal.At(i, n+shapes) // at the shape it is built about
		for k, a := range at {
			rest -= a * w.normal.At(i, n+k)
		}
		rhs.SetVec(i, rest+v*set[i])
	}
	var c mat.Cholesky
	var x mat.VecDense
	inv := mat.NewSymDense(n, nil)
	if !c.Factorize(s) {
		return errors.New("the hits cannot be told apart")
	}
	if err := errors.Join(c.SolveVecTo(&x, rhs), c.InverseTo(inv)); err != nil {
		return err
	}
	w.fitted = x.RawVector().Data
	for j, c := range w.l.hits {
		w.stood[j] = w.l.was[j]
		lift := make([]float64, j)
		for i, o := range w.l.hits[:j] {
			lift[i] = w.l.by[i].lifts(o.touch(), c.XMM-o.XMM, c.YMM-o.YMM, at)
			w.stood[j] += w.fitted[i] * lift[i]
		}
		w.unsure[j] = readUM * readUM
		for i, a := range lift {
			for k, b := range lift {
				w.unsure[j] += a * b * inv.At(i, k)
			}
		}
	}
	return nil
}

// expects is the set that is to be expected of a hit on metal of a factor, and its standard deviation.
func (w *weighing) expects(j, u int) (set, sd float64) {
	c := w.l.hits[j]
	bend := 1.0
	if c.raises() {
		at := w.l.curve[j][u]
		l := c.LoadedUM - w.stood[j]
		set, bend = at.stays(l), (at.stays(l+bendUM)-at.stays(l-bendUM))/(2*bendUM)
	} else {
		e := c.ToUM - w.stood[j]
		set = math.Copysign(min(math.Abs(e), mostTap*math.Abs(c.SetUM)+leastUM), e)
	}
	return set, math.Sqrt(amount*amount*set*set + bend*bend*w.unsure[j] + 1)
}

const (
	// bendUM is half the step over which a curve's slope is taken.
	bendUM = 5.0
	// mostTap: a tap that does not come as told is not driven further than this many times what was told. Common practice, no source.
	mostTap = 1.5
)

// expected are the sets of all hits on metal of a factor, and their standard deviations.
func (w *weighing) expected(u int) (set, sd []float64) {
	for j := range w.l.hits {
		m, s := w.expects(j, u)
		set, sd = append(set, m), append(sd, s)
	}
	return set, sd
}

// add adds the round to what is told of a factor; false where the hits cannot be told apart.
func (w *weighing) add(t *told, u int) bool {
	n := len(w.l.hits)
	m, g, s := mat.NewVecDense(n, nil), mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	cross := mat.NewDense(n, shapes, nil)
	b := mat.NewVecDense(n, nil)
	logD := 0.0
	for j := range n {
		set, sd := w.expects(j, u)
		v := sd * sd
		if z := (w.fitted[j] - set) * (w.fitted[j] - set) / v; z > slipped*slipped {
			v *= z / (slipped * slipped)
		}
		m.SetVec(j, set)
		logD += math.Log(v)
		for i := j; i < n; i++ {
			g.SetSym(j, i, w.normal.At(j, i))
			s.SetSym(j, i, w.normal.At(j, i))
		}
		s.SetSym(j, j, s.At(j, j)+1/v)
		b.SetVec(j, w.normal.At(j, n+shapes))
		for k := range shapes {
			cross.Set(j, k, w.normal.At(j, n+k))
		}
	}
	var c mat.Cholesky
	if !c.Factorize(s) {
		return false
	}
	var gm, p, sp mat.VecDense
	var sh mat.Dense
	gm.MulVec(g, m)
	p.SubVec(b, &gm)
	if c.SolveVecTo(&sp, &p) != nil || c.SolveTo(&sh, cross) != nil {
		return false
	}
	t.log -= (w.normal.At(n+shapes, n+shapes) - 2*mat.Dot(m, b) + mat.Dot(m, &gm) - mat.Dot(&p, &sp) + c.LogDet() + logD) / 2
	for i := range shapes {
		t.eta[i] += w.normal.At(n+i, n+shapes) - mat.Dot(cross.ColView(i), m) - mat.Dot(cross.ColView(i), &sp)
		for j := range shapes {
			t.lambda[i][j] += w.normal.At(n+i, n+j) - mat.Dot(cross.ColView(i), sh.ColView(j))
		}
	}
	return true
}
