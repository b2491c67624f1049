package inspection

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"image/jpeg"
	"image/png"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/capture"
	"fairmetal/mark"
	"fairmetal/register"
	"fairmetal/surface"
	"fairmetal/texture"
)

// Program names the version that measured; stored beside every result.
const Program = "fairmetal 0.1"

// Document is surface.json. Lengths in mm, heights in um where named so.
type Document struct {
	Format  int          `json:"format"`
	Program string       `json:"program"`
	Set     string       `json:"set"`
	Grid    surface.Grid `json:"grid"`
	Capture struct {
		Name  string        `json:"name"`
		Panel capture.Panel `json:"panel"`
		Board capture.Board `json:"board"`
	} `json:"capture"`
	Photo struct {
		File   string `json:"file"`
		Width  int    `json:"width_px"`
		Height int    `json:"height_px"`
	} `json:"photo"`
	Camera struct {
		FocalPX   float64    `json:"focal_px"`
		K1        float64    `json:"k1"` // radial distortion: r (1 + k1 r^2), r in focal lengths
		Principal [2]float64 `json:"principal_px"`
		Centre    [3]float64 `json:"centre_mm"`
		Right     [3]float64 `json:"right"`
		Down      [3]float64 `json:"down"`
		Forward   [3]float64 `json:"forward"`
	} `json:"camera"` // of photo.jpg
	BoardPose struct {
		Centre   [3]float64 `json:"centre_mm"`
		U        [3]float64 `json:"u"`
		V        [3]float64 `json:"v"`
		Distance float64    `json:"distance_mm"`
	} `json:"board_pose"`
	Cards       []CardPlace `json:"cards"`
	Form        FormDoc     `json:"form"`
	FullScaleUM float64     `json:"full_scale_um"`
	Areas       []Area      `json:"areas"`
	Notices     []Notice    `json:"notices"`
	Quality     Quality     `json:"quality"`
	Twin        *TwinDoc    `json:"twin,omitempty"`
	Checks      []Check     `json:"checks"`
	// Texture holds the ISO 25178-2 figures of the metal outside the marks, waviness first.
	Texture []texture.Figures `json:"texture"`
}

// CardPlace is where a card lies.
type CardPlace struct {
	Letter    string        `json:"letter"`
	SideMM    float64       `json:"side_mm"`
	CentreMM  [3]float64    `json:"centre_mm"`
	OutlineMM [4][2]float64 `json:"outline_mm"`
}

// FormDoc is the undamaged form: radii of the crown along x and y (positive: bulging), its twist, and the feature lines.
type FormDoc struct {
	RXMM       float64   `json:"rx_mm"`
	RYMM       float64   `json:"ry_mm"`
	TwistPerMM float64   `json:"twist_per_mm"`
	Lines      []LineDoc `json:"lines"`
	Terms      []float64 `json:"terms_mm"`
	ScaleMM    float64   `json:"scale_mm"`
}

// LineDoc is a feature line: all places with cos(angle) x + sin(angle) y = offset + bend t^2.
type LineDoc struct {
	AngleDeg  float64 `json:"angle_deg"`
	OffsetMM  float64 `json:"offset_mm"`
	BendPerMM float64 `json:"bend_per_mm"`
	Step      float64 `json:"slope_change"`
}

// Files renders a result into the files of its folder, by name.
func (r *Result) Files() (map[string][]byte, error) {
	var wg sync.WaitGroup
	var figures []texture.Figures
	wg.Go(func() { figures = r.texture() })
	pic := r.Draw()
	files := map[string][]byte{
		"height.f32": floats(r.Surface.Height),
		"sigma.f32":  floats(r.Surface.Sigma),
		"form.f32":   floats(r.AbsoluteMM),
	}
	marks := r.Marks
	if marks == nil {
		marks = []mark.Mark{}
	}
	shown := make([]mark.Mark, len(marks))
	for i, m := range marks {
		px := make([][2]float64, len(m.OutlinePX))
		for k, p := range m.OutlinePX {
			px[k] = [2]float64{math.Round(p[0]*pic.Scale*10) / 10, math.Round(p[1]*pic.Scale*10) / 10}
		}
		m.OutlinePX = px
		shown[i] = m
	}
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	var jpg, heat, both bytes.Buffer
	errs := make([]error, 5)
	wg.Go(func() { errs[0] = enc.Encode(&both, pic.over()) })
	wg.Go(func() { errs[1] = enc.Encode(&heat, pic.Heat) })
	wg.Go(func() { errs[2] = jpeg.Encode(&jpg, pic.Photo, &jpeg.Options{Quality: 85}) })
	files["marks.json"], errs[3] = indent(struct {
		Marks []mark.Mark `json:"marks"`
	}{shown})
	wg.Wait()
	files["surface.json"], errs[4] = indent(r.document(pic, figures))
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	files["photo.jpg"], files["heat.png"], files["overlay.png"] = jpg.Bytes(), heat.Bytes(), both.Bytes()
	return files, nil
}

func (r *Result) document(pic Pictures, figures []texture.Figures) Document {
	d := Document{Format: 1, Program: Program, Set: r.SetKind, Grid: r.Surface.Grid, Areas: r.Areas, Notices: r.Notices,
		Quality: r.Quality, Checks: r.Checks(), FullScaleUM: r.FullScaleUM()}
	if d.Areas == nil {
		d.Areas = []Area{}
	}
	if d.Notices == nil {
		d.Notices = []Notice{}
	}
	d.Texture, d.Twin = figures, r.Twin
	d.Capture.Name, d.Capture.Panel, d.Capture.Board = r.Capture.Name, r.Capture.Panel, r.Capture.Board
	d.Photo.File, d.Photo.Width, d.Photo.Height = "photo.jpg", pic.Photo.Rect.Dx(), pic.Photo.Rect.Dy()
	cam := r.Frame.Camera.Scaled(pic.Scale)
	d.Camera.FocalPX, d.Camera.K1, d.Camera.Principal = cam.FocalPX, cam.K1, [2]float64{cam.CX, cam.CY}
	d.Camera.Centre, d.Camera.Right, d.Camera.Down, d.Camera.Forward = xyz(cam.Centre), xyz(cam.Right), xyz(cam.Down), xyz(cam.Forward)
	b := r.Calibration.Board
	d.BoardPose.Centre, d.BoardPose.U, d.BoardPose.V, d.BoardPose.Distance = xyz(b.Centre), xyz(b.U), xyz(b.V), r3.Norm(b.Centre)
	for _, c := range []struct {
		letter string
		side   float64
		centre r3.Vec
		corner [4]r3.Vec
	}{{r.Frame.A.Letter, r.Frame.A.SideMM, r.Frame.A.Centre, r.Frame.A.Corners}, {r.Frame.B.Letter, r.Frame.B.SideMM, r.Frame.B.Centre, r.Frame.B.Corners}} {
		p := CardPlace{Letter: c.letter, SideMM: c.side, CentreMM: xyz(c.centre)}
		for i, k := range c.corner {
			p.OutlineMM[i] = [2]float64{k.X, k.Y}
		}
		d.Cards = append(d.Cards, p)
	}
	rx, ry, twist := r.Calibration.Form.Crown()
	d.Form = FormDoc{RXMM: rx, RYMM: ry, TwistPerMM: twist, Terms: r.Calibration.Form.C, ScaleMM: 150, Lines: []LineDoc{}}
	for _, f := range r.Calibration.Form.Folds {
		d.Form.Lines = append(d.Form.Lines, LineDoc{AngleDeg: f.Angle * 180 / math.Pi, OffsetMM: f.S0, BendPerMM: f.Bend, Step: f.Step})
	}
	return d
}

// texture measures the metal outside the marks, each left out as the ellipse about its outline.
func (r *Result) texture() []texture.Figures {
	skip := make([]bool, r.Surface.Len())
	for _, m := range r.Marks {
		m.Cells(r.Surface.Grid, 1.3, 2, func(i int) { skip[i] = true })
	}
	out := []texture.Figures{}
	for _, b := range []texture.Band{texture.Waviness, texture.PeelLong} {
		if f, err := texture.Measure(r.Surface, b, skip); err == nil {
			out = append(out, f)
		}
	}
	return out
}

func xyz(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

func indent(v any) ([]byte, error) {
	b, err := json.MarshalIndent(v, "", " ")
	return append(b, '\n'), err
}

func floats(v []float32) []byte {
	b := make([]byte, 4*len(v))
	for i, f := range v {
		binary.LittleEndian.PutUint32(b[4*i:], math.Float32bits(f))
	}
	return b
}

// Save writes the files into a folder: all of them beside their places first, then each renamed, surface.json last, so that a
// folder with a new surface.json is whole.
func Save(dir string, files map[string][]byte) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("the folder %s cannot be made (%w); choose another", dir, err)
	}
	var names []string
	for n := range files {
		if n != "surface.json" {
			names = append(names, n)
		}
	}
	if _, ok := files["surface.json"]; ok {
		names = append(names, "surface.json")
	}
	clean := func() {
		for _, n := range names {
			os.Remove(filepath.Join(dir, n+".part"))
		}
	}
	for _, n := range names {
		if err := write(filepath.Join(dir, n+".part"), files[n]); err != nil {
			clean()
			return fmt.Errorf("%s cannot be written (%w); free some space and measure again", n, err)
		}
	}
	for _, n := range names {
		if err := os.Rename(filepath.Join(dir, n+".part"), filepath.Join(dir, n)); err != nil {
			clean()
			return fmt.Errorf("%s cannot be put in place (%w); measure again", n, err)
		}
	}
	return nil
}

func write(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return err
	}
	if _, err := f.Write(data); err != nil {
		f.Close()
		return err
	}
	if err := f.Sync(); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// Stored is a result read back from its folder.
type Stored struct {
	Document
	Surface *surface.Surface
	// AbsoluteMM is the whole undamaged form, mm; nil where an older version measured.
	AbsoluteMM []float32
	Marks      []mark.Mark
}

// Side is the result as package register takes it.
func (s *Stored) Side() register.Side {
	out := register.Side{Surface: s.Surface, Marks: s.Marks}
	for _, l := range s.Form.Lines {
		out.Lines = append(out.Lines, register.Line{AngleDeg: l.AngleDeg, OffsetMM: l.OffsetMM, BendPerMM: l.BendPerMM})
	}
	return out
}

// maxCells bounds a stored surface: four square metres of cells of 0.5 mm.
const maxCells = 16_000_000

// Load reads a result folder.
func Load(folder fs.FS) (*Stored, error) {
	s := &Stored{}
	data, err := fs.ReadFile(folder, "surface.json")
	if err != nil {
		return nil, fmt.Errorf("there is no measured surface here (surface.json is missing); run `fairmetal measure` first")
	}
	if err := json.Unmarshal(data, &s.Document); err != nil {
		return nil, fmt.Errorf("surface.json cannot be read (%w); measure again", err)
	}
	g := s.Grid
	if g.Cols < 1 || g.Rows < 1 || g.Cols > maxCells || g.Rows > maxCells/g.Cols || !(g.PitchMM > 0) {
		return nil, fmt.Errorf("surface.json holds an impossible grid of %d x %d cells; measure again", g.Cols, g.Rows)
	}
	s.Surface = surface.New(g)
	dst := map[string][]float32{"height.f32": s.Surface.Height, "sigma.f32": s.Surface.Sigma}
	if _, err := fs.Stat(folder, "form.f32"); err == nil {
		s.AbsoluteMM = make([]float32, g.Len())
		dst["form.f32"] = s.AbsoluteMM
	}
	for name, dst := range dst {
		raw, err := fs.ReadFile(folder, name)
		if err != nil {
			return nil, fmt.Errorf("%s is missing from the result; measure again", name)
		}
		if len(raw) != 4*len(dst) {
			return nil, fmt.Errorf("%s holds %d bytes where the grid asks for %d; measure again", name, len(raw), 4*len(dst))
		}
		for i := range dst {
			dst[i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
		}
	}
	data, err = fs.ReadFile(folder, "marks.json")
	if err != nil {
		return nil, fmt.Errorf("marks.json is missing from the result; measure again")
	}
	var m struct {
		Marks []mark.Mark `json:"marks"`
	}
	if err := json.Unmarshal(data, &m); err != nil {
		return nil, fmt.Errorf("marks.json cannot be read (%w); measure again", err)
	}
	s.Marks = m.Marks
	return s, nil
}
