// Package capture holds the facts of one capture: which photos show which stripes, and what the technician taped. The file format
// is described in docs/capture.md.
//
// In: the bytes of capture.json, or a folder. Out: a Capture whose numbers are possible and whose files are there; else an
// *Error that names the field.
package capture

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"strings"
)

// Kinds of sets.
const (
	Shifted = "shifted" // photos of stripes moved by known shares of their pitch
	Single  = "single"  // one photo of each stripe direction
	Sweep   = "sweep"   // a burst while the board slides by hand
)

// Capture is capture.json. Lengths in mm, sizes and focal length in px.
type Capture struct {
	Format int     `json:"format"`
	Name   string  `json:"name"`
	Panel  Panel   `json:"panel"`
	Camera *Camera `json:"camera,omitempty"`
	Board  Board   `json:"board"`
	Cards  Cards   `json:"cards"`
	Sets   []Set   `json:"sets"`
}

// Panel is what is known of the panel.
type Panel struct {
	Name        string  `json:"name"`
	Material    string  `json:"material"` // steel, aluminium or ""
	ThicknessMM float64 `json:"thickness_mm"`
	Paint       string  `json:"paint"`
}

// Camera is the lens, for photos of SizePX.
type Camera struct {
	FocalPX     float64    `json:"focal_px"`
	PrincipalPX [2]float64 `json:"principal_px"`
	SizePX      [2]int     `json:"size_px"`
}

// Board is the striped board: its taped distance from the panel's origin and its size.
type Board struct {
	DistanceMM float64 `json:"distance_mm"`
	WidthMM    float64 `json:"width_mm"`
	HeightMM   float64 `json:"height_mm"`
}

// Cards names the scheme of the scale cards.
type Cards struct {
	Scheme string `json:"scheme"`
}

// Set is a group of photos that is measured together.
type Set struct {
	Kind   string  `json:"kind"`
	Frames []Frame `json:"frames"`
	// Direction says which way the board slid in a sweep: "+" (or nothing) towards growing u and v, to the right and down in the
	// photo; "-" the other way.
	Direction string `json:"direction,omitempty"`
}

// Frame is one photo. Stripes is u (upright), v (level) or uv (crossed); Profile sine or square.
type Frame struct {
	File    string   `json:"file"`
	Stripes string   `json:"stripes"`
	Profile string   `json:"profile"`
	PitchMM float64  `json:"pitch_mm"`
	Shift   *float64 `json:"shift,omitempty"` // in pitches; shifted sets only
}

// Error says what is wrong with a capture and what to do.
type Error struct {
	Code   string // stable
	Text   string
	Advice string
}

// Error is the complaint in one line.
func (e *Error) Error() string { return e.Text + "; " + e.Advice }

func fail(code, advice, format string, args ...any) error {
	return &Error{Code: code, Text: fmt.Sprintf(format, args...), Advice: advice}
}

// Bounds of what can be true. Boards and cars set them; nothing else hangs on their exact values.
const (
	maxBytes      = 1 << 20
	maxFrames     = 200
	maxSets       = 10
	minDistanceMM = 50
	maxDistanceMM = 5000
	maxBoardMM    = 5000
	maxPitchMM    = 1000
	minPitchMM    = 0.5
	maxTextLen    = 500
)

// Parse reads and checks capture.json. Fields it does not know are ignored.
func Parse(data []byte) (Capture, error) {
	var c Capture
	if len(data) > maxBytes {
		return c, fail("capture-large", "it holds facts only, no pictures", "capture.json is %d kB", len(data)>>10)
	}
	if err := json.Unmarshal(data, &c); err != nil {
		return Capture{}, unreadable(data, err)
	}
	if err := c.check(); err != nil {
		return Capture{}, err
	}
	return c, nil
}

// unreadable says where the JSON breaks.
func unreadable(data []byte, err error) error {
	var syn *json.SyntaxError
	var typ *json.UnmarshalTypeError
	line := func(offset int64) int {
		n := min(max(offset, 0), int64(len(data)))
		return 1 + bytes.Count(data[:n], []byte{'\n'})
	}
	switch {
	case errors.As(err, &typ):
		return fail("capture-type", "correct it", "capture.json: %s holds a %.60s where a %s belongs (line %d)", typ.Field, typ.Value, typ.Type, line(typ.Offset))
	case errors.As(err, &syn):
		// The offset of an unexpected end lies behind the last line break: name the last line with text.
		return fail("capture-json", "correct it or make it anew", "capture.json cannot be read (line %d): %v", line(int64(len(bytes.TrimRight(data[:min(syn.Offset, int64(len(data)))], "\r\n \t")))), err)
	}
	return fail("capture-json", "correct it or make it anew", "capture.json cannot be read: %v", err)
}

func (c *Capture) check() error {
	if c.Format != 1 {
		return fail("capture-format", "write \"format\": 1", "capture.json has format %d, this program reads format 1", c.Format)
	}
	if len(c.Name) > maxTextLen || len(c.Panel.Name) > maxTextLen || len(c.Panel.Paint) > maxTextLen {
		return fail("capture-text", "shorten it", "a name in capture.json is longer than %d letters", maxTextLen)
	}
	if t := c.Panel.ThicknessMM; t < 0 || t > 5 {
		return fail("thickness", "give the sheet's thickness in mm, about 0.7, or leave it out", "panel thickness_mm of %g is not possible", t)
	}
	if m := c.Panel.Material; m != "" && m != "steel" && m != "aluminium" {
		return fail("material", "write steel or aluminium", "panel material %q is not known", m)
	}
	if c.Cards.Scheme != "" && c.Cards.Scheme != "FM1" {
		return fail("scheme", "use cards of scheme FM1", "card scheme %q is not known", c.Cards.Scheme)
	}
	if err := c.Board.check(); err != nil {
		return err
	}
	if c.Camera != nil {
		if err := c.Camera.check(); err != nil {
			return err
		}
	}
	if len(c.Sets) == 0 {
		return fail("no-set", "add the stripe photos", "capture.json names no set of photos")
	}
	if len(c.Sets) > maxSets {
		return fail("sets", "keep one or two", "capture.json names %d sets", len(c.Sets))
	}
	for _, s := range c.Sets {
		if err := s.check(); err != nil {
			return err
		}
	}
	return nil
}

func (b Board) check() error {
	switch {
	case b.DistanceMM <= 0:
		return fail("distance", "tape it from the panel midway between the cards to the board's centre", "board distance must be above zero (distance_mm is %g)", b.DistanceMM)
	case b.DistanceMM < minDistanceMM || b.DistanceMM > maxDistanceMM:
		return fail("distance", "give it in mm, from the panel midway between the cards to the board's centre", "board distance of %g mm is not possible", b.DistanceMM)
	case !(b.WidthMM > 0 && b.WidthMM <= maxBoardMM && b.HeightMM > 0 && b.HeightMM <= maxBoardMM):
		return fail("board-size", "give the striped area's width and height in mm", "a board of %g x %g mm is not possible", b.WidthMM, b.HeightMM)
	}
	return nil
}

// check accepts lenses from extreme wide angle to long tele: the focal length between a third and ten times the diagonal.
func (k Camera) check() error {
	const advice = "leave camera out to take the lens from the photos, or correct focal_px, principal_px and size_px"
	w, h := float64(k.SizePX[0]), float64(k.SizePX[1])
	if w < 16 || h < 16 || w > 65535 || h > 65535 {
		return fail("camera", advice, "camera values are not possible (size_px %d x %d)", k.SizePX[0], k.SizePX[1])
	}
	if d := math.Hypot(w, h); !(k.FocalPX > 0.3*d && k.FocalPX < 10*d) {
		return fail("camera", advice, "camera values are not possible (focal_px %g for photos of %g x %g)", k.FocalPX, w, h)
	}
	if x, y := k.PrincipalPX[0], k.PrincipalPX[1]; !(x > 0.2*w && x < 0.8*w && y > 0.2*h && y < 0.8*h) {
		return fail("camera", advice, "camera values are not possible (principal_px %g, %g lies far off the middle)", x, y)
	}
	return nil
}

func (s Set) check() error {
	if len(s.Frames) == 0 {
		return fail("frames", "add its photos", "the %s set names no photos", s.Kind)
	}
	if len(s.Frames) > maxFrames {
		return fail("frames", "keep the sharpest", "a set of %d photos is too large", len(s.Frames))
	}
	seen := map[string]bool{}
	for _, f := range s.Frames {
		if err := f.check(s.Kind); err != nil {
			return err
		}
		if seen[f.File] {
			return fail("frames", "give each photo its own file", "%s stands twice in the %s set", f.File, s.Kind)
		}
		seen[f.File] = true
	}
	switch s.Kind {
	case Shifted:
		return s.checkShifted()
	case Single:
		return s.checkAxes(1)
	case Sweep:
		if s.Direction != "" && s.Direction != "+" && s.Direction != "-" {
			return fail("direction", "write + if the board slid to the right and down in the photo, - if the other way", "direction %q is not known", s.Direction)
		}
		return s.checkAxes(MinSweep)
	}
	return fail("kind", "use shifted, single or sweep", "set kind %q is not known", s.Kind)
}

func (f Frame) check(kind string) error {
	if err := checkName(f.File); err != nil {
		return err
	}
	if f.Stripes != "u" && f.Stripes != "v" && !(f.Stripes == "uv" && kind == Single) {
		return fail("stripes", "write u for upright stripes, v for level ones", "%s: stripes %q are not known", f.File, f.Stripes)
	}
	if f.Profile != "sine" && f.Profile != "square" {
		return fail("profile", "write sine or square", "%s: profile %q is not known", f.File, f.Profile)
	}
	switch {
	case f.PitchMM <= 0:
		return fail("pitch", "measure a stripe and its gap on the board", "pitch_mm must be above zero (%s has %g)", f.File, f.PitchMM)
	case f.PitchMM < minPitchMM || f.PitchMM > maxPitchMM:
		return fail("pitch", "measure a stripe and its gap on the board, in mm", "pitch_mm of %g is not possible (%s)", f.PitchMM, f.File)
	}
	if f.Shift != nil && !(math.Abs(*f.Shift) <= 100) {
		return fail("shift", "give it in pitches, 0 to 1", "%s: a shift of %g is not possible", f.File, *f.Shift)
	}
	if kind == Shifted && f.Shift == nil {
		return fail("shift", "give the shift of each photo, in pitches", "%s has no shift", f.File)
	}
	return nil
}

// checkName keeps files inside the capture's own folder.
func checkName(n string) error {
	const advice = "files must lie in the capture's own folder"
	switch {
	case n == "":
		return fail("file-name", "name the photo's file", "a photo has no file name")
	case len(n) > 200 || strings.ContainsAny(n, "/\\:\x00") || n == "." || n == ".." || path.Clean(n) != n || !fs.ValidPath(n):
		return fail("file-name", advice, "%q is not a plain file name", n)
	}
	for _, r := range n {
		if r < 32 || r == 127 {
			return fail("file-name", advice, "%q is not a plain file name", n)
		}
	}
	return nil
}

// MinSweep is the least number of photos of a sweep in each direction: shifts and stripes are solved together from four on; from
// SafeSweep on one bad photo among them is found out.
const (
	MinSweep  = 4
	SafeSweep = 7
)

// checkShifted wants at least three different shifts for each axis at one pitch: fewer cannot be solved.
func (s Set) checkShifted() error {
	for _, axis := range []string{"u", "v"} {
		shifts := map[float64]map[int]bool{}
		for _, f := range s.Frames {
			if f.Stripes == axis {
				if shifts[f.PitchMM] == nil {
					shifts[f.PitchMM] = map[int]bool{}
				}
				frac := *f.Shift - math.Floor(*f.Shift)
				shifts[f.PitchMM][int(math.Round(frac*1000))%1000] = true
			}
		}
		if len(shifts) == 0 {
			return fail("axis", "a set needs both directions: u (upright) and v (level) stripes", "the shifted set has no %s stripes", axis)
		}
		for p, m := range shifts {
			if len(m) < 3 {
				return fail("shifts", "take at least three, better four, shifts spread over a whole stripe", "the %s %g mm stripes come in %d different shifts only", axis, p, len(m))
			}
		}
	}
	return nil
}

// checkAxes wants n photos or more of each direction (a crossed photo counts for both).
func (s Set) checkAxes(n int) error {
	u, v := 0, 0
	for _, f := range s.Frames {
		if strings.Contains(f.Stripes, "u") {
			u++
		}
		if strings.Contains(f.Stripes, "v") {
			v++
		}
	}
	for axis, k := range map[string]int{"u": u, "v": v} {
		if k < n {
			return fail("axis", fmt.Sprintf("a %s set needs at least %d of each direction", s.Kind, n), "the %s set has %d photos of %s stripes", s.Kind, k, axis)
		}
	}
	return nil
}

// ReadDir reads capture.json from a folder and makes sure that its photos are there.
func ReadDir(folder fs.FS) (Capture, error) {
	f, err := folder.Open("capture.json")
	if err != nil {
		return Capture{}, fail("no-capture", "choose the folder that holds it", "there is no capture.json in the folder")
	}
	defer f.Close()
	if st, err := f.Stat(); err == nil && st.Size() > maxBytes {
		return Capture{}, fail("capture-large", "it holds facts only, no pictures", "capture.json is %d kB", st.Size()>>10)
	}
	data, err := fs.ReadFile(folder, "capture.json")
	if err != nil {
		return Capture{}, fail("no-capture", "check the folder", "capture.json cannot be read (%v)", err)
	}
	c, err := Parse(data)
	if err != nil {
		return Capture{}, err
	}
	for _, s := range c.Sets {
		for _, f := range s.Frames {
			st, err := fs.Stat(folder, f.File)
			if err != nil {
				return Capture{}, fail("file-missing", "copy it there or correct capture.json", "%s is not in the folder", f.File)
			}
			if !st.Mode().IsRegular() {
				return Capture{}, fail("file-missing", "put the photo itself there", "%s is not a file", f.File)
			}
		}
	}
	return c, nil
}

// Lens returns focal length and principal point in px for photos of w x h pixels: from capture.json scaled by the width, for
// photos of its shape (upright or turned), else from exifFocalPX with the principal point in the middle.
func (c Capture) Lens(w, h int, exifFocalPX float64) (focal, cx, cy float64, err error) {
	if k := c.Camera; k != nil {
		s := float64(w) / float64(k.SizePX[0])
		if math.Abs(float64(k.SizePX[1])*s-float64(h)) < 0.02*float64(h) {
			return k.FocalPX * s, k.PrincipalPX[0] * s, k.PrincipalPX[1] * s, nil
		}
	}
	d := math.Hypot(float64(w), float64(h))
	if exifFocalPX > 0.3*d && exifFocalPX < 10*d {
		return exifFocalPX, float64(w) / 2, float64(h) / 2, nil
	}
	if c.Camera != nil {
		return 0, 0, 0, fail("camera", "give the camera values for photos of this size", "the photos are %d x %d pixels, the camera values are for %d x %d", w, h, c.Camera.SizePX[0], c.Camera.SizePX[1])
	}
	return 0, 0, 0, fail("no-lens", "use the photos as the camera wrote them, or give camera values in capture.json", "the photos do not tell the lens's focal length (EXIF is missing)")
}

// Encode renders capture.json.
func (c Capture) Encode() ([]byte, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	b, err := json.MarshalIndent(c, "", " ")
	return append(b, '\n'), err
}
