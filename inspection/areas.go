package inspection

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/capture"
	"fairmetal/internal/rows"
	"fairmetal/mark"
	"fairmetal/pose"
)

// Area is a part of the panel without a value: its bounding box, mm in the panel frame.
type Area struct {
	Kind     string  `json:"kind"` // folded, beyond-line, on-line, no-board, unreadable, covered
	XMM      float64 `json:"x_mm"` // middle
	YMM      float64 `json:"y_mm"`
	WidthMM  float64 `json:"width_mm"`
	HeightMM float64 `json:"height_mm"`
	AreaMM2  float64 `json:"area_mm2"`
	Advice   string  `json:"advice"`
}

func vec(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }

const (
	// minAreaMM2 is the smallest unmeasured area worth a word.
	minAreaMM2 = 30.0
	// coarseMM is the raster on which unmeasured areas are gathered.
	coarseMM = 2.0
	// workShare is the height of the field of work over the distance of the cards: the damage lies between them.
	workShare = 0.45
)

// areas lists what between and around the cards got no value, says why, and what to change.
func (r *run) areas() {
	s := r.res.Surface
	a, b := r.res.Frame.A, r.res.Frame.B
	half := (b.Centre.X - a.Centre.X) / 2
	x0, x1 := a.Centre.X, b.Centre.X
	y1 := workShare * half
	y0 := -y1
	inField := func(x, y float64) bool { return x >= a.Centre.X && x <= b.Centre.X && math.Abs(y) <= workShare*half }
	if r.folded != nil { // what folds is told of wherever it lies
		x, y := s.XY(s.Cols-1, s.Rows-1)
		x0, y0, x1, y1 = min(x0, s.X0MM), min(y0, s.Y0MM), max(x1, x), max(y1, y)
	}
	cols, rws := int((x1-x0)/coarseMM)+1, int((y1-y0)/coarseMM)+1
	kind := make([]string, cols*rws)
	if r.struckMM > 0 && r.beyondSeam == nil {
		r.beyondSeam = r.lostSide()
	}
	seens, alls := make([]int, rws), make([]int, rws)
	rows.Do(rws, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range cols {
				x, y := x0+float64(i)*coarseMM, y0+float64(j)*coarseMM
				h := s.At(x, y)
				switch in := inField(x, y); {
				case !in && h == h || onCard(a, x, y) || onCard(b, x, y):
				case !in:
					if r.foldedAt(x, y) && !r.byCard(x, y) && r.touchesInside(x, y) && r.facesBoard(x, y, rimStripes*r.u.PitchMM) {
						kind[j*cols+i] = "folded"
					}
				case h == h:
					alls[j]++
					seens[j]++
				case r.byCard(x, y): // hidden by the card, not by the metal
				default:
					if kind[j*cols+i] = r.why(x, y); kind[j*cols+i] != "beyond-line" && kind[j*cols+i] != "on-line" { // which are told by themselves
						alls[j]++
					}
				}
			}
		}
	})
	var seen, all float64
	for j := range rws {
		seen, all = seen+float64(seens[j]), all+float64(alls[j])
	}
	small, smallMM2 := 0, 0.0 // folded places not worth a row each
	label := make([]bool, len(kind))
	for k := range kind {
		if kind[k] == "" || label[k] {
			continue
		}
		queue := []int{k}
		label[k] = true
		for q := 0; q < len(queue); q++ {
			c := queue[q]
			for _, d := range [4]int{-1, 1, -cols, cols} {
				n := c + d
				if n < 0 || n >= len(kind) || label[n] || kind[n] != kind[k] || d == -1 && c%cols == 0 || d == 1 && c%cols == cols-1 {
					continue
				}
				label[n] = true
				queue = append(queue, n)
			}
		}
		kind := kind[k]
		if (kind == "no-board" || kind == "unreadable") && r.covered(queue, cols, x0, y0) {
			kind = "covered"
			all -= float64(len(queue)) // no metal
		}
		area := float64(len(queue)) * coarseMM * coarseMM
		least := minAreaMM2
		if kind == "folded" && !inField(x0+float64(k%cols)*coarseMM, y0+float64(k/cols)*coarseMM) {
			least *= 2 // rough paint folds small places by itself
		}
		if kind == "folded" && area < least {
			small++
			smallMM2 += area
		}
		if area >= least {
			r.res.Areas = append(r.res.Areas, r.area(kind, queue, cols, x0, y0, area))
		}
	}
	cut := r.cutMarks()
	if share := 1 - seen/max(all, 1); share > 0.1 || len(cut) > 0 {
		text := fmt.Sprintf("%.0f %% of the metal between the cards does not mirror the board", 100*share)
		if len(cut) > 0 {
			text = fmt.Sprintf("part of mark %s does not mirror the board (%.0f %% of the metal between the cards does not)", cut[0].ID, 100*share)
		}
		r.note(Warning, "no-board", text, r.boardAdvice()+"; nothing is guessed there")
	}
	r.foldedNotice(small, smallMM2)
}

// cardRimStripes is how many stripe pairs beside a card are lost with it: reading asks that at least one is whole.
const cardRimStripes = 2.0

// byCard tells whether a card hides a place, or the stripes beside it.
func (r *run) byCard(x, y float64) bool { return r.withinCard(x, y, cardRimStripes) }

// withinCard tells whether a place lies under a card or so many stripe pairs from it.
func (r *run) withinCard(x, y, stripes float64) bool {
	rim := stripes * r.stripeMM(r.cam)
	return nearCard(r.res.Frame.A, x, y, rim) || nearCard(r.res.Frame.B, x, y, rim)
}

// nearCard tells whether a place lies within rim mm of a card.
func nearCard(c pose.Placed, x, y, rim float64) bool {
	half := math.Hypot(c.Corners[0].X-c.Corners[1].X, c.Corners[0].Y-c.Corners[1].Y) / 2
	s := (half + rim) / half
	return onCard(c, c.Centre.X+(x-c.Centre.X)/s, c.Centre.Y+(y-c.Centre.Y)/s)
}

// onCard tells whether a place lies under a card and its quiet zone.
func onCard(c pose.Placed, x, y float64) bool {
	var rim [4]r2.Vec
	for i, p := range c.Corners {
		rim[i] = r2.Vec{X: p.X, Y: p.Y}
	}
	return encloses(rim, x, y)
}

// encloses tells whether a place lies inside four corners.
func encloses(rim [4]r2.Vec, x, y float64) (in bool) {
	for i, p := range rim {
		q := rim[(i+1)%4]
		if (p.Y > y) != (q.Y > y) && x < (q.X-p.X)*(y-p.Y)/(q.Y-p.Y)+p.X {
			in = !in
		}
	}
	return in
}

// why tells why a place between the cards has no value.
func (r *run) why(x, y float64) string {
	ix, iy := r.seenAt(x, y)
	if r.foldedAt(x, y) {
		return "folded"
	}
	if r.beyondSeam != nil && r.besideSeam(ix, iy) {
		return "beyond-line"
	}
	if r.struckMM > 0 && r.onSeam(x, y, 1) {
		return "on-line"
	}
	if r.facesBoard(x, y, 0) && r.touchesInside(x, y) {
		return "unreadable"
	}
	return "no-board"
}

// facesBoard tells whether undamaged metal at a place mirrors the board, no nearer to the board's rim than so many mm on it.
func (r *run) facesBoard(x, y, clearMM float64) bool {
	z, zx, zy := r.res.Calibration.Form.Eval(x, y)
	p := vec(x, y, z)
	u, v, ok := r.res.Calibration.Board.Reflect(r3.Unit(r3.Sub(p, r.cam.Centre)), p, zx, zy)
	b := r.res.Capture.Board
	return ok && math.Abs(u) <= b.WidthMM/2-clearMM && math.Abs(v) <= b.HeightMM/2-clearMM
}

// rimStripes is how many stripe pairs from the board's rim stripes are cut, and what looks folded is none.
const rimStripes = 2.0

// lostSide is the metal beyond a seam, where its stripes were counted but its height does not hang together with that between the cards; nil
// where it does.
func (r *run) lostSide() []bool {
	far := r.farSide()
	lost, held := 0, 0
	s := r.res.Surface
	step := max(1, int(coarseMM/s.Grid.PitchMM))
	for j := 0; j < s.Grid.Rows; j += step {
		for i := 0; i < s.Grid.Cols; i += step {
			px, ok := r.seenIndex(s.Grid.XY(i, j))
			switch h := s.Height[j*s.Grid.Cols+i]; {
			case !ok || !far[px]:
			case h != h:
				lost++
			default:
				held++
			}
		}
	}
	if lost <= held {
		return nil
	}
	r.note(Warning, "feature-line", "the stripes beyond a feature line do not hang together with those between the cards: the metal there got no value", beyondAdvice)
	return far
}

// besideSeam tells whether a pixel lies beyond a seam, or in the strip along it that is left out because the seam is not plain.
func (r *run) besideSeam(ix, iy int) bool {
	step := max(1, int(seamStripStripes*r.res.Quality.StripePX/2))
	for dy := -2 * step; dy <= 2*step; dy += step {
		for dx := -2 * step; dx <= 2*step; dx += step {
			x, y := ix+dx, iy+dy
			if x >= 0 && y >= 0 && x < r.u.W && y < r.u.H && (r.beyondSeam[y*r.u.W+x] || r.onSeamPX(y*r.u.W+x)) {
				return true
			}
		}
	}
	return false
}

// seamStripStripes is how many stripe pairs are left out beside a seam that is not plain.
const seamStripStripes = 1.5

// covered tells whether no metal mirrors the board in these cells although metal of the form would, and sound metal lies around them: a
// hole, trim, tape or dirt. Metal so sharp that it turns away from the board does so from a dent. Single photos do not tell: their stripes
// are read together, not pixel by pixel.
func (r *run) covered(cells []int, cols int, x0, y0 float64) bool {
	if r.set.Kind == capture.Single {
		return false
	}
	s := r.res.Surface
	calm := max(mark.DefaultMinDepthUM, calmSpreads*r.res.Quality.SpreadUM)
	facing, dull, told, sound := 0, 0, 0, 0
	for _, c := range cells {
		x, y := x0+float64(c%cols)*coarseMM, y0+float64(c/cols)*coarseMM
		if r.facesBoard(x, y, 0) {
			facing++
		}
		if i, ok := r.seenIndex(x, y); ok && float64(max(r.u.Mod[i], r.v.Mod[i])) < dullShare*r.res.Quality.Contrast {
			dull++
		}
		for _, d := range [4][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			if h := 1000 * s.At(x+2*coarseMM*d[0], y+2*coarseMM*d[1]); h == h {
				told++
				if math.Abs(h) < calm {
					sound++
				}
			}
		}
	}
	n := len(cells)
	return 10*facing >= 9*n && 2*dull > n && told > 3 && 10*sound >= 9*told
}

const (
	calmSpreads = 4    // of the undamaged metal's spread: what counts as sound
	dullShare   = 0.25 // of the stripes' usual swing: what a dull thing may show of them by its gloss
)

// seenAt is the pixel that shows a place of the undamaged form.
func (r *run) seenAt(x, y float64) (ix, iy int) {
	z, _, _ := r.res.Calibration.Form.Eval(x, y)
	px, py, _ := r.cam.Project(vec(x, y, z))
	return int(math.Floor(px)), int(math.Floor(py))
}

// seenIndex is the index of the pixel of seenAt; it is not ok where the photo does not reach.
func (r *run) seenIndex(x, y float64) (i int, ok bool) {
	ix, iy := r.seenAt(x, y)
	return iy*r.u.W + ix, ix >= 0 && iy >= 0 && ix < r.u.W && iy < r.u.H
}

// foldedAt tells whether a place is seen where the reflection folds.
func (r *run) foldedAt(x, y float64) bool {
	i, ok := r.seenIndex(x, y)
	return ok && r.folded != nil && r.folded[i]
}

// touchesInside tells whether measured metal lies to all four sides of a place.
func (r *run) touchesInside(x, y float64) bool {
	s := r.res.Surface
	for _, d := range [4][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
		hit := false
		for t := coarseMM; t < 400 && !hit; t += coarseMM {
			h := s.At(x+t*d[0], y+t*d[1])
			hit = h == h
		}
		if !hit {
			return false
		}
	}
	return true
}

func (r *run) area(kind string, cells []int, cols int, x0, y0, mm2 float64) Area {
	lx, ly, hx, hy := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, c := range cells {
		x, y := x0+float64(c%cols)*coarseMM, y0+float64(c/cols)*coarseMM
		lx, ly, hx, hy = min(lx, x), min(ly, y), max(hx, x), max(hy, y)
	}
	a := Area{Kind: kind, XMM: (lx + hx) / 2, YMM: (ly + hy) / 2, WidthMM: hx - lx + coarseMM, HeightMM: hy - ly + coarseMM, AreaMM2: mm2}
	switch kind {
	case "folded":
		a.Advice = r.unfoldAdvice()
	case "on-line":
		a.Advice = "take a shifted set or a sweep: a single photo does not read the stripes that crowd on a feature line"
	case "beyond-line":
		a.Advice = beyondAdvice
	case "covered":
		a.Advice = coveredAdvice
	case "no-board":
		a.Advice = r.boardAdvice()
	default:
		a.Advice = r.lostAdvice(a)
	}
	return a
}

// beyondAdvice is what lets metal beyond a line that hides stripes be measured.
const beyondAdvice = "take a shifted set or a sweep, or lay the cards beyond the line for a capture of its own"

// coveredAdvice is for what covers sound metal.
const coveredAdvice = "nothing mirrors the board here amid sound metal: a hole, trim, tape or dirt; wipe the paint if it is dirt"

// lostAdvice says what would let a place be read at which the stripes were lost: in a mark they ran too densely, elsewhere they did not stand
// out. A board half as far and a photo twice as fine each show metal twice as sharp; wider stripes alone do not where the coarse ones of the set
// can no longer be followed from pixel to pixel.
func (r *run) lostAdvice(a Area) string {
	const beside = 3 // mm
	if !slices.ContainsFunc(r.res.Marks, func(m mark.Mark) bool { return m.Inside(a.XMM, a.YMM, 1, beside) }) {
		return "no stripes stand out here: wipe the paint, keep glare off it, " + faintAdvice
	}
	b := r3.Norm(r.res.Calibration.Board.Centre)
	return fmt.Sprintf("the metal is too sharp here for a board %.0f mm away: bring it to about %.0f mm, or step nearer with the camera; each shows metal twice as sharp", b, math.Round(b/20)*10)
}

// cutMarks are the marks that run into metal without a value.
func (r *run) cutMarks() []mark.Mark {
	var cut []mark.Mark
	for _, m := range r.res.Marks {
		n := 0
		for _, p := range m.OutlineMM {
			for _, d := range [4][2]float64{{1.5, 0}, {-1.5, 0}, {0, 1.5}, {0, -1.5}} {
				x, y := p[0]+d[0], p[1]+d[1]
				if h := r.res.Surface.At(x, y); h != h && !onCard(r.res.Frame.A, x, y) && !onCard(r.res.Frame.B, x, y) && r.why(x, y) == "no-board" {
					n++
					break
				}
			}
		}
		if 8*n > len(m.OutlineMM) {
			cut = append(cut, m)
		}
	}
	return cut
}

// foldedNotice tells once about all folded places, the small ones together.
func (r *run) foldedNotice(small int, smallMM2 float64) {
	n, area := 0, 0.0
	for _, a := range r.res.Areas {
		if a.Kind == "folded" {
			n++
			area += a.AreaMM2
		}
	}
	switch {
	case n > 0 && small > 0:
		r.note(Warning, "folded", fmt.Sprintf("the reflection folds over in %d place(s), %.0f mm2 in all, and in %d of under %.0f mm2 each: the metal is too sharp there for a single photo to tell low from high", n, area, small, 2*minAreaMM2), r.unfoldAdvice())
	case small > 0:
		r.note(Info, "folded", fmt.Sprintf("the reflection folds over in %d place(s) of under %.0f mm2 each, %.0f mm2 in all: a single photo does not tell low from high there", small, 2*minAreaMM2, smallMM2), r.unfoldAdvice())
	case n > 0:
		r.note(Warning, "folded", fmt.Sprintf("the reflection folds over in %d place(s), %.0f mm2 in all: the metal is too sharp there for a single photo to tell low from high", n, area), r.unfoldAdvice())
	}
}

// unfoldAdvice says what would unfold the reflection here: by Coddington's equations a bowl of depth d and width s folds from
// d = s^2/2 (1/B + 1/C + 2/R), so halving the board distance B raises the limit most.
func (r *run) unfoldAdvice() string {
	b := r3.Norm(r.res.Calibration.Board.Centre)
	return fmt.Sprintf("take a shifted set, or bring the board from %.0f mm to about %.0f mm", b, math.Round(b/20)*10)
}
