package fair

import (
	"math"

	"fairmetal/surface"
)

// Peak is the worst value of a quantity with its place.
type Peak struct {
	Value  float64 `json:"value"`
	Sigma  float64 `json:"sigma"`
	Limit  float64 `json:"limit"`
	XMM    float64 `json:"x_mm"`
	YMM    float64 `json:"y_mm"`
	Answer Answer  `json:"answer"`
}

// Band is what waves of one range of lengths leave: slope in mrad, curvature in 1/m.
type Band struct {
	Name      string  `json:"name"`
	FromMM    float64 `json:"from_mm"`
	ToMM      float64 `json:"to_mm"`
	SlopeRMS  float64 `json:"slope_rms_mrad"`
	Slope     Peak    `json:"slope"`
	Curvature Peak    `json:"curvature"`
}

func gaussSD(cutoff float64) float64 { return surface.GaussCutoff(cutoff) }

// bands judges the short and the long waves. The smooth course is taken off alike all ways here (the view from above), in both ways
// of off; what counts is the smaller.
func (r *relief) bands(l Limits, sure float64) []Band {
	n := len(r.zx)
	var short, near, straight [2][]float32
	for k := range 2 {
		short[k], near[k], straight[k] = make([]float32, n), make([]float32, n), make([]float32, n)
	}
	cx, cy := r.coarse.along(View{ElevationDeg: 90})
	for i := range r.zx {
		sx, sy := r.zx[i]-r.sx[i], r.zy[i]-r.sy[i]
		ax, ay, bx, by := r.off(i, cx, cy)
		short[0][i], short[1][i] = sx, sy
		near[0][i], near[1][i] = float32(ax)-sx, float32(ay)-sy
		straight[0][i], straight[1][i] = float32(bx)-sx, float32(by)-sy
	}
	return []Band{
		r.band(Band{Name: "short", FromMM: PeelMM, ToMM: MiddleMM}, short, short, l.ShortPerM, l, sure),
		r.band(Band{Name: "long", FromMM: MiddleMM, ToMM: CourseMM}, near, straight, l.LongPerM, l, sure),
	}
}

// band fills b from slopes drawn two ways.
func (r *relief) band(b Band, one, two [2][]float32, curveLimit float64, l Limits, sure float64) Band {
	ns, nc := l.noise(gaussSD(b.FromMM), r.pitch)
	var slope, curve peaks
	var sum float64
	for i, ok := range r.ok {
		if !ok {
			continue
		}
		g := min(math.Hypot(float64(one[0][i]), float64(one[1][i])), math.Hypot(float64(two[0][i]), float64(two[1][i])))
		sum += g * g
		// um, 1/mm -> mrad; um, 1/mm2 -> 1/m.
		slope.take(i, 1e3*g, ns*float64(r.sigma[i]), l.SlopeMRad, sure)
		if k := min(hessian(r.g, one[0], one[1], i), hessian(r.g, two[0], two[1], i)); k == k {
			curve.take(i, 1e3*k, nc*float64(r.sigma[i]), curveLimit, sure)
		}
	}
	if r.judged > 0 {
		b.SlopeRMS = 1e3 * math.Sqrt(sum/float64(r.judged))
	}
	b.Slope, b.Curvature = slope.peak(r.g, l.SlopeMRad, sure), curve.peak(r.g, curveLimit, sure)
	return b
}

// peaks keeps the largest value and the one that exceeds its limit most surely.
type peaks struct {
	most, surest struct {
		v, sigma, over float64
		cell           int
	}
	any bool
}

func (p *peaks) take(i int, v, sigma, limit, sure float64) {
	over := v - sure*sigma - limit
	if !p.any || v > p.most.v {
		p.most.v, p.most.sigma, p.most.over, p.most.cell = v, sigma, over, i
	}
	if !p.any || over > p.surest.over {
		p.surest.v, p.surest.sigma, p.surest.over, p.surest.cell = v, sigma, over, i
	}
	p.any = true
}

func (p *peaks) peak(g surface.Grid, limit, sure float64) Peak {
	q := p.most
	if p.surest.over > 0 {
		q = p.surest
	}
	out := Peak{Value: q.v, Sigma: q.sigma, Limit: limit, Answer: judge(q.v, q.sigma, limit, sure)}
	if p.any {
		out.XMM, out.YMM = g.XY(q.cell%g.Cols, q.cell/g.Cols)
	}
	return out
}
