package card

import "math"

// lens is what is believed of the camera, px: focal length, what it is in most cameras, and the middle of the picture.
type lens struct{ focal, usual, cx, cy float64 }

// Phones' main cameras have a focal length of 24 to 28 mm on the 43.27 mm diagonal of 35 mm film, other lenses and cropped
// pictures up to some multiple: the logarithm is taken to scatter by usualSpread. Common practice, no source.
const (
	usualFocal  = 26 / 43.27 // of the picture's diagonal
	usualSpread = 0.5
)

func newLens(w, h float64) lens {
	f := usualFocal * math.Hypot(w, h)
	return lens{f, f, w / 2, h / 2}
}

// bend lets the fit follow a card that lies on a curved panel. It returns the logarithm of the focal length that the card's own
// foreshortening tells over that of the lens, drawn to the usual one as far as the card tells little; ok is false when the
// card is seen edge-on.
//
// Over a card, rays are all but parallel. Measured square to them, the card's plane is seen unshortened along one direction
// and shortened by the cosine of its tilt along the other: the singular vectors of the homography's Jacobian. A raised point
// is seen tan(tilt) further along the second.
//
// The nearer side of the card is seen larger: distance along the ray grows by sin(tilt) for each step on the card, and what a
// module measures at that distance gives the focal length.
func (f *model) bend(k lens, prior float64) (logFocal float64, ok bool) {
	x, y := (f.ox+f.x[2]-k.cx)/k.focal, (f.oy+f.x[5]-k.cy)/k.focal // the ray through the symbol's middle
	r, l := math.Hypot(x, y), math.Sqrt(1+x*x+y*y)
	cr, sr := 1.0, 0.0
	if r > 0 {
		cr, sr = x/r, y/r
	}
	// Jacobian at the symbol's middle, px per module, turned so that the first row is radial, then as angles.
	h := &f.x
	a, b := h[0]-h[2]*h[6], h[1]-h[2]*h[7]
	c, d := h[3]-h[5]*h[6], h[4]-h[5]*h[7]
	kr, kt := 1/(k.focal*l*l), 1/(k.focal*l)
	ru, rv := (cr*a+sr*c)*kr, (cr*b+sr*d)*kr
	tu, tv := (cr*c-sr*a)*kt, (cr*d-sr*b)*kt
	// Eigenvalues of J'J and the direction of the smaller one on the card.
	uu, uv, vv := ru*ru+tu*tu, ru*rv+tu*tv, rv*rv+tv*tv
	mean, dev := (uu+vv)/2, math.Hypot((uu-vv)/2, uv)
	small, big := mean-dev, mean+dev
	if !(small > big*minShort*minShort) {
		return 0, false
	}
	angle := 0.5*math.Atan2(2*uv, uu-vv) + math.Pi/2
	eu, ev := math.Cos(angle), math.Sin(angle)
	// Relative growth of the distance along the ray, per module.
	along := func(i int, j float64) float64 { // i: column of H; j: its Jacobian along the ray's direction from the middle
		return (j*r/k.focal + h[6+i]*l*l) / (l * l)
	}
	gu, gv := along(0, cr*a+sr*c), along(1, cr*b+sr*d)
	if eu*gu+ev*gv < 0 { // the side away from the camera's foot is farther
		eu, ev = -eu, -ev
	}
	tan := math.Sqrt((big - small) / small)
	f.eye = [3]float64{eu * tan, ev * tan, math.Sqrt(big * big / small)}
	f.bendPrior = prior
	f.n = nAll

	// Focal length: sin(tilt) / growth is the distance in modules, 1/sqrt(big) is what this lens makes of it.
	grow := math.Hypot(gu, gv)
	sin := math.Sqrt(1 - small/big)
	measured := math.Log(sin / grow * math.Sqrt(big))
	scatter := growErrorPX / (halfModules * halfModules * k.focal * math.Sqrt(big)) / grow
	weight := usualSpread * usualSpread / (usualSpread*usualSpread + scatter*scatter)
	if math.IsNaN(measured) || math.IsInf(measured, 0) {
		return 0, true
	}
	return weight*(math.Log(k.focal/k.usual)+measured) - math.Log(k.focal/k.usual), true
}

// minShort is the shortest foreshortening of a card that can be read, cos 78 degrees.
const minShort = 0.2

// growErrorPX is how well the fit places the corners that tell the perspective, px.
const growErrorPX = 0.03

// settle fits bend and lens in turn until they agree: a secant search, since each round alone closes only a quarter of what
// is left.
func (f *model) settle(s []sample, k lens, prior float64) bool {
	var lastX, lastG float64
	for round := range 6 {
		x := math.Log(k.focal / k.usual)
		if _, ok := f.bend(k, prior); !ok {
			return false
		}
		if f.solve(s, everything, 5, 0.01) != nil {
			return false
		}
		g, _ := f.bend(k, prior)
		if math.Abs(g) < 0.01 {
			break
		}
		step := g
		if round > 0 && (lastG-g)*(x-lastX) > 0 {
			step = g * (x - lastX) / (lastG - g)
		}
		lastX, lastG = x, g
		k.focal = k.usual * math.Exp(min(max(x+min(max(step, -1), 1), -1), 2))
	}
	return true
}
