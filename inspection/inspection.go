// Package inspection measures one capture: photos in, surface and marks out. It alone knows the order of the steps
//
//	photos - cards - pose - board coordinates - slopes - surface - marks
//
// and turns what goes wrong on the way into words for the technician.
package inspection

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/capture"
	"fairmetal/card"
	"fairmetal/internal/order"
	"fairmetal/internal/rows"
	"fairmetal/mark"
	"fairmetal/mirror"
	"fairmetal/phase"
	"fairmetal/photo"
	"fairmetal/pose"
	"fairmetal/steady"
	"fairmetal/surface"
)

// Result is what a capture tells.
type Result struct {
	Capture     capture.Capture
	SetKind     string
	Photo       *photo.Image // evenly lit where the set allows, in the pixels of Camera
	Frame       pose.Frame
	Calibration *mirror.Calibration
	Surface     *surface.Surface
	AbsoluteMM  []float32 // the whole undamaged form, mm in the panel frame, on the surface's grid
	Twin        *TwinDoc  // the twin that gave the undamaged form; nil: none
	Marks       []mark.Mark
	Areas       []Area
	Notices     []Notice
	Quality     Quality
}

// Quality holds the figures by which a capture can be judged.
type Quality struct {
	ModelRMSMM     float64 `json:"model_rms_mm"`     // misfit of the mirror model on undamaged paint, mm on the board
	Undamaged      float64 `json:"undamaged_share"`  // share of the stripes that fit the undamaged form
	Stray          float64 `json:"stray_share"`      // share at the rim that no undamaged form explains
	ContraryMM2    float64 `json:"contrary_mm2"`     // metal whose slopes no surface has
	SpreadUM       float64 `json:"spread_um"`        // robust spread of undamaged metal, orange peel and noise together
	BoardTiltDeg   float64 `json:"board_tilt_deg"`   // board off square
	FocalRatio     float64 `json:"focal_ratio"`      // focal length found over the one told
	CornerShare    float64 `json:"corner_share"`     // by which the lens moves the picture's corners outwards
	TapeRatio      float64 `json:"tape_ratio"`       // taped distance over what the stripes say by themselves
	TapeRatioSigma float64 `json:"tape_ratio_sigma"` // its standard uncertainty
	DepthScalePct  float64 `json:"depth_scale_pct"`  // standard uncertainty of depth from the set-up, per cent
	StripePX       float64 `json:"stripe_px"`        // stripe period on undamaged paint, px
	Contrast       float64 `json:"contrast"`         // swing of the stripes, linear light
	CardMisfitPX   float64 `json:"card_misfit_px"`   // rms of the cards against flat squares
	BlurPX         float64 `json:"blur_px"`          // standard deviation of the blur of the cards' edges
	ShakePX        float64 `json:"shake_px"`         // wander of the camera between photos, taken out
	Clipped        float64 `json:"clipped_share"`    // pure white pixels of the worst photo
	MeasuredCM2    float64 `json:"measured_cm2"`
}

// Progress is told the step at hand and how much of the whole is done, 0 to 1.
type Progress func(step string, done float64)

// Run measures the capture in a folder. A refusal is an error of type *Refusal.
func Run(ctx context.Context, folder fs.FS, progress Progress) (*Result, error) {
	return RunTwin(ctx, folder, nil, progress)
}

// RunCapture measures a capture whose capture.json is already read: only the photos come from the folder.
func RunCapture(ctx context.Context, folder fs.FS, c capture.Capture, progress Progress) (*Result, error) {
	if progress == nil {
		progress = func(string, float64) {}
	}
	return measureCapture(ctx, folder, c, nil, progress)
}

func measureCapture(ctx context.Context, folder fs.FS, c capture.Capture, twin *Stored, progress Progress) (*Result, error) {
	set, err := chooseSet(c)
	if err != nil {
		return nil, err
	}
	run := &run{ctx: ctx, folder: folder, progress: progress, twin: twin, res: &Result{Capture: c, SetKind: set.Kind}}
	if err := run.photos(set); err != nil {
		return nil, err
	}
	steps := []struct {
		name string
		done float64
		do   func() error
	}{
		{"finding the scale cards", 0.42, run.cards},
		{"reading the stripes", 0.52, run.stripes},
		{"solving the mirror", 0.66, run.mirror},
		{"building the surface", 0.76, run.surface},
		{"looking for marks", 0.92, run.marks},
	}
	for _, s := range steps {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		progress(s.name, s.done)
		if err := s.do(); err != nil {
			return nil, err
		}
	}
	progress("measured", 1)
	return run.res, nil
}

// chooseSet takes the set that tells most: shifted before sweep before single.
func chooseSet(c capture.Capture) (capture.Set, error) {
	for _, kind := range []string{capture.Shifted, capture.Sweep, capture.Single} {
		for _, s := range c.Sets {
			if s.Kind == kind {
				return s, nil
			}
		}
	}
	return capture.Set{}, refuse("no-set", "capture.json names no set of photos", "add the stripe photos and try again")
}

type run struct {
	ctx      context.Context
	folder   fs.FS
	progress Progress
	twin     *Stored // the undamaged other side; nil: none
	res      *Result

	set    capture.Set
	frames []frame
	u, v   *phase.Field

	readings [2]*phase.Single // of single photos
	folded   []bool           // pixels inside a folded reflection
	odd      []bool           // pixels of single photos that agree less with what was read there than others do
	seam     []bool           // pixels on feature lines that hide stripes; nil: none

	beyondSeam []bool // pixels left out because the line before them hides an unknown number of stripes; nil: none

	struckMM float64 // half the width of what was struck beside a line whose far side was counted

	cam    *pose.Camera
	shrink float64    // working pixels per pixel of the decoded photo
	blur   [3]float64 // covariance of the blur on the panel, px^2
}

// frame is one decoded photo at working size.
type frame struct {
	capture.Frame
	img     *photo.Image
	info    photo.Info
	w, h    int // as decoded
	clipped float64
	step    float64 // grey levels in which the file keeps waves of some pixels; 0: not known
}

// workingPX is the size photos are brought down to: stripes of shifted sets stay well over 5 px wide in it, and single photos
// gain nothing from more.
const workingPX = 3_400_000

// photos decodes the set's files, two at a time, and judges each.
func (r *run) photos(set capture.Set) error {
	r.set = set
	r.frames = make([]frame, len(set.Frames))
	errs := make([]error, len(set.Frames))
	var done int
	var mu sync.Mutex
	var wg sync.WaitGroup
	sem := make(chan struct{}, max(1, min(2, runtime.GOMAXPROCS(0))))
	for i, f := range set.Frames {
		wg.Add(1)
		sem <- struct{}{}
		go func() {
			defer wg.Done()
			defer func() { <-sem }()
			if r.ctx.Err() != nil {
				return
			}
			r.frames[i], errs[i] = r.decode(f)
			mu.Lock()
			done++
			r.progress(fmt.Sprintf("decoding photo %d of %d", done, len(set.Frames)), 0.02+0.38*float64(done)/float64(len(set.Frames)))
			mu.Unlock()
		}()
	}
	wg.Wait()
	if err := r.ctx.Err(); err != nil {
		return err
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	first := r.frames[0]
	for _, f := range r.frames[1:] {
		if f.w != first.w || f.h != first.h {
			return refuse("sizes-differ", fmt.Sprintf("%s is %d x %d pixels but %s is %d x %d", f.File, f.w, f.h, first.File, first.w, first.h),
				"take all photos of a set with the same camera, zoom and orientation")
		}
	}
	return nil
}

func (r *run) decode(f capture.Frame) (frame, error) {
	data, err := fs.ReadFile(r.folder, f.File)
	if err != nil {
		return frame{}, refuse("file-missing", f.File+" cannot be read from the folder", "copy it again")
	}
	p, err := photo.Decode(data, photo.Limits{WorkPixels: workingPX})
	if err != nil {
		return frame{}, refusePhoto(f.File, err)
	}
	return frame{Frame: f, img: p.Image, info: p.EXIF, w: p.FullW, h: p.FullH, clipped: p.ClippedFraction, step: p.Step}, nil
}

// cards finds both cards on the evenly lit mean of the photos and places the camera.
func (r *run) cards() error {
	imgs := make([]*photo.Image, len(r.frames))
	for i, f := range r.frames {
		imgs[i] = f.img
	}
	mean := photo.Average(imgs...)
	r.res.Photo = mean
	found, err := card.Find(mean)
	if err != nil {
		return refuse("no-cards", err.Error(), "photograph again with both cards in the picture")
	}
	byLetter := map[string]card.Card{}
	for _, c := range found {
		byLetter[c.Letter] = c
	}
	if len(byLetter) < 2 {
		// A single photo at full size, or one frame of a set in which the mean is spoilt, may still show them.
		for _, f := range r.frames[:min(2, len(r.frames))] {
			more, err := card.Find(f.img)
			if err != nil {
				continue
			}
			for _, c := range more {
				if _, ok := byLetter[c.Letter]; !ok {
					byLetter[c.Letter] = c
				}
			}
		}
	}
	a, okA := byLetter["A"]
	b, okB := byLetter["B"]
	if !okA || !okB {
		return r.noCards(byLetter)
	}
	if r.steady(a, b) {
		// The mean of the steadied photos is sharper: fit the cards anew.
		if again, err := card.Find(r.res.Photo); err == nil {
			for _, c := range again {
				switch c.Letter {
				case "A":
					a = c
				case "B":
					b = c
				}
			}
		}
	}
	for i := range r.blur {
		r.blur[i] = (a.BlurPX2[i] + b.BlurPX2[i]) / 2
	}
	r.res.Quality.BlurPX = math.Sqrt((r.blur[0] + r.blur[2]) / 2)
	first := r.frames[0]
	focal, cx, cy, err := r.res.Capture.Lens(first.w, first.h, first.info.FocalPX(first.w, first.h))
	if err != nil {
		return refuseCapture(err)
	}
	r.shrink = float64(first.img.W) / float64(first.w)
	fr, err := pose.FromCards(a, b, focal*r.shrink, cx*r.shrink, cy*r.shrink, mean.W, mean.H)
	if err != nil {
		return refuse("cards", err.Error(), "lay both cards flat on undamaged paint and photograph again")
	}
	r.res.Frame = fr
	r.cam = &r.res.Frame.Camera
	r.res.Quality.CardMisfitPX = max(fr.A.MisfitPX, fr.B.MisfitPX)
	if r.res.Quality.CardMisfitPX > maxCardMisfitPX {
		r.note(Warning, "card-bent", fmt.Sprintf("the cards do not look like flat squares (%.1f px off)", r.res.Quality.CardMisfitPX),
			"lay them flat, or check the camera's focal length; depths may be off by some per cent")
	}
	return nil
}

// shakePX is the wander of the camera from which photos are steadied: below it a fine stripe moves by less than a hundredth.
const shakePX = 0.05

// steady takes the camera's wander between the photos of a set out, by the cards. It tells whether anything was moved.
func (r *run) steady(a, b card.Card) bool {
	if len(r.frames) < 3 {
		return false
	}
	ref := r.frames[0].img
	boxA, boxB := boxOf(a), boxOf(b)
	moves, followed := make([]steady.Move, len(r.frames)), make([]bool, len(r.frames))
	moves[0], followed[0] = steady.Still, true
	rows.Do(len(r.frames)-1, func(i0, i1 int) {
		for i := i0 + 1; i <= i1; i++ {
			moves[i], followed[i] = steady.Between(ref, r.frames[i].img, boxA, boxB)
		}
	})
	most, lost := 0.0, ""
	for i, m := range moves {
		if !followed[i] {
			moves[i], lost = steady.Still, r.frames[i].File
			continue
		}
		most = max(most, m.Largest(ref.W, ref.H))
	}
	// Where all others stood still one photo's cards may be lost in the stripes; had it moved, its stripes would not fit.
	if lost != "" && most >= shakePX {
		r.note(Warning, "camera-moved", fmt.Sprintf("the cards in %s cannot be followed from the first photo", lost), "hold camera and cards still through the whole set")
	}
	if most < shakePX {
		return false
	}
	r.res.Quality.ShakePX = most
	imgs := make([]*photo.Image, len(r.frames))
	for i := range r.frames {
		if moves[i] != steady.Still {
			r.frames[i].img = steady.Undo(r.frames[i].img, moves[i])
		}
		imgs[i] = r.frames[i].img
	}
	r.res.Photo = photo.Average(imgs...)
	if most > maxShakePX {
		r.note(Info, "camera-moved", fmt.Sprintf("the camera moved by up to %.1f pixels between the photos; it was taken out", most), "a stand makes the result finer")
	}
	return true
}

// boxOf is the patch of a card's symbol with three modules of its quiet zone.
func boxOf(c card.Card) steady.Box {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	var b steady.Box
	half := c.SideMM / 2 * (card.Modules + 6) / card.Modules
	for _, k := range [4][2]float64{{-1, 1}, {1, 1}, {1, -1}, {-1, -1}} {
		x, y := c.Project(k[0]*half, k[1]*half)
		b.Rim = append(b.Rim, [2]float64{x, y})
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	b.X0, b.Y0, b.X1, b.Y1 = int(x0), int(y0), int(x1)+1, int(y1)+1
	return b
}

// maxCardMisfitPX is the misfit of a card over which it is called bent; good cards and lenses stay under 0.3 px.
const maxCardMisfitPX = 1.0

// noCards finds the likeliest reason for a missing card.
func (r *run) noCards(found map[string]card.Card) error {
	blur, clip := 0.0, 0.0
	for _, f := range r.frames {
		blur += photo.Sharpness(f.img) / float64(len(r.frames))
		clip = max(clip, f.clipped)
	}
	switch {
	case blur > maxBlurPX(r.res.Photo):
		return refuse("blurred", "photos are blurred, the stripes and cards cannot be read", "hold the camera still and focus on the paint")
	case clip > maxClipped:
		return refuse("clipped", fmt.Sprintf("bright stripes are clipped (%.0f %% of the photo is pure white)", 100*clip), "lower the exposure until they are grey, not white")
	}
	for _, k := range [2]struct {
		missing, there, side string
		way                  float64
	}{{"A", "B", "left", -1}, {"B", "A", "right", 1}} {
		c, ok := found[k.there]
		if !ok {
			continue
		}
		x, y := c.Project(k.way*leastApartMM, 0)
		switch {
		case !(x > 0 && y > 0 && x < float64(r.res.Photo.W) && y < float64(r.res.Photo.H)):
			return refuse("card-missing", fmt.Sprintf("card %s is not in the photos (card %s is): the picture ends less than %.0f mm to the %s of card %s", k.missing, k.there, leastApartMM, k.side, k.there),
				"step back or turn the camera until both cards are wholly in the picture, and photograph again")
		case c.ModulePX < leastModulePX:
			return refuse("card-missing", fmt.Sprintf("card %s is not there, or too small to be read (card %s can, at %.1f pixels a square of its symbol)", k.missing, k.there, c.ModulePX),
				fmt.Sprintf("lay it to the %s of the damage, flat and out of glare; if it lies there step nearer, or print larger cards, until the squares are four pixels wide, and photograph again", k.side))
		}
		return refuse("card-missing", fmt.Sprintf("card %s is not in the photos (card %s is)", k.missing, k.there),
			fmt.Sprintf("lay it to the %s of the damage, flat, wholly in the picture and out of glare, and photograph again", k.side))
	}
	return refuse("no-cards", "the photos show no scale cards that can be read", "lay cards A and B on either side of the damage, wholly in the picture and so near that the squares of their symbols are four pixels wide, and photograph again")
}

const (
	leastApartMM = 200.0 // common practice, no source
	// leastModulePX of one card leaves the other, which may lie farther, unread: cards are lost from 2 down where lenses blur; four are advised.
	leastModulePX = 2.2
)

// maxBlurPX is the edge blur, in px of the working photo, above which stripes and cards are lost: a hundredth of the width.
func maxBlurPX(img *photo.Image) float64 { return 0.0045 * float64(img.W) }

// maxClipped is the share of pure white pixels over which a photo is overexposed; the cards' paper alone is some per cent.
const maxClipped = 0.12

// stripes turns the frames into board coordinates.
func (r *run) stripes() error {
	if r.set.Kind != capture.Single {
		if err := r.checkClipping(); err != nil {
			return err
		}
	}
	notices := len(r.res.Notices)
	err := r.read()
	if r.set.Kind != capture.Single {
		err = r.calm(notices, err)
	}
	if err != nil {
		return r.refuseStripes(err)
	}
	for i := range r.frames {
		r.frames[i].img = nil // no longer needed
	}
	if r.set.Kind != capture.Single {
		r.sharpen()
	}
	r.offPaper()
	return r.checkDirections()
}

// read reads the board coordinates out of the photos.
func (r *run) read() (err error) {
	board := r.res.Capture.Board
	switch r.set.Kind {
	case capture.Shifted:
		if r.frames[0].Profile == "square" {
			r.note(Warning, "sharp-stripes", "a shifted set of stripes with sharp edges is read less surely", "use stripes with soft edges (sine) for shifted sets; sharp ones are for single photos")
		}
		return both(
			func() (err error) { r.u, err = phase.Shifted("u", r.shots("u"), board.WidthMM); return err },
			func() (err error) { r.v, err = phase.Shifted("v", r.shots("v"), board.HeightMM); return err })
	case capture.Single:
		return r.demodulate()
	case capture.Sweep:
		return r.sweep()
	}
	return refuse("set-kind", fmt.Sprintf("sets of kind %q cannot be measured yet", r.set.Kind), "use a shifted set or single photos")
}

// faint is the larger share of both directions that noise hides, of pixels and of patches.
func (r *run) faint() (pixels, patches float64) {
	a, b := r.u.Faint()
	c, d := r.v.Faint()
	return max(a, c), max(b, d)
}

// calm reads the stripes anew from smoothed photos where they do not stand out of the noise; first is what the first reading said.
func (r *run) calm(notices int, first error) error {
	if first == nil {
		if pixels, patches := r.faint(); pixels < faintShare && patches < drownedShare {
			return nil
		}
	}
	err := first
	for k := range mostCalm {
		if k > 0 && err == nil {
			if pixels, _ := r.faint(); pixels < stillFaint {
				break
			}
		}
		for i := range r.frames {
			r.frames[i].img = photo.Smooth(r.frames[i].img)
		}
		r.blur[0], r.blur[2] = r.blur[0]+photo.SmoothPX2, r.blur[2]+photo.SmoothPX2
		r.res.Notices = r.res.Notices[:notices]
		err = r.read()
	}
	if err != nil {
		return first
	}
	r.note(Warning, "noisy", "the stripes hardly stand out of the noise of the photos, which were smoothed for it: narrow marks may come out too shallow", faintAdvice)
	return nil
}

const (
	// faintShare of the striped pixels may be lost to noise: 2 to 20 % are on rough white and metallic paints, nearly all on a very coarse one.
	faintShare = 0.6
	// drownedShare of the striped patches may be lost nearly whole: up to a sixth are, mostly at the rim.
	drownedShare = 0.25
	// stillFaint is the share from which smoothed photos are smoothed once more: fine detail is gone already.
	stillFaint = 0.15
	mostCalm   = 2 // each halves the noise and more
	// faintAdvice is what makes stripes stand out.
	faintAdvice = "brighten the board, darken the room, or take the photos at a lower ISO with a longer exposure from a stand"
)

// sharpen takes off what lens and camera have blurred, as the edges of the cards show it: to second order everywhere, where a pixel's own
// breadth is taken off already, and in full on sharp metal.
func (r *run) sharpen() {
	const pixel = 1.0 / 12
	b := r.blur
	limit := func(v float64) float64 { return min(max(v-pixel, 0), mostBlurPX2) }
	xx, yy := limit(b[0]), limit(b[2])
	for _, f := range [2]*phase.Field{r.u, r.v} {
		if max(xx, yy) > leastBlurPX2 {
			f.Sharpen(xx, b[1], yy)
		}
		f.Refine(xx+pixel, yy+pixel)
	}
}

// A blur of 0.2 px changes nothing that can be measured; over 1.5 px second order no longer undoes it.
const (
	leastBlurPX2 = 0.04
	mostBlurPX2  = 2.2
)

// both runs two steps side by side and returns the first one's error before the second's.
func both(a, b func() error) error {
	done := make(chan error, 1)
	go func() { done <- b() }()
	errA, errB := a(), <-done
	if errA != nil {
		return errA
	}
	return errB
}

func (r *run) shots(axis string) []phase.Shot {
	var out []phase.Shot
	for _, f := range r.frames {
		if f.Stripes == axis {
			out = append(out, phase.Shot{File: f.File, Img: f.img, PitchMM: f.PitchMM, Shift: shiftOf(f.Frame), Square: f.Profile == "square"})
		}
	}
	return out
}

// shiftOf is a frame's shift; zero where it is not known.
func shiftOf(f capture.Frame) float64 {
	if f.Shift == nil {
		return 0
	}
	return *f.Shift
}

// sweep solves both sweeps of a set.
func (r *run) sweep() error {
	board := r.res.Capture.Board
	forwards := r.set.Direction != "-"
	var u, v *phase.Sweep
	if err := both(
		func() (err error) { u, err = phase.Swept("u", r.shots("u"), forwards, board.WidthMM); return err },
		func() (err error) { v, err = phase.Swept("v", r.shots("v"), forwards, board.HeightMM); return err }); err != nil {
		return err
	}
	for _, d := range []struct {
		axis  string
		swept *phase.Sweep
		dst   **phase.Field
	}{{"u", u, &r.u}, {"v", v, &r.v}} {
		s := d.swept
		for _, f := range s.Moved {
			r.note(Warning, "frame-moved", f+" does not fit the other photos of its sweep and was left out", "hold the camera still while the board slides")
		}
		if n := len(s.Shifts); n < capture.SafeSweep {
			r.note(Info, "few-photos", fmt.Sprintf("the sweep of %s stripes has only %d photos that fit", d.axis, n), "take seven or more: then one that moved is found out")
		}
		*d.dst = &s.Field
	}
	if slips := max(r.u.Slips(), r.v.Slips()); slips > manySlips {
		r.note(Warning, "fine-stripes", fmt.Sprintf("the order of the stripes tears in %.0f %% of what is seen: stripes of %.4g mm are too fine for how this paint scatters them, and one pitch alone cannot tell their order: the map may be wrong as a whole", 100*slips, r.u.PitchMM),
			"take stripes twice as wide, bring the board nearer, or take a shifted set")
	}
	return nil
}

// manySlips is the share of pixels beside a slip of the order from which whole parts of the panel may be counted wrong: sharp metal and feature
// lines make a fourth of it.
const manySlips = 0.02

func (r *run) refuseStripes(err error) error {
	var shift *phase.ShiftError
	if errors.As(err, &shift) {
		return refuse("shifts", fmt.Sprintf("the shifts of the %s %.4g mm photos do not fit together (%.0f %% of the stripes stays unexplained)", shift.Axis, shift.PitchMM, 100*shift.Residual),
			"check the order of the files, and that neither camera nor board moved between the photos")
	}
	return refuse("stripes", err.Error(), "photograph again with the stripes sharp and the board's mirror image over the damage")
}

// checkClipping refuses photos whose bright stripes are flat white.
func (r *run) checkClipping() error {
	worst, file := 0.0, ""
	for _, f := range r.frames {
		if f.clipped > worst {
			worst, file = f.clipped, f.File
		}
	}
	r.res.Quality.Clipped = worst
	if worst > maxClipped {
		return refuse("clipped", fmt.Sprintf("bright stripes are clipped (%.0f %% of %s is pure white)", 100*worst, file), "lower the exposure until they are grey, not white")
	}
	return nil
}

// checkDirections makes sure that u grows to the right and v downwards in the photo.
func (r *run) checkDirections() error {
	ux, uy := direction(r.u)
	vx, vy := direction(r.v)
	switch {
	case math.IsNaN(ux) || math.IsNaN(vy):
		return refuse("no-stripes", "no stripes can be read in the paint", "place the board so that its mirror image covers the damage, and darken the room around it")
	case math.Abs(uy) > math.Abs(ux) && math.Abs(vx) > math.Abs(vy):
		return refuse("uv-swapped", "u and v stripes seem to be swapped", "name the upright stripes u and the level ones v")
	case ux < 0 || vy < 0:
		return refuse("direction", "the stripes run backwards: the shifts grow towards the left or upwards", "check the sign of the shifts, and that the board is not upside down")
	}
	r.res.Quality.Contrast = contrast(r.u)
	r.res.Quality.StripePX = min(r.u.PitchMM/math.Hypot(ux, uy), r.v.PitchMM/math.Hypot(vx, vy))
	return nil
}

// contrast is the median modulation of the readable pixels.
func contrast(f *phase.Field) float64 {
	var m []float64
	for i := 0; i < len(f.X); i += max(1, len(f.X)/20000) {
		if f.X[i] == f.X[i] && i < len(f.Mod) {
			m = append(m, float64(f.Mod[i]))
		}
	}
	if len(m) == 0 {
		return 0
	}
	return math.Round(1e4*order.Median(m)) / 1e4
}

// direction is the median change of a field along photo columns and rows, mm per px.
func direction(f *phase.Field) (dx, dy float64) {
	var a, b []float64
	step := max(1, len(f.X)/40000)
	for i := 0; i+f.W < len(f.X); i += step {
		if i%f.W == f.W-1 {
			continue
		}
		if d := float64(f.X[i+1] - f.X[i]); d == d {
			a = append(a, d)
		}
		if d := float64(f.X[i+f.W] - f.X[i]); d == d {
			b = append(b, d)
		}
	}
	if len(a) < 50 || len(b) < 50 {
		return math.NaN(), math.NaN()
	}
	return order.Median(a), order.Median(b)
}

// mirror calibrates board and form.
func (r *run) mirror() error {
	board := r.res.Capture.Board
	prior := mirror.Prior{DistanceMM: board.DistanceMM, WidthMM: board.WidthMM, HeightMM: board.HeightMM, PeriodU: r.period("u"), PeriodV: r.period("v"), SeekLine: r.set.Kind == capture.Shifted}
	var cal *mirror.Calibration
	var err error
	var beyond *sides
	if r.set.Kind == capture.Single {
		beyond = r.apart()
	}
	if beyond != nil {
		cal, err = r.countSides(beyond, prior)
	} else if counted := r.doubt(prior); counted != nil {
		cal = counted
	} else if r.onePitch() && r.set.Kind != capture.Single {
		cal, err = r.countOut(prior)
	} else {
		cal, err = r.calibrate(prior)
	}
	if err != nil {
		if n := len(mirror.SomeSights(r.u, r.v, patchShare)); n < mirror.LeastSights {
			return r.refuseFew(n)
		}
	}
	if r.set.Kind == capture.Single && beyond == nil && (err != nil || !r.bearsOut(cal)) {
		if next := r.partAtStrip(prior); next != nil {
			cal, err = next, nil
		}
	}
	if err == nil && beyond == nil && r.set.Kind != capture.Sweep && (cal.Stray > strayWarn || cal.RMSMM > 2*goodModelMM) {
		cal = r.seekLine(cal, prior)
	}
	if err == nil && r.set.Kind == capture.Shifted && !r.onePitch() {
		if bendsAtEdge(cal) {
			cal = r.lineAtEdge(cal, prior)
		}
		if amiss(cal) {
			if next := r.acrossStrip(stripPX, prior, counted); next != nil && misfit(next.cal) < misfit(cal) {
				r.u, r.v = next.u, next.v
				cal = r.aligned(next.cal)
			}
		}
	}
	if err != nil {
		return r.refuseMirror(err)
	}
	r.res.Calibration = cal
	r.res.Frame = cal.Frame // r.cam points into it
	q := &r.res.Quality
	q.ModelRMSMM, q.Undamaged, q.BoardTiltDeg = cal.RMSMM, cal.Undamaged, cal.TiltDeg
	q.Stray, q.FocalRatio, q.CornerShare = cal.Stray, cal.FocalRatio, cal.CornerShare
	if cal.Stray > strayWarn {
		r.note(Warning, "stray-form", fmt.Sprintf("%.0f %% of what mirrors the board, at its rim, does not belong to one form with the rest: heights there, and depths beside it, may be wrong", 100*cal.Stray),
			"an edge, a feature line or the board's rim may lie there: lay the cards so that sound metal of one form surrounds the damage, and photograph again")
	}
	q.TapeRatio, q.TapeRatioSigma, q.DepthScalePct = cal.TapeRatio, cal.TapeRatioSigma, 100*cal.ScaleSigma
	if off := cal.TapeRatio - 1; math.Abs(off) > tapeWarn && math.Abs(off) > 3*cal.TapeRatioSigma {
		word := "long"
		if off < 0 {
			word = "short"
		}
		r.note(Warning, "tape", fmt.Sprintf("the taped board distance of %.0f mm does not fit the stripes (about %.0f %% too %s)", board.DistanceMM, 100*math.Abs(off), word),
			fmt.Sprintf("measure it again from the panel midway between the cards to the board's centre; depths are given for %.0f mm", board.DistanceMM/cal.TapeRatio))
	}
	if r.set.Kind == capture.Single && cal.RMSMM > 2*goodModelMM {
		r.note(Warning, "misfit", fmt.Sprintf("the stripes do not fit the mirror image of one smooth panel (%.1f mm off on the board, up to %.1f is usual): the map may be wrong as a whole", cal.RMSMM, goodModelMM),
			"check the taped distance, the stripe pitch and the camera's focal length, or take a shifted set")
	}
	if (r.seam != nil || beyond != nil) && !r.bearsOut(cal) {
		r.note(Warning, "feature-line", fmt.Sprintf("the stripes beside a feature line do not fit the rest of the panel (%.0f %% of them are off): heights may be wrong by tens of micrometres", 100*(1-cal.Undamaged)),
			"take a shifted set or a sweep: a single photo does not tell how many stripes the line hides")
	}
	if cal.TiltDeg > maxTiltDeg {
		r.note(Warning, "board-tilt", fmt.Sprintf("the board stands %.0f degrees off square", cal.TiltDeg), "turn it to face the damage for an even picture")
	}
	return nil
}

// refuseMirror says that no set-up explains the stripes. What was warned of on the way is the likelier cause.
func (r *run) refuseMirror(err error) error {
	text, advice := strings.SplitN(err.Error(), ";", 2)[0], "check the taped distance, the stripe pitch and which photo shows which stripes"
	if i := slices.IndexFunc(r.res.Notices, func(n Notice) bool { return n.Severity == Warning }); i >= 0 {
		n := r.res.Notices[i]
		text, advice = text+": "+n.Text, n.Advice+"; else "+advice
	}
	return refuse("mirror", text, advice)
}

// refuseFew says why so few patches of stripes can be read that no set-up can be solved from them.
func (r *run) refuseFew(n int) error {
	text := fmt.Sprintf("too few stripes can be read in the paint (%d places of the %d that a fit needs)", n, mirror.LeastSights)
	if pixels, _ := r.faint(); pixels > faintShare {
		return refuse("faint", text+": they drown in the noise of the photos", faintAdvice)
	}
	return refuse("few-stripes", text, "move the board so that its mirror image fills the metal between the cards, or lay the cards where more of the panel is seen")
}

// calibrate solves the set-up. Where faint stripes leave holes in many patches it is solved with those too, and what explains more of the
// metal is kept: a feature line may only show in them.
func (r *run) calibrate(prior mirror.Prior) (*mirror.Calibration, error) {
	whole, most := mirror.Sights(r.u, r.v), mirror.SomeSights(r.u, r.v, patchShare)
	cal, err := mirror.Calibrate(&r.res.Frame, whole, prior)
	if err == nil && (cal.Undamaged > explained || 10*len(whole) > 9*len(most)) {
		return cal, nil
	}
	other, otherErr := mirror.Calibrate(&r.res.Frame, most, prior)
	if otherErr == nil && (err != nil || other.Undamaged*float64(len(most)) > 1.1*cal.Undamaged*float64(len(whole))) {
		return other, nil
	}
	return cal, err
}

const (
	patchShare = 0.6 // of a patch that must be read to be of any use
	explained  = 0.9 // of the metal by one form: the rest is damage
)

// bendsAtEdge tells whether what is left over at the rim slopes otherwise than the form beyond a straight line.
func bendsAtEdge(cal *mirror.Calibration) bool {
	return cal.Edge != nil && math.Abs(cal.Edge.Step) > edgeStep
}

// edgeStep is a change of slope that marks at the rim do not make beyond a straight line; faint feature lines make twice that. Common practice, no source.
const edgeStep = 8e-3

// seekLine solves the set-up anew with a feature line where one would part what is left over at the rim from the rest, or, tried on few sights,
// between the cards, which may leave one of them beyond it. What explains more of the rim is kept.
func (r *run) seekLine(cal *mirror.Calibration, prior mirror.Prior) *mirror.Calibration {
	try := func(lines []mirror.Fold) {
		prior.Begin = &mirror.Start{Lines: lines}
		if again, err := r.calibrate(prior); err == nil && again.Stray <= cal.Stray && misfit(again) <= misfit(cal) {
			cal = again
		}
	}
	if bendsAtEdge(cal) {
		try(append(slices.Clone(cal.Form.Folds), *cal.Edge))
	}
	if !amiss(cal) {
		return cal
	}
	few := prior
	few.SeekLine, few.Rough, few.Begin = true, true, nil
	if rough, err := mirror.Calibrate(&r.res.Frame, mirror.Sights(r.u, r.v), few); err == nil && len(rough.Form.Folds) > 0 {
		try(rough.Form.Folds)
	}
	return cal
}

// onePitch tells whether the order of the stripes rests on continuity alone.
func (r *run) onePitch() bool {
	return r.set.Kind == capture.Sweep || r.seam != nil || r.sharpShifted() || r.set.Kind == capture.Shifted && min(r.pitches("u"), r.pitches("v")) < 2
}

// pitches is how many there are of one axis.
func (r *run) pitches(axis string) int {
	seen := map[float64]bool{}
	for _, f := range r.frames {
		if f.Stripes == axis {
			seen[f.PitchMM] = true
		}
	}
	return len(seen)
}

// sharpShifted tells whether a shifted set holds stripes with sharp edges: of those only the fine pitch is used.
func (r *run) sharpShifted() bool {
	return r.set.Kind == capture.Shifted && slices.ContainsFunc(r.frames, func(f frame) bool { return f.Profile == "square" })
}

// period is the coarsest pitch of one axis: what continuity leaves open.
func (r *run) period(axis string) float64 {
	if r.sharpShifted() {
		return r.u.PitchMM
	}
	p := 0.0
	for _, f := range r.frames {
		if strings.Contains(f.Stripes, axis) {
			p = max(p, f.PitchMM)
		}
	}
	return p
}

// seamUndamaged is the share of the stripes that must fit the undamaged form where a feature line hides some: 0.93 and more do where
// they are counted right.
const seamUndamaged = 0.85

// strayWarn is the share of stray metal from which a word is due: a dent cut off at the rim of a small view is half of it.
const strayWarn = 0.08

// restlessUM is the spread of undamaged metal over which the map is doubted: orange peel of rough paint spreads by 1.5 um, noise on white
// paint by 2.
const restlessUM = 4.0

// tapeWarn is how far the tape may be off before it is worth a word: three times what a tape is good for.
const tapeWarn = 0.03

// surface integrates the slopes and takes off the undamaged form.
func (r *run) surface() error {
	x0, y0, x1, y1 := r.res.Calibration.Extent(r.cam, r.u, r.v)
	// The cards pin the form between and beside them; far beyond, the lens and the unknown form say more than the metal.
	reach := min(gridReachMM, reachRatio*(r.res.Frame.B.Centre.X-r.res.Frame.A.Centre.X)/2)
	g, err := gridOver(x0, y0, x1, y1, reach, r.gridPitch())
	if err != nil {
		return err
	}
	s, spread, err := r.build(g)
	if err != nil {
		return refuse("no-surface", "too little of the panel mirrors the board", "move the board so that its mirror image covers the damage")
	}
	r.res.Surface = s
	r.res.Notices = slices.DeleteFunc(r.res.Notices, func(n Notice) bool { return n.Code == "restless" }) // of an earlier one
	r.res.Quality.SpreadUM = 1000 * spread
	if 1000*spread > restlessUM {
		r.note(Warning, "restless", fmt.Sprintf("the undamaged metal scatters by %.0f um, far more than orange peel does: the map may be wrong as a whole", 1000*spread),
			"look whether all photos show the same still scene with sharp stripes at least eight pixels wide, and photograph again")
	}
	n := 0
	for _, h := range s.Height {
		if h == h {
			n++
		}
	}
	r.res.Quality.MeasuredCM2 = math.Round(float64(n) * g.PitchMM * g.PitchMM / 100)
	return nil
}

// stripeSlope is about by how much metal slopes otherwise whose stripes are counted one off.
func (r *run) stripeSlope() float64 {
	return r.u.PitchMM / (2 * r3.Norm(r.res.Calibration.Board.Centre))
}

// contradictions says where the slopes are those of no surface, as stripes counted wrong over a part make them.
func (r *run) contradictions(g surface.Grid, of *relief) *surface.Blocks {
	skip := of.gap
	if lines := r.res.Calibration.Form.Lines(); r.set.Kind != capture.Single && len(lines) > 0 {
		// What a line's bend hides of a dent on it contradicts itself.
		skip = slices.Clone(skip)
		rows.Do(g.Rows, func(r0, r1 int) {
			for i := r0 * g.Cols; i < r1*g.Cols; i++ {
				x, y := g.XY(i%g.Cols, i/g.Cols)
				skip[i] = skip[i] || onLine(lines, x, y, mark.BeltMM)
			}
		})
	}
	contrary := surface.Contrary(g, of.mm, of.rx, of.ry, skip, max(1, int(contraryBlockMM/g.PitchMM)))
	limit, n := float32(contraryShare*r.stripeSlope()), 0
	for _, v := range contrary.V {
		if v > limit {
			n++
		}
	}
	side := float64(contrary.Side) * g.PitchMM
	r.res.Quality.ContraryMM2 = float64(n) * side * side
	r.res.Notices = slices.DeleteFunc(r.res.Notices, func(n Notice) bool { return n.Code == "contrary" })
	if r.res.Quality.ContraryMM2 > contraryMM2 {
		r.note(Warning, "contrary", fmt.Sprintf("over %.0f mm2 the stripes contradict each other: they were counted wrong there, and heights there and beside may be wrong by tens of micrometres", r.res.Quality.ContraryMM2),
			"take a shifted set of two pitches, or stripes twice as wide, and photograph again")
	}
	return contrary
}

const (
	contraryBlockMM = 6.0
	contraryShare   = 0.2   // of stripeSlope; where all is counted right noise and blur leave a hundredth, a sharp crease a tenth
	contraryMM2     = 200.0 // from which a word is due
	contraryDoubt   = 0.1   // of stripeSlope, from which heights are less sure where that is; a small sharp mark alone makes as much
	contraryReachMM = 15.0  // over which what contradicts itself adds up
)

const (
	gridPitchMM = 0.5       // fine enough for marks of 3 mm
	widePitchMM = 1.0       // the widest for single photos
	stripeCells = 6         // cells a stripe pair of single photos, which tell bends of half a pair
	gridReachMM = 450.0     // no capture reaches farther from its origin
	reachRatio  = 1.8       // of half the distance of the cards
	gridCells   = 1_400_000 // over this the pitch is coarsened, to bound memory
)

// gridPitch is fine enough for what the set resolves, mm: single photos of wide stripes need fewer cells.
func (r *run) gridPitch() float64 {
	if r.set.Kind != capture.Single {
		return gridPitchMM
	}
	const steps = 20 // a mm
	return min(max(math.Floor(steps*r.stripeMM(r.cam)/stripeCells)/steps, gridPitchMM), widePitchMM)
}

// stripeMM is how wide a stripe pair is on the metal midway between the cards.
func (r *run) stripeMM(cam *pose.Camera) float64 {
	return r.res.Quality.StripePX * r3.Norm(cam.Centre) / cam.FocalPX
}

// gridOver lays a grid of a pitch, mm, over the rectangle, as far as reach mm from the origin.
func gridOver(x0, y0, x1, y1, reach, p float64) (surface.Grid, error) {
	x0, y0, x1, y1 = max(x0, -reach), max(y0, -reach), min(x1, reach), min(y1, reach)
	if !(x1 > x0 && y1 > y0) {
		return surface.Grid{}, refuse("no-surface", "no part of the panel mirrors the board", "move the board so that its mirror image covers the damage")
	}
	for (x1-x0)/p*(y1-y0)/p > gridCells {
		p *= 2
	}
	g := surface.Grid{PitchMM: p, X0MM: math.Floor(x0/p) * p, Y0MM: math.Floor(y0/p) * p}
	g.Cols, g.Rows = int(math.Ceil((x1-g.X0MM)/p))+1, int(math.Ceil((y1-g.Y0MM)/p))+1
	return g, nil
}

// build alternates slopes and heights: a ray meets the metal where the surface is, not where the form is, and the surface
// follows from the slopes there. What a first round on every second cell gives is near enough to settle the second to a hundredth
// of a micrometre.
func (r *run) build(g surface.Grid) (*surface.Surface, float64, error) {
	coarse := surface.Grid{Cols: (g.Cols + 1) / 2, Rows: (g.Rows + 1) / 2, PitchMM: 2 * g.PitchMM, X0MM: g.X0MM, Y0MM: g.Y0MM}
	first, err := r.integrate(coarse, nil, roughTol)
	if err != nil {
		return nil, 0, err
	}
	rough, err := surface.Rough(coarse, first.mm)
	if err != nil {
		return nil, 0, err
	}
	takeOff(first.mm, rough.Grid(coarse))
	second, err := r.integrate(g, surface.Double(coarse, first.mm, g), fineTol)
	if err != nil {
		return nil, 0, err
	}
	dev := second.mm
	cal := r.res.Calibration
	lines := cal.Form.Lines()
	off, spread, err := r.undamaged(g, dev)
	if err != nil {
		return nil, 0, err
	}
	takeOff(dev, off)
	r.res.AbsoluteMM = r.absolute(g, off)
	s := surface.New(g)
	bent := widest(g, second.bends)
	strip := r.onePitch() || r.struckMM > 0
	contrary := r.contradictions(g, second)
	doubt := math.Inf(1)
	if r.res.Quality.ContraryMM2 > contraryMM2 && r.set.Kind != capture.Single { // of single photos marks show what was misread, and must stand out
		doubt = contraryDoubt * r.stripeSlope()
	}
	rows.Do(g.Rows, func(r0, r1 int) {
		for i := r0 * g.Cols; i < r1*g.Cols; i++ {
			h := dev[i]
			if math.IsNaN(h) {
				continue
			}
			s.Height[i] = float32(h)
			// Independent parts in quadrature: what undamaged metal scatters, the set-up's scale, the resolution of sharp metal and
			// of its bends, and the guess across closed gaps.
			scale, bend := (cal.ScaleSigma+resolutionShare)*h, bendShare*float64(bent[i])*g.PitchMM
			v := spread*spread + scale*scale + bend*bend
			x, y := g.XY(i%g.Cols, i/g.Cols)
			if second.gap[i] || r.guessed(x, y) {
				v += gapShare * h * gapShare * h
			}
			if c := float64(contrary.Around(i%g.Cols, i/g.Cols)); c > doubt {
				v += c * contraryReachMM * c * contraryReachMM
			}
			if strip {
				for _, l := range lines {
					if d, _ := l(x, y); math.Abs(d) < stripReachMM {
						v += stripMM * stripMM
					}
				}
			}
			s.Sigma[i] = float32(math.Sqrt(v))
		}
	})
	return s, spread, nil
}

// guessed tells whether the stripes of a sweep were counted out across a slit at a place.
func (r *run) guessed(x, y float64) bool {
	if r.set.Kind != capture.Sweep {
		return false
	}
	ix, iy := r.seenAt(x, y)
	return r.u.Guessed(ix, iy) || r.v.Guessed(ix, iy)
}

// relief is what slopes add up to over a grid.
type relief struct {
	mm     []float64 // height, free by a smooth remainder; NaN unknown
	rx, ry []float32 // the slopes
	gap    []bool    // cells whose slopes were bridged
	bends  []float32 // by how much the slopes bend from cell to cell
}

// integrate returns the height over the form of metal that stands about dev mm above it (nil: on it).
func (r *run) integrate(g surface.Grid, dev []float64, tol float64) (*relief, error) {
	rx, ry := r.res.Calibration.Slopes(r.cam, r.u, r.v, g, dev)
	doubtful := surface.DropCurl(g, rx, ry, curlRatio, curlFloor, r.slips)
	spanned := r.spanSeams(g, rx, ry)
	r.keepBetween(g, rx, ry)
	gap := surface.CloseGaps(g, rx, ry, gapMM)
	for _, i := range slices.Concat(spanned, doubtful) {
		gap[i] = true
	}
	r.keepBetween(g, rx, ry)
	bends, even := surface.Bends(g, rx, ry)
	trust := surface.Trust(bends, even, gap)
	for _, i := range spanned {
		trust[i] = min(trust[i], spanWeight) // holds both sides together and bends neither
	}
	mm, err := surface.Integrate(g, rx, ry, trust, dev, tol)
	if err != nil {
		return nil, err
	}
	if r.struckMM > 0 {
		for _, i := range spanned {
			mm[i] = math.NaN()
		}
	}
	return &relief{mm, rx, ry, gap, bends}, nil
}

// slips tells whether stripes may have slipped at a place: anywhere where one pitch was shown, else on feature lines, where the metal turns all
// along and what is off would run on beyond.
func (r *run) slips(x, y float64) bool {
	return r.onePitch() || r.set.Kind == capture.Single || onLine(r.res.Calibration.Form.Lines(), x, y, mark.BeltMM)
}

// onLine tells whether a place lies within so many mm of a feature line.
func onLine(lines []surface.Across, x, y, mm float64) bool {
	return slices.ContainsFunc(lines, func(l surface.Across) bool { d, _ := l(x, y); return math.Abs(d) < mm })
}

// widest is the largest of what lies within bendReachMM, row and column.
func widest(g surface.Grid, v []float32) []float32 {
	reach := max(1, int(math.Round(bendReachMM/g.PitchMM)))
	along, out := make([]float32, len(v)), make([]float32, len(v))
	// raise has each of a row be the largest of itself and of what lies so many columns on in another.
	raise := func(row, other []float32, on int) {
		lo, hi := max(0, -on), min(len(row), len(row)-on)
		for c := lo; c < hi; c++ {
			if v := other[c+on]; v > row[c] {
				row[c] = v
			}
		}
	}
	row := func(v []float32, r int) []float32 { return v[r*g.Cols : (r+1)*g.Cols] }
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for k := -reach; k <= reach; k++ {
				raise(row(along, r), row(v, r), k)
			}
		}
	})
	rows.Do(g.Rows, func(r0, r1 int) {
		for r := r0; r < r1; r++ {
			for q := max(0, r-reach); q <= min(g.Rows-1, r+reach); q++ {
				raise(row(out, r), row(along, q), 0)
			}
		}
	})
	return out
}

// keepBetween leaves one connected part: the largest, or of single photos, whose stripes a feature line may hide, the one with most of the
// metal between the cards.
func (r *run) keepBetween(g surface.Grid, rx, ry []float32) {
	if r.set.Kind != capture.Single {
		surface.KeepLargest(g, rx, ry)
		return
	}
	a, b := r.res.Frame.A.Centre, r.res.Frame.B.Centre
	half := math.Hypot(b.X-a.X, b.Y-a.Y) / 2
	mx, my := g.Cell((a.X+b.X)/2, (a.Y+b.Y)/2)
	surface.KeepMost(g, rx, ry, within(mx, my, half/g.PitchMM))
}

// within is the columns of each row that lie in a circle, all in cells.
func within(x, y, radius float64) func(row int) (from, to int) {
	return func(row int) (from, to int) {
		d := radius*radius - (float64(row)-y)*(float64(row)-y)
		if d <= 0 {
			return 0, 0
		}
		return int(math.Ceil(x - math.Sqrt(d))), int(math.Floor(x+math.Sqrt(d))) + 1
	}
}

// spanSeams carries the slopes over the form across feature lines whose stripes a single photo cannot show, and returns the cells. It
// does so only where both sides agree: what was counted whole stripes off is another slope.
func (r *run) spanSeams(g surface.Grid, rx, ry []float32) (spanned []int) {
	if r.seam == nil && r.struckMM == 0 && !r.parts(g, rx, ry) {
		return nil
	}
	for _, wide := range spanTimes {
		x, y := slices.Clone(rx), slices.Clone(ry)
		for i, filled := range surface.CloseGaps(g, x, y, wide*r.spanMM()) {
			if !filled {
				continue
			}
			if px, py := g.XY(i%g.Cols, i/g.Cols); r.onSeam(px, py, wide) {
				spanned = append(spanned, i)
			}
		}
		if r.unlike(g, rx, ry, spanned) {
			return nil
		}
		for _, i := range spanned {
			rx[i], ry[i] = x[i], y[i]
		}
		if !r.parts(g, rx, ry) {
			break
		}
	}
	return spanned
}

// spanTimes are how many times as wide as usual a line's span may be: as wide as holds both sides together.
var spanTimes = []float64{1, 1.5, 2, 3}

// parts tells whether a feature line of the form, on which the stripes run too densely to be read, parts the metal.
func (r *run) parts(g surface.Grid, rx, ry []float32) bool {
	if len(r.res.Calibration.Form.Folds) == 0 {
		return false
	}
	kept, dropped := surface.KeepLargest(g, slices.Clone(rx), slices.Clone(ry))
	return partShare*float64(kept) < float64(dropped)
}

// partShare of the metal is what a line parts it from: less is crumbs.
const partShare = 0.03

// spanMM is half the width of what is spanned along a feature line.
func (r *run) spanMM() float64 { return max(seamSpanMM, r.struckMM+gapMM) }

// onSeam tells whether a place lies on a feature line of the form, so many times as wide as usual, or, where the form has none, is seen on a seam.
func (r *run) onSeam(x, y, wide float64) bool {
	if lines := r.res.Calibration.Form.Lines(); len(lines) > 0 {
		return onLine(lines, x, y, wide*r.spanMM())
	}
	i, ok := r.seenIndex(x, y)
	return ok && r.onSeamPX(i)
}

// unlike tells whether the slopes over the form around most of these cells differ by more than half of what one stripe counted wrong
// makes: their spread around a cell is half the step that hides between them. A line that the form knows is taken off with it.
func (r *run) unlike(g surface.Grid, rx, ry []float32, cells []int) bool {
	if len(r.res.Calibration.Form.Folds) > 0 {
		return false
	}
	n := int(math.Round(1.5 * r.spanMM() / g.PitchMM))
	limit := r.stripeSlope() / 4
	odd, told := 0, 0
	for k := 0; k < len(cells); k += max(1, len(cells)/2000) {
		c, w := cells[k]%g.Cols, cells[k]/g.Cols
		var sum [4]float64
		var m float64
		for j := max(0, w-n); j <= min(g.Rows-1, w+n); j++ {
			for i := max(0, c-n); i <= min(g.Cols-1, c+n); i++ {
				if a, b := float64(rx[j*g.Cols+i]), float64(ry[j*g.Cols+i]); a == a && b == b {
					sum[0], sum[1], sum[2], sum[3] = sum[0]+a, sum[1]+b, sum[2]+a*a, sum[3]+b*b
					m++
				}
			}
		}
		if m < float64(n) {
			continue
		}
		told++
		if (sum[2]+sum[3])/m-(sum[0]*sum[0]+sum[1]*sum[1])/(m*m) > limit*limit {
			odd++
		}
	}
	return 2*odd > told
}

func takeOff(h, off []float64) {
	for i, v := range off {
		h[i] -= v
	}
}

const (
	// roughTol leaves a fraction of a micrometre, fineTol a hundredth, of heights that scatter by half a micrometre.
	roughTol, fineTol = 1e-4, 1e-4

	curlRatio       = 25.0  // times the spread of curl over the panel: sharp metal reaches ten by interpolation
	curlFloor       = 0.008 // 1/mm: a slipped stripe order jumps by p/2B, 0.018 at 16 and 450 mm, over two cells
	gapMM           = 1.5   // half the width of gaps that are closed: the unreadable bottom of a crease
	resolutionShare = 0.006 // of the depth: blur of lens and pixels on marks some millimetres wide
	seamSpanMM      = 3.5   // half the width of what single photos leave open along a feature line: a stripe pair either side
	spanWeight      = 0.01  // of a slope that was carried over a seam against one that was read
	// bendShare of what the slopes change by over a cell, times the cell, is what heights within bendReachMM err by on feature lines and
	// sharp marks: 0.15 to 0.5 over made-up panels.
	bendShare   = 0.4
	bendReachMM = 1.0
	gapShare    = 0.05 // of the depth: a bottom or flank that was not seen comes out 1 to 12 % shallow
	// Where one pitch was shown the steepest pixels on a feature line are carried across from both sides; a hundredth of a stripe
	// over them leaves some 2 um between the sides, evened out over stripReachMM.
	stripMM      = 0.0025
	stripReachMM = 30.0
)

// marks finds the marks and says where nothing could be measured.
func (r *run) marks() error {
	lines := r.res.Calibration.Form.Lines()
	opt := mark.Options{Lines: lines, Sharp: func(x, y float64) bool { return r.foldedAt(x, y) && !r.withinCard(x, y, cardHoleStripes) }}
	opt.Read = mark.Stripewise
	if r.set.Kind != capture.Single {
		opt.Read = mark.Pixelwise
		opt.Sharp = func(x, y float64) bool {
			return !r.byCard(x, y) && !onLine(lines, x, y, lineHoleMM)
		}
	}
	r.res.Marks = mark.Find(r.res.Surface, opt)
	for k := 0; k < mostStrikes && r.set.Kind == capture.Single; k++ {
		wrong := r.misread()
		if len(wrong) == 0 {
			break
		}
		r.strikeMarks(wrong)
		if err := r.surface(); err != nil {
			return err
		}
		r.res.Marks = mark.Find(r.res.Surface, opt)
	}
	if r.set.Kind == capture.Single {
		// Which the areas tell of.
		r.res.Marks = slices.DeleteFunc(r.res.Marks, func(m mark.Mark) bool {
			return m.Kind == mark.High && (m.Folded && !ownTop(r.res.Surface, &m) || crownOfFold(r.res.Surface, &m, r.res.Quality.SpreadUM, r.foldedAt))
		})
		r.doubtOdd()
		r.unsmooth()
	} else {
		r.lows()
		r.doubtDepths(unsureShare, func(ix, iy int) bool { return r.u.Unsure(ix, iy) || r.v.Unsure(ix, iy) })
		r.resolve()
		r.underCards() // near cards single photos lose their stripes
	}
	for i := range r.res.Marks {
		m := &r.res.Marks[i]
		for _, p := range m.OutlineMM {
			z, _, _ := r.res.Calibration.Form.Eval(p[0], p[1])
			x, y, _ := r.cam.Project(vec(p[0], p[1], z))
			m.OutlinePX = append(m.OutlinePX, [2]float64{math.Round(10*x) / 10, math.Round(10*y) / 10})
		}
	}
	r.areas()
	return nil
}

// mostStrikes bounds how often the surface is built anew without what was misread.
const mostStrikes = 3

// cardHoleStripes is how many stripe pairs beside a card a single photo loses to it; what is lost farther out a mark may be.
const cardHoleStripes = 1.0

// lineHoleMM is how far from a feature line stripes are lost to its own bend, and not to a mark.
const lineHoleMM = 3.0
