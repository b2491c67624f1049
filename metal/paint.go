package metal

// Film is the paint on the panel.
type Film struct {
	ThicknessUM float64 // of all coats; 0: not measured
	Refinish    bool    // painted again after the factory
	Aged        bool
}

// FilmVerdict is what a thickness reading says.
type FilmVerdict string

// What readings say; bounds are common practice, no source for the exact numbers.
const (
	FilmUnknown FilmVerdict = "not measured"
	FilmFactory FilmVerdict = "factory film"
	FilmRepaint FilmVerdict = "painted again"
	FilmFiller  FilmVerdict = "filler"
)

// Judge reads a film thickness: 80 to 180 um as it left the factory, to 400 painted again, more is filler.
func (f Film) Judge() FilmVerdict {
	switch {
	case f.ThicknessUM <= 0 && !f.Refinish:
		return FilmUnknown
	case f.ThicknessUM > 400:
		return FilmFiller
	case f.ThicknessUM > 180 || f.Refinish:
		return FilmRepaint
	}
	return FilmFactory
}

// um is the film's thickness; a factory film where it was not measured.
func (f Film) um() float64 {
	if f.ThicknessUM <= 0 {
		return usualFilmUM
	}
	return f.ThicknessUM
}

// usualFilmUM: coats of 20 (bath), 35, 15 and 42 um (common practice: 90 to 150 in all).
const usualFilmUM = 112

// CapabilityPct is the tensile strain that a film stands at a temperature, per cent, accumulated over all hits: 1 at 10 C, 2 at 20,
// 4 at 35, 6 at 45 to 55; half of it for refinish and aged films, none with filler. Our own proposal from the glass transition of
// clear coats, marked common practice; the tests it would be proved by are ISO 1519 (mandrel) and ISO 6860 (conical mandrel), see
// MandrelStrainPct.
func (f Film) CapabilityPct(tempC float64) float64 {
	c := interp(tempC, capabilityC, capabilityPct)
	if tempC > 55 {
		c = 6
	}
	switch f.Judge() {
	case FilmFiller:
		return 0
	case FilmRepaint:
		c /= 2
	}
	if f.Aged {
		c /= 2
	}
	return c
}

var (
	capabilityC   = []float64{0, 10, 20, 35, 45, 55}
	capabilityPct = []float64{0.5, 1, 2, 4, 6, 6}
)

// MandrelStrainPct is the strain at the outside of a film of filmUM on a sheet bent around a mandrel, per cent: (t/2 + f)/(d/2 + t/2) by
// geometry. [ISO1519] bends around cylinders (type 1 for sheets to 0.3 mm, type 2 to 1 mm), [ISO6860] around a cone whose radius at
// the end of the crack is read; both from memory. The largest strain without a crack is the film's capability at the test's temperature and slow
// bending. [ASTMD522] gives higher numbers (3.3 % at 25 mm, 14 % at 6.4 mm for 25 um on 0.8 mm steel): we take the smaller.
func MandrelStrainPct(diameterMM, sheetMM, filmUM float64) float64 {
	return 100 * (sheetMM + 2*filmUM/1000) / (diameterMM + sheetMM)
}

// FilmStrainPct is the largest strain of the film at a hit, per cent: what the face of the metal takes (StrainPct), and its bending part - at
// most wrapping the tip, t/(2 R + t) - once more for the film's own thickness, (t/2 + f)/(t/2).
func (p Panel) FilmStrainPct(setUM float64, tip Tip, f Film) float64 {
	e := p.StrainPct(setUM, tip)
	bend := e
	if tip.RadiusMM > 0 {
		bend = min(e, 100*p.ThicknessMM/(2*tip.RadiusMM+p.ThicknessMM))
	}
	return e + bend*2*f.um()/1000/p.ThicknessMM
}

// Temperatures of the skin, C: warm to stand more bending, and where clear coat, foam and adhesive behind set the limit. Common
// practice, no source.
const (
	WarmFromC = 40.0
	WarmToC   = 55.0
	MaxSkinC  = 80.0
)
