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

// CapabilityPct is the tensile strain that a film stands at a temperature, per cent, accumulated over all hits: 1 at 10 C, 2 at 20,
// 4 at 35, 6 at 45 to 55; half of it for refinish and aged films, none with filler. Our own proposal from the glass transition of
// clear coats, marked common practice; the tests it would be proved by are ISO 1519 (mandrel) and ISO 6860 (conical mandrel).
func (f Film) CapabilityPct(tempC float64) float64 {
	c := interp(tempC, []float64{0, 10, 20, 35, 45, 55}, []float64{0.5, 1, 2, 4, 6, 6})
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

// Temperatures of the skin, C: warm to stand more bending, and where clear coat, foam and adhesive behind set the limit. Common
// practice, no source.
const (
	WarmFromC = 40.0
	WarmToC   = 55.0
	MaxSkinC  = 80.0
)
