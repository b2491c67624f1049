package card

import "math"

func everywhere(u, v float64) bool { return true }
func everything(i int) bool        { return true }

// card fits all modules, first where the card was found, then on the photo's own pixels.
func (f *model) card(p *pyramid, level int, letter string, sideMM float64) (c Card, ok bool) {
	img := p.level(level)
	s := f.samples(img, 1, everywhere)
	if len(s) < 2*nAll {
		return c, false
	}
	f.liftWhite(s)
	if f.solve(s, everything, 12, 0.02) != nil {
		return c, false
	}
	if !f.settle(s, newLens(float64(img.W), float64(img.H)), sideMM/Modules/bendRadiusMM) {
		return c, false
	}
	for fine := level; fine > 0 && f.areaPX()*4 < fitPX; fine-- {
		f.enlarge()
		level = fine - 1
	}
	img = p.level(level)
	// A first look at few pixels settles the blur, which halving has hidden, and so which pixels are near an edge.
	step := 1 + int(f.areaPX()/lookPX)
	if s = f.samples(img, step, everywhere); len(s) < 2*nAll || f.solve(s, everything, 4, 0.01) != nil {
		return c, false
	}
	if step > 1 {
		s = f.samples(img, 1, everywhere)
	}
	f.liftWhite(s)
	if f.solve(s, everything, 8, 0.02) != nil {
		return c, false
	}
	for range 2 {
		f.weigh(s)
		if f.solve(s, everything, 8, 0.005) != nil {
			return c, false
		}
	}
	sigma, ok := f.uncertainty(s)
	if !ok {
		return c, false
	}
	return f.result(float64(int(1)<<level), letter, sideMM, sigma), true
}

// liftWhite starts the paper's white above the sensor's where much of the plain paper is cut off there. Its true white then
// shows in the slope of the edges alone, and a fit that starts below settles below: clipped paper fits a white of 1 so well.
func (f *model) liftWhite(s []sample) {
	plain, clipped := 0, 0
	for i := range s {
		if s[i].n > 1 { // away from edges; two thirds of these are paper
			plain++
			if s[i].v >= nearWhite {
				clipped++
			}
		}
	}
	const start = 1.1
	if lift := start - f.x[iWhite]; lift > 0 && 4*clipped > plain {
		f.x[iWhite] += lift
		f.x[iDark] += lift
	}
}

// enlarge turns the model into that of the picture of twice the size.
func (f *model) enlarge() {
	f.ox, f.oy, f.scale = 2*f.ox, 2*f.oy, 2*f.scale
	for i := range 6 {
		f.x[i] *= 2
	}
	for i := iBlur; i < iSpread; i++ {
		f.x[i] *= 4
	}
}

// result turns the fit into a card of the photo, of which the fitted picture is 1/scale.
func (f *model) result(scale float64, letter string, sideMM, sigma float64) Card {
	h := f.homography()
	k := Modules / sideMM // modules per mm; the card's y runs up, the symbol's v down
	c := Card{Letter: letter, SideMM: sideMM, SigmaPX: sigma * scale}
	for i := range c.BlurPX2 {
		c.BlurPX2[i] = scale * scale * f.x[iBlur+i]
	}
	c.H = [9]float64{
		scale * h[0] * k, -scale * h[1] * k, scale * h[2],
		scale * h[3] * k, -scale * h[4] * k, scale * h[5],
		h[6] * k, -h[7] * k, 1,
	}
	q := c.Corners()
	side := func(i int) float64 { return math.Hypot(q[i][0]-q[(i+1)%4][0], q[i][1]-q[(i+1)%4][1]) }
	c.ModulePX = min(side(0)+side(2), side(1)+side(3)) / 2 / Modules
	return c
}
