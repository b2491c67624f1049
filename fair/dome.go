package fair

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/internal/rows"
)

// View is the direction from the metal to the eye, degrees.
type View struct {
	AzimuthDeg   float64 `json:"azimuth_deg"`   // from +x towards +y
	ElevationDeg float64 `json:"elevation_deg"` // over the metal
}

// Light is the direction of the straight line on the board, degrees from level, as the eye sees it.
type Light struct {
	LineDeg float64 `json:"line_deg"`
}

// The dome. Opposite azimuths wobble alike, so half a turn is enough; between its directions, 15 degrees apart, at most 1 - cos 7.5 =
// 1 % of a wobble is missed. Elevations: along the metal, as one stoops to see long waves, half up, and nearly square.
var (
	azimuths   = []float64{0, 15, 30, 45, 60, 75, 90, 105, 120, 135, 150, 165}
	elevations = []float64{20, 45, 70}
	lights     = []float64{0, 45, 90, 135}
)

// Dome lists the views that Judge looks from.
func Dome() []View {
	var out []View
	for _, e := range elevations {
		for _, a := range azimuths {
			out = append(out, View{a, e})
		}
	}
	return out
}

// Weights gives the deflection of the reflected ray across a line, rad, per unit of slope along x and y. With the view at azimuth a
// and elevation e, the slope along it ga and across it gp, a mirror tilts the ray by 2 ga up or down and by 2 gp sin e sideways; a
// line at angle l shows
//
//	w = 2 (ga cos l - gp sin e sin l)
//
// Law of reflection to first order in the slope: good to 1 % up to 10 mrad at 20 degrees of elevation.
func Weights(v View, l Light) (wx, wy float64) {
	sa, ca := math.Sincos(v.AzimuthDeg * math.Pi / 180)
	se := math.Sin(v.ElevationDeg * math.Pi / 180)
	sl, cl := math.Sincos(l.LineDeg * math.Pi / 180)
	return 2 * (ca*cl + sa*se*sl), 2 * (sa*cl - ca*se*sl)
}

// mirrored is the exact law: the ray that reaches the eye in direction v from metal of slope (zx, zy) came from this direction.
func mirrored(v r3.Vec, zx, zy float64) r3.Vec {
	n := r3.Unit(r3.Vec{X: -zx, Y: -zy, Z: 1})
	return r3.Sub(r3.Scale(2*r3.Dot(v, n), n), v)
}

// eye is the unit vector towards the eye.
func (v View) eye() r3.Vec {
	sa, ca := math.Sincos(v.AzimuthDeg * math.Pi / 180)
	se, ce := math.Sincos(v.ElevationDeg * math.Pi / 180)
	return r3.Vec{X: ce * ca, Y: ce * sa, Z: se}
}

// across is the unit vector on the board across the line: the board stands square to the mirrored ray.
func across(v View, l Light) r3.Vec {
	sa, ca := math.Sincos(v.AzimuthDeg * math.Pi / 180)
	se, ce := math.Sincos(v.ElevationDeg * math.Pi / 180)
	sl, cl := math.Sincos(l.LineDeg * math.Pi / 180)
	side := r3.Vec{X: -sa, Y: ca}
	up := r3.Vec{X: se * ca, Y: se * sa, Z: ce}
	return r3.Add(r3.Scale(sl, side), r3.Scale(-cl, up))
}

// Sight is the worst wobble seen from one view.
type Sight struct {
	View
	Light
	XMM         float64 `json:"x_mm"`
	YMM         float64 `json:"y_mm"`
	WobbleMRad  float64 `json:"wobble_mrad"` // of the reflected ray
	SigmaMRad   float64 `json:"sigma_mrad"`
	WobbleMM    float64 `json:"wobble_mm"`  // on the board
	SlopeMRad   float64 `json:"slope_mrad"` // of the metal there, smooth course of that view taken off
	Answer      Answer  `json:"answer"`
	sureExceeds float64
}

// look finds the worst wobble of every view. The worst is the place that exceeds the limit most surely, else the largest.
func (r *relief) look(l Limits, sure float64) []Sight {
	views := Dome()
	out := make([]Sight, len(views))
	slopeNoise, _ := l.noise(gaussSD(PeelMM), r.pitch)
	rows.Do(len(views), func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			out[k] = r.from(views[k], l, 1e-3*slopeNoise, sure)
		}
	})
	return out
}

// from looks from one view. slopeNoise is per um of height.
func (r *relief) from(v View, l Limits, slopeNoise, sure float64) Sight {
	cx, cy := r.coarse.along(v)
	type weights struct{ wx, wy, n float64 }
	var ws []weights
	for _, a := range lights {
		wx, wy := Weights(v, Light{a})
		ws = append(ws, weights{wx, wy, math.Hypot(wx, wy) * slopeNoise})
	}
	limit := 2e-3 * l.SlopeMRad
	type peak struct {
		w, sigma, over float64
		cell, light    int
	}
	most, surest := peak{cell: -1}, peak{cell: -1, over: math.Inf(-1)}
	for i, ok := range r.ok {
		if !ok {
			continue
		}
		ax, ay, bx, by := r.off(i, cx, cy)
		for k, q := range ws {
			w := min(math.Abs(q.wx*ax+q.wy*ay), math.Abs(q.wx*bx+q.wy*by))
			sigma := q.n * float64(r.sigma[i])
			over := w - sure*sigma - limit
			if w > most.w || most.cell < 0 {
				most = peak{w, sigma, over, i, k}
			}
			if over > surest.over {
				surest = peak{w, sigma, over, i, k}
			}
		}
	}
	p := most
	if surest.over > 0 {
		p = surest
	}
	s := Sight{View: v}
	if p.cell < 0 {
		return s
	}
	s.XMM, s.YMM = r.g.XY(p.cell%r.g.Cols, p.cell/r.g.Cols)
	s.LineDeg = lights[p.light]
	ax, ay, bx, by := r.off(p.cell, cx, cy)
	s.WobbleMRad, s.SigmaMRad, s.SlopeMRad = 1e3*p.w, 1e3*p.sigma, 1e3*min(math.Hypot(ax, ay), math.Hypot(bx, by))
	s.WobbleMM = p.w * l.BoardMM
	s.sureExceeds = p.over
	s.Answer = judge(1e3*p.w, 1e3*p.sigma, 1e3*limit, sure)
	return s
}
