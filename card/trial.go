package card

import (
	"math"

	"fairmetal/photo"
)

var knownModules, isKnown = knownParts()

// onKnown says whether a place lies on a part that is the same on every card, well away from the unknown parts.
func onKnown(u, v float64) bool {
	const away = 0.35 // modules: a blur of half a module leaves a fifth of a neighbour's darkness there
	for _, d := range [4][2]float64{{-away, -away}, {away, -away}, {away, away}, {-away, away}} {
		i, j := int(math.Floor(u+d[0]+halfModules)), int(math.Floor(v+d[1]+halfModules))
		if i >= 0 && j >= 0 && i < Modules && j < Modules && !isKnown[j][i] {
			return false
		}
	}
	return true
}

// Least correlation of the known modules' luminance with what they should be, before and after the fit.
const (
	trialMatch = 0.5
	fitMatch   = 0.75
)

// newTrial fits the known parts, starting from h; nil when they do not look like a symbol. fitted says whether it came to a fit.
func newTrial(img *photo.Image, h [9]float64) (f *model, fitted bool) {
	f = newModel(&knownModules, h, 0.35) // so much blur draws the fit in from two thirds of a module away
	if !f.startLight(img, trialMatch) {
		return nil, false
	}
	s := f.samples(img, 1, onKnown)
	if len(s) < 2*nAll {
		return nil, false
	}
	shape := func(i int) bool { return i < iBlur || i >= iWhite }
	if f.solve(s, shape, 10, 0.05) != nil || !f.startLight(img, fitMatch) {
		return nil, true
	}
	if s = f.samples(img, 1, onKnown); len(s) < 2*nAll {
		return nil, true
	}
	all := func(i int) bool { return i != iSpread }
	if f.solve(s, all, 10, 0.02) != nil {
		return nil, true
	}
	return f, true
}

// startLight sets white and contrast from the known modules' middles; false when light and dark do not stand out as expected.
func (f *model) startLight(img *photo.Image, match float64) bool {
	var n, d, l, dd, ll, dl float64
	for j := range Modules {
		for i := range Modules {
			if !isKnown[j][i] {
				continue
			}
			u, v := middle(i), middle(j)
			if !(f.x[6]*u+f.x[7]*v+1 > horizon) {
				return false
			}
			x, y := apply(f.x[:8], u, v)
			x, y = x+f.ox, y+f.oy
			if !(x >= 0 && y >= 0 && x <= float64(img.W) && y <= float64(img.H)) {
				return false
			}
			lum, dark := bilinear(img, x, y), knownModules[j][i]
			n++
			d, l, dd, ll, dl = d+dark, l+lum, dd+dark*dark, ll+lum*lum, dl+dark*lum
		}
	}
	cdd, cll, cdl := dd-d*d/n, ll-l*l/n, dl-d*l/n
	if !(-cdl/math.Sqrt(cdd*cll) > match) { // also when nothing varies
		return false
	}
	contrast := -cdl / cdd
	for i := range nL {
		f.x[iWhite+i], f.x[iDark+i] = 0, 0
	}
	f.x[iWhite], f.x[iDark] = l/n+contrast*d/n, contrast
	return true
}

// decode reads the symbol, plainly or sharpened, and replaces the known parts by all modules.
func (f *model) decode(img *photo.Image) (letter string, sideMM float64, ok bool) {
	dark := f.darkness(img)
	letter, sideMM, printed, err := read(&dark)
	if err != nil {
		dark = f.sharpen(dark)
		if letter, sideMM, printed, err = read(&dark); err != nil {
			return "", 0, false
		}
	}
	f.p = newPattern(printed)
	return letter, sideMM, true
}
