package card

import "math"

// Order of the unknowns.
const (
	iH      = 0           // 8: homography
	iBlur   = 8           // 3: covariance of the blur in px^2: xx, xy, yy
	iSpread = 11          // 1: spread of the ink in modules
	iWhite  = 12          // planes: white of the paper
	iDark   = iWhite + nL // and contrast
	iBend   = iDark + nL  // 3: curvature of the card, modules out of the plane per module^2: uu, uv, vv
	nL      = 3
	nFlat   = iBend
	nAll    = iBend + 3
)

// minBlur2 is the smallest variance of the blur along any direction, px^2: a pixel alone has 1/12, of which a camera's
// sharpening takes some back. maxBlur2 stops a fit that runs away.
const (
	minBlur2 = 0.06
	maxBlur2 = 64
)

// spreadPrior is what is expected of the spread of ink (and of the camera's tone curve, which acts alike), in modules: an
// office printer's dots grow by up to 0.1 mm, a twentieth of a module of the 40 mm card. Common practice, no source.
const spreadPrior = 0.05

// model is the image of a symbol: I = min(1, W - K (d + spread e)).
//
// Symbol coordinates (u, v): modules from the symbol's middle, u right, v down. Pixels count from (ox, oy).
type model struct {
	p         *pattern
	ox, oy    float64
	scale     float64 // px, makes the planes' coordinates of order 1
	x         [nAll]float64
	rule      rule
	n         int        // unknowns in use: nFlat or nAll
	bendPrior float64    // modules per module^2
	eye       [3]float64 // what a bend looks like: a point t out of the plane is seen t (eye0 + u eye2, eye1 + v eye2) away
	ax, ay    axis       // scratch
}

// sample is one pixel of the photo.
type sample struct {
	x, y, v float64 // place of its centre in px from (ox, oy), luminance
	w       float64 // weight
	n       float64 // number of pixels that it stands for
}

// newModel starts a fit at homography h (symbol coordinates to pixels from the corner of the picture, h[8] = 1) with an
// isotropic blur of so many modules.
func newModel(m *modules, h [9]float64, blurModules float64) *model {
	f := &model{p: newPattern(m), ox: h[2], oy: h[5], n: nFlat}
	copy(f.x[:8], h[:8])
	for j := range 3 { // origin at the symbol's middle: p' = p - o
		f.x[j] -= f.ox * h[6+j]
		f.x[3+j] -= f.oy * h[6+j]
	}
	module := math.Sqrt(math.Abs(f.x[0]*f.x[4] - f.x[1]*f.x[3]))
	f.scale = halfModules * module
	f.x[iBlur], f.x[iBlur+2] = square(blurModules*module), square(blurModules*module)
	return f
}

// halfModules is half the symbol's side, modules.
const halfModules = Modules / 2.

// outline is the symbol's corners in symbol coordinates.
var outline = [4][2]float64{
	{-halfModules, -halfModules}, {halfModules, -halfModules}, {halfModules, halfModules}, {-halfModules, halfModules},
}

func square(v float64) float64 { return v * v }

// homography returns symbol coordinates to pixels from the corner of the picture.
func (f *model) homography() [9]float64 {
	x := &f.x
	return [9]float64{
		x[0] + f.ox*x[6], x[1] + f.ox*x[7], x[2] + f.ox,
		x[3] + f.oy*x[6], x[4] + f.oy*x[7], x[5] + f.oy,
		x[6], x[7], 1,
	}
}

// invert returns the inverse of a homography, or false.
func invert(h *[9]float64) ([9]float64, bool) {
	a := h[4]*h[8] - h[5]*h[7]
	b := h[5]*h[6] - h[3]*h[8]
	c := h[3]*h[7] - h[4]*h[6]
	det := h[0]*a + h[1]*b + h[2]*c
	if det == 0 || math.IsNaN(det) || math.IsInf(det, 0) {
		return [9]float64{}, false
	}
	d := 1 / det
	return [9]float64{
		a * d, (h[2]*h[7] - h[1]*h[8]) * d, (h[1]*h[5] - h[2]*h[4]) * d,
		b * d, (h[0]*h[8] - h[2]*h[6]) * d, (h[2]*h[3] - h[0]*h[5]) * d,
		c * d, (h[1]*h[6] - h[0]*h[7]) * d, (h[0]*h[4] - h[1]*h[3]) * d,
	}, true
}

// mapping is the homography of a model with what every pixel needs of it.
type mapping struct{ h, inv [9]float64 }

func (f *model) mapping() (mapping, bool) {
	var m mapping
	copy(m.h[:8], f.x[:8])
	m.h[8] = 1
	var ok bool
	m.inv, ok = invert(&m.h)
	return m, ok
}

// symbol returns the symbol coordinates of a pixel.
func (m *mapping) symbol(px, py float64) (u, v float64) {
	w := m.inv[6]*px + m.inv[7]*py + m.inv[8]
	return (m.inv[0]*px + m.inv[1]*py + m.inv[2]) / w, (m.inv[3]*px + m.inv[4]*py + m.inv[5]) / w
}

// view is the geometry at one pixel: its place on the symbol, the homography's denominator and the inverse of its Jacobian.
type view struct {
	u, v               float64 // on the card as printed
	fu, fv, w          float64 // where the flat card would be hit; the homography's denominator there
	uxx, uxy, vxx, vxy float64 // du/dx, du/dy, dv/dx, dv/dy
	bx, by             float64 // move in the photo, px, of a point raised by a module
}

// view looks from a pixel onto the card. On a bent card it walks from where the flat card would be hit to where the bent one is.

func (f *model) view(m *mapping, px, py float64) view {
	var k view
	k.fu, k.fv = m.symbol(px, py)
	k.u, k.v = k.fu, k.fv
	k.w = m.h[6]*k.u + m.h[7]*k.v + 1
	a := (m.h[0] - px*m.h[6]) / k.w // dx/du
	b := (m.h[1] - px*m.h[7]) / k.w // dx/dv
	c := (m.h[3] - py*m.h[6]) / k.w // dy/du
	d := (m.h[4] - py*m.h[7]) / k.w // dy/dv
	det := 1 / (a*d - b*c)
	k.uxx, k.uxy, k.vxx, k.vxy = d*det, -b*det, -c*det, a*det
	if f.n == nFlat {
		return k
	}
	kuu, kuv, kvv := f.x[iBend], f.x[iBend+1], f.x[iBend+2]
	var t, eu, ev float64
	for range 3 { // a bend moves a point by 0.1 modules, and by 2 % of that differently 0.1 modules away: 1e-6 after three
		t = 0.5*kuu*k.u*k.u + kuv*k.u*k.v + 0.5*kvv*k.v*k.v
		eu, ev = f.eye[0]+k.u*f.eye[2], f.eye[1]+k.v*f.eye[2]
		k.u, k.v = k.fu-t*eu, k.fv-t*ev
	}
	tu, tv := kuu*k.u+kuv*k.v, kuv*k.u+kvv*k.v
	// d(flat)/d(printed), inverted.
	muu, muv, mvu, mvv := 1+tu*eu+t*f.eye[2], tv*eu, tu*ev, 1+tv*ev+t*f.eye[2]
	det = 1 / (muu*mvv - muv*mvu)
	uxx, uxy, vxx, vxy := k.uxx, k.uxy, k.vxx, k.vxy
	k.uxx, k.uxy = (mvv*uxx-muv*vxx)*det, (mvv*uxy-muv*vxy)*det
	k.vxx, k.vxy = (muu*vxx-mvu*uxx)*det, (muu*vxy-mvu*uxy)*det
	k.bx, k.by = a*eu+b*ev, c*eu+d*ev
	return k
}

// blur returns the covariance of the blur on the symbol, modules^2.
func (f *model) blur(k *view) (cuu, cuv, cvv float64) {
	sxx, sxy, syy := f.x[iBlur], f.x[iBlur+1], f.x[iBlur+2]
	ax, ay := k.uxx*sxx+k.uxy*sxy, k.uxx*sxy+k.uxy*syy
	bx, by := k.vxx*sxx+k.vxy*sxy, k.vxx*sxy+k.vxy*syy
	return ax*k.uxx + ay*k.uxy, ax*k.vxx + ay*k.vxy, bx*k.vxx + by*k.vxy
}

// value returns the model's luminance at a pixel, before the sensor's white cuts it, and its derivatives if g is not nil;
// edge says whether any unknown but the light matters here. The derivatives leave out that a blur fixed in the photo changes on
// the card with the homography, and that it softens the spread's outline too; both are the blur's own derivative over again and
// do not move the optimum.
func (f *model) value(m *mapping, px, py float64, g *[nAll]float64) (lum float64, edge bool) {
	k := f.view(m, px, py)
	cuu, cuv, cvv := f.blur(&k)
	l := f.p.at(k.u+halfModules, k.v+halfModules, cuu, cuv, cvv, f.rule, &f.ax, &f.ay)
	basis := [nL]float64{1, px / f.scale, py / f.scale}
	var white, contrast float64
	for i, b := range basis {
		white += f.x[iWhite+i] * b
		contrast += f.x[iDark+i] * b
	}
	s := f.x[iSpread]
	dark := l.d + s*l.e
	lum = white - contrast*dark
	if g == nil {
		return lum, false
	}
	for i, b := range basis {
		g[iWhite+i] = b
		g[iDark+i] = -b * dark
	}
	if l.dx == 0 && l.dy == 0 && l.e == 0 {
		return lum, false
	}
	du, dv := l.dx+s*l.ex, l.dy+s*l.ey
	gx := contrast * (du*k.uxx + dv*k.vxx) // minus the image gradient
	gy := contrast * (du*k.uxy + dv*k.vxy)
	u, v, w := k.fu/k.w, k.fv/k.w, 1/k.w
	g[0], g[1], g[2] = gx*u, gx*v, gx*w
	g[3], g[4], g[5] = gy*u, gy*v, gy*w
	t := -(gx*px + gy*py)
	g[6], g[7] = t*u, t*v
	// Heat equation: d/dSigma of a Gaussian blur is half its second derivative.
	hx, hy := l.dxx*k.uxx+l.dxy*k.vxx, l.dxy*k.uxx+l.dyy*k.vxx
	g[iBlur] = -contrast * 0.5 * (hx*k.uxx + hy*k.vxx)
	g[iBlur+1] = -contrast * (hx*k.uxy + hy*k.vxy)
	hx, hy = l.dxx*k.uxy+l.dxy*k.vxy, l.dxy*k.uxy+l.dyy*k.vxy
	g[iBlur+2] = -contrast * 0.5 * (hx*k.uxy + hy*k.vxy)
	g[iSpread] = -contrast * l.e
	if f.n == nAll {
		t = gx*k.bx + gy*k.by
		g[iBend], g[iBend+1], g[iBend+2] = 0.5*t*k.u*k.u, t*k.u*k.v, 0.5*t*k.v*k.v
	}
	return lum, true
}

// prepare chooses the quadrature for the present shape: the largest correlation over the symbol's corners decides.
func (f *model) prepare(m *mapping) {
	rho := 0.0
	for _, c := range outline {
		x, y := apply(f.x[:8], c[0], c[1])
		k := f.view(m, x, y)
		cuu, cuv, cvv := f.blur(&k)
		rho = max(rho, math.Abs(cuv)/math.Sqrt(cuu*cvv))
	}
	f.rule = ruleFor(rho)
}
