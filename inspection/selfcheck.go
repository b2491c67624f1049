package inspection

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/capture"
	"fairmetal/internal/order"
)

// Check is one point of the self-check: a figure of the capture beside the limit that a good one keeps.
type Check struct {
	Code  string  `json:"code"`
	Text  string  `json:"text"`
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
	OK    bool    `json:"ok"`
}

// Limits of a good capture that no notice holds elsewhere.
const (
	goodModelMM  = 0.6  // on the board: waviness of a skin leaves up to 0.4
	goodContrast = 0.01 // swing of the stripes in linear light: ten grey levels at the dark end
	goodStripePX = 6.0  // a dent packs them to half of it
	goodBlurPX   = 1.5  // what second order can undo
	goodFocal    = 0.03 // three times what EXIF rounds to
	maxTiltDeg   = 12.0
	maxShakePX   = 4.0
)

// Checks judges the capture by its own figures.
func (r *Result) Checks() []Check {
	q := &r.Quality
	below := func(code string, v, limit float64, format string, args ...any) Check {
		return Check{Code: code, Text: fmt.Sprintf(format, args...), Value: v, Limit: limit, OK: v <= limit}
	}
	above := func(code string, v, limit float64, format string, args ...any) Check {
		return Check{Code: code, Text: fmt.Sprintf(format, args...), Value: v, Limit: limit, OK: v >= limit}
	}
	tape := math.Abs(q.TapeRatio - 1)
	slopes := "nowhere do the stripes contradict each other"
	if q.ContraryMM2 > 0 {
		slopes = fmt.Sprintf("over %.0f mm2 the stripes contradict each other", q.ContraryMM2)
	}
	list := []Check{
		below("mirror", q.ModelRMSMM, goodModelMM, "the mirror model explains the stripes on sound metal to %.2f mm on the board", q.ModelRMSMM),
		below("slopes", q.ContraryMM2, contraryMM2, "%s", slopes),
		below("form", q.Stray, strayWarn, "%.0f %% of the metal at the rim belongs to no form with the rest", 100*q.Stray),
		above("contrast", q.Contrast, goodContrast, "the stripes swing by %.1f %% of white", 100*q.Contrast),
		above("stripes", q.StripePX, goodStripePX, "a stripe pair is %.0f pixels wide", q.StripePX),
		below("blur", q.BlurPX, goodBlurPX, "the cards' edges are blurred by %.1f pixels", q.BlurPX),
		below("exposure", q.Clipped, maxClipped, "%.0f %% of the brightest photo is pure white", 100*q.Clipped),
		below("board-tilt", q.BoardTiltDeg, maxTiltDeg, "the board stood %.0f degrees off square", q.BoardTiltDeg),
		below("tape", tape, max(tapeWarn, 3*q.TapeRatioSigma), "the tape says %.1f %% %s than the stripes (+- %.1f)", 100*tape, map[bool]string{true: "more", false: "less"}[q.TapeRatio > 1], 100*q.TapeRatioSigma),
		below("cards", q.CardMisfitPX, maxCardMisfitPX, "the cards are flat squares to %.2f pixels", q.CardMisfitPX),
		below("lens", math.Abs(q.FocalRatio-1), goodFocal, "the focal length was found %.1f %% off, the corners %.1f %% moved by distortion; both are allowed for", 100*math.Abs(q.FocalRatio-1), 100*math.Abs(q.CornerShare)),
	}
	if r.SetKind != capture.Single {
		list = append(list,
			below("still", q.ShakePX, maxShakePX, "the camera moved by %.1f pixels between the photos; it was taken out", q.ShakePX),
			below("spread", q.SpreadUM, restlessUM, "sound metal scatters by %.1f um, orange peel and noise together", q.SpreadUM))
	}
	return list
}

// view is the rectangle of the board's plane, mm from the board's centre, that the field of work between the cards mirrors with the board
// at a share of its distance.
type view struct{ u0, v0, u1, v1 float64 }

func (r *run) view(share float64) view {
	b := r.res.Calibration.Board
	b.Centre = r3.Scale(share, b.Centre)
	out := view{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	x0, x1 := r.res.Frame.A.Centre.X, r.res.Frame.B.Centre.X
	y1 := workShare * (x1 - x0) / 2
	const steps = 12
	for i := range steps + 1 {
		for j := range steps + 1 {
			x, y := x0+(x1-x0)*float64(i)/steps, y1*(2*float64(j)/steps-1)
			z, zx, zy := r.res.Calibration.Form.Eval(x, y)
			p := vec(x, y, z)
			if u, v, ok := b.Reflect(r3.Unit(r3.Sub(p, r.cam.Centre)), p, zx, zy); ok {
				out = view{min(out.u0, u), min(out.v0, v), max(out.u1, u), max(out.v1, v)}
			}
		}
	}
	return out
}

// seen is the rectangle of the board's plane that was read, mm from the board's centre.
func (r *run) seen() view {
	span := func(x []float32, shift float64) (lo, hi float64) {
		var v []float32
		for i := 0; i < len(x); i += max(1, len(x)/40000) {
			if x[i] == x[i] {
				v = append(v, x[i])
			}
		}
		if len(v) == 0 {
			return 0, 0
		}
		return float64(order.Nth(v, len(v)/200)) - shift, float64(order.Nth(v, len(v)-1-len(v)/200)) - shift
	}
	var s view
	s.u0, s.u1 = span(r.u.X, r.res.Calibration.ShiftU)
	s.v0, s.v1 = span(r.v.X, r.res.Calibration.ShiftV)
	return s
}

// fits tells whether a board of w x h mm, well placed, fills the view.
func (v view) fits(w, h float64) bool { return v.u1-v.u0 <= w && v.v1-v.v0 <= h }

// boardAdvice says how this board would have filled the field of work between the cards: moved, nearer or larger.
func (r *run) boardAdvice() string {
	w, h := r.res.Capture.Board.WidthMM, r.res.Capture.Board.HeightMM
	now := r.view(1)
	if now.fits(w, h) {
		return "move the board " + now.beyond(r.seen())
	}
	d := r3.Norm(r.res.Calibration.Board.Centre)
	large := fmt.Sprintf("at least %.0f x %.0f mm", math.Ceil((now.u1-now.u0)/10)*10, math.Ceil((now.v1-now.v0)/10)*10)
	for share := 0.95; share > 0.3; share -= 0.05 {
		if r.view(share).fits(w, h) {
			return fmt.Sprintf("bring the board from %.0f to about %.0f mm and put its middle where the damage mirrors it, or use one of %s", d, math.Round(share*d/10)*10, large)
		}
	}
	return fmt.Sprintf("use a board of %s, or measure the damage in two captures with the cards closer together", large)
}

// beyond says in words how far the view runs beyond what was seen of the board.
func (v view) beyond(seen view) string {
	part := func(less, more float64, low, high string) string {
		const step = 5.0 // mm
		if less = math.Ceil(less/step) * step; less > 0 && less >= more {
			return fmt.Sprintf("%.0f mm %s", less, low)
		}
		if more = math.Ceil(more/step) * step; more > 0 {
			return fmt.Sprintf("%.0f mm %s", more, high)
		}
		return ""
	}
	a, b := part(seen.u0-v.u0, v.u1-seen.u1, "to the left", "to the right"), part(seen.v0-v.v0, v.v1-seen.v1, "up", "down")
	switch {
	case a != "" && b != "":
		return a + " and " + b + " as seen in the paint"
	case a+b != "":
		return a + b + " as seen in the paint"
	}
	return "so that nothing stands between it and the panel"
}
