package scene

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Truth is the true deviation of the panel from its form (orange peel left out) and the marks on it.
type Truth struct {
	Cols, Rows int
	PitchMM    float64
	X0MM, Y0MM float64
	Height     []float32 // mm
	// Pace is how fast the board point runs over the metal, as the area it sweeps against that on the undamaged form: 1 there, 0
	// where the reflection folds, below 0 inside a fold.
	Pace  []float32
	Marks []TrueMark
}

// TrueMark is one mark of truth.json: outline at a tenth of its own depth, extremes of the whole surface there.
type TrueMark struct {
	ID        string     `json:"id"`
	Kind      string     `json:"kind"`
	XMM       float64    `json:"x_mm"`
	YMM       float64    `json:"y_mm"`
	LengthMM  float64    `json:"length_mm"`
	WidthMM   float64    `json:"width_mm"`
	DepthUM   float64    `json:"depth_um"`
	CrownUM   float64    `json:"crown_um"`
	AngleDeg  float64    `json:"angle_deg"`
	DeepestMM [2]float64 `json:"deepest_mm"`
	LeastPace float64    `json:"least_pace"` // of the mark and its rim: the reflection folds below 0
	SeesBoard float64    `json:"sees_board"` // share of the mark from which the undamaged form mirrors the board into the photo
}

const truthPitch = 0.5

// truth samples the surface that was traced.
func (g *rig) truth() Truth {
	m, s := g.m, g.spec
	const x0, y0 = -180.0, -130.0
	t := Truth{Cols: 721, Rows: 521, PitchMM: truthPitch, X0MM: x0, Y0MM: y0}
	t.Height = make([]float32, t.Cols*t.Rows)
	parallel(t.Rows, func(r int) {
		for c := range t.Cols {
			z, _, _ := m.spline(m.sound, x0+float64(c)*truthPitch, y0+float64(r)*truthPitch)
			t.Height[r*t.Cols+c] = float32(z)
		}
	})
	for i := range s.Panel.Marks {
		t.Marks = append(t.Marks, g.describe(&t, &s.Panel.Marks[i]))
	}
	t.paces(g)
	return t
}

// sees tells whether the undamaged form at a place mirrors the board into the photo, past the cards.
func (g *rig) sees(x, y float64) bool {
	z, zx, zy := g.m.p.form(x, y)
	p := r3.Vec{X: x, Y: y, Z: z}
	if px, py := g.project(p); px < 0 || py < 0 || px > float64(g.spec.Camera.W) || py > float64(g.spec.Camera.H) {
		return false
	}
	dir := r3.Unit(r3.Sub(p, g.eye))
	for i := range g.cards {
		if _, hit := g.card(i, dir); hit {
			return false
		}
	}
	if g.beyond(p) || slices.ContainsFunc(g.m.p.Covers, func(c Cover) bool { return c.over(x, y) }) {
		return false
	}
	u, _, _ := g.mirrored(dir, p, r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1}))
	return u == u
}

// describe measures a mark: the outline from its own height alone, extremes from the whole surface.
func (g *rig) describe(t *Truth, k *Mark) TrueMark {
	sign := -1.0
	if k.Kind == "high" {
		sign = 1
	}
	reach := 0.8 * k.LengthMM
	const step = 0.25
	own := 0.0
	for y := -reach; y <= reach; y += step {
		for x := -reach; x <= reach; x += step {
			own = max(own, sign*k.height(k.XMM+x, k.YMM+y))
		}
	}
	var inside [][2]float64
	out := TrueMark{ID: k.ID, Kind: k.Kind}
	var sx, sy, seen float64
	for y := -reach; y <= reach; y += step {
		for x := -reach; x <= reach; x += step {
			if sign*k.height(k.XMM+x, k.YMM+y) < 0.1*own {
				continue
			}
			px, py := k.XMM+x, k.YMM+y
			if g.sees(px, py) {
				seen++
			}
			inside = append(inside, [2]float64{px, py})
			sx, sy = sx+px, sy+py
			if h := sign * 1000 * t.at(px, py); h > out.DepthUM {
				out.DepthUM, out.DeepestMM = h, [2]float64{px, py}
			}
		}
	}
	n := float64(len(inside))
	out.XMM, out.YMM, out.SeesBoard = sx/n, sy/n, seen/n
	out.WidthMM = math.Inf(1)
	for deg := 0; deg < 180; deg += 2 {
		s, c := math.Sincos(rad(float64(deg)))
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range inside {
			v := c*p[0] + s*p[1]
			lo, hi = min(lo, v), max(hi, v)
		}
		if hi-lo > out.LengthMM {
			out.LengthMM, out.AngleDeg = hi-lo, float64(deg)
		}
		out.WidthMM = min(out.WidthMM, hi-lo)
	}
	if k.Kind != "high" && k.CrownUM > 0 {
		for y := -2 * reach; y <= 2*reach; y += 0.5 {
			for x := -2 * reach; x <= 2*reach; x += 0.5 {
				out.CrownUM = max(out.CrownUM, 1000*t.at(k.XMM+x, k.YMM+y))
			}
		}
	}
	return out
}

func (t *Truth) at(x, y float64) float64 {
	c, r := int(math.Round((x-t.X0MM)/t.PitchMM)), int(math.Round((y-t.Y0MM)/t.PitchMM))
	if c < 0 || r < 0 || c >= t.Cols || r >= t.Rows {
		return 0
	}
	return float64(t.Height[r*t.Cols+c])
}

// Files renders truth.json and height.f32.
func (t *Truth) Files() (map[string][]byte, error) {
	marks := t.Marks
	if marks == nil {
		marks = []TrueMark{}
	}
	j, err := json.MarshalIndent(map[string]any{
		"grid":     map[string]any{"cols": t.Cols, "rows": t.Rows, "pitch_mm": t.PitchMM, "x0_mm": t.X0MM, "y0_mm": t.Y0MM},
		"marks":    marks,
		"outline":  "length and width are those of the outline at a tenth of the mark's own depth",
		"renderer": "scene: exact ray tracing",
	}, "", " ")
	if err != nil {
		return nil, err
	}
	raw := make([]byte, 4*len(t.Height))
	for i, v := range t.Height {
		binary.LittleEndian.PutUint32(raw[4*i:], math.Float32bits(v))
	}
	return map[string][]byte{"truth.json": j, "height.f32": raw}, nil
}

// document renders capture.json with its own structs.
func (s *Spec) document(taped float64) ([]byte, error) {
	type frame struct {
		File    string   `json:"file"`
		Stripes string   `json:"stripes"`
		Profile string   `json:"profile"`
		Pitch   float64  `json:"pitch_mm"`
		Shift   *float64 `json:"shift,omitempty"`
	}
	type set struct {
		Kind   string  `json:"kind"`
		Frames []frame `json:"frames"`
	}
	d := map[string]any{
		"format": 1,
		"name":   s.Name,
		"panel":  map[string]any{"name": s.Panel.Name, "material": s.Panel.Material, "thickness_mm": s.Panel.ThicknessMM, "paint": s.Paint.Name},
		"board":  map[string]any{"distance_mm": taped, "width_mm": s.Board.WidthMM, "height_mm": s.Board.HeightMM},
		"cards":  map[string]any{"scheme": "FM1"},
	}
	if c := s.Camera; !c.HideLens {
		d["camera"] = map[string]any{"focal_px": orElse(c.ToldFocalPX, c.FocalPX), "principal_px": []float64{float64(c.W) / 2, float64(c.H) / 2}, "size_px": []int{c.W, c.H}}
	}
	var sets []set
	for _, q := range s.Sets {
		one := set{Kind: q.Kind}
		for _, e := range q.exposures(s, rand.New(rand.NewPCG(0, 0))) {
			f := frame{File: e.file, Stripes: e.stripes, Profile: e.profile, Pitch: e.pitch}
			if e.known {
				f.Shift = &e.shift
			}
			one.Frames = append(one.Frames, f)
		}
		sets = append(sets, one)
	}
	d["sets"] = sets
	return json.MarshalIndent(d, "", " ")
}

// WriteDir writes the capture into a folder, with truth/ if asked.
func (c *Capture) WriteDir(dir string, truth bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for n, b := range c.Files {
		if err := os.WriteFile(filepath.Join(dir, n), b, 0o644); err != nil {
			return err
		}
	}
	if !truth {
		return nil
	}
	files, err := c.Truth.Files()
	if err != nil {
		return err
	}
	sub := filepath.Join(dir, "truth")
	if err := os.MkdirAll(sub, 0o755); err != nil {
		return err
	}
	for n, b := range files {
		if err := os.WriteFile(filepath.Join(sub, n), b, 0o644); err != nil {
			return err
		}
	}
	return nil
}
