package verdict

import "fairmetal/metal"

// Limits of paint readings, um. Common practice, no source; those of repaint and filler are package metal's.
const (
	ThinUM    = 70.0  // under it a factory film was polished or sanded down
	RepaintUM = 180.0 // over it the panel was painted again
	FillerUM  = 400.0 // over it there is filler
)

// Coat is what the readings of one panel say together.
type Coat struct {
	Readings int
	LowUM    float64
	HighUM   float64 // the one that counts: film stands less the thicker it is
	Answer   metal.FilmVerdict
	Thin     bool // somewhere less than a factory film
}

// Readings judges paint readings in um, in any order; those of 0 or less were not taken.
func Readings(um []float64) Coat {
	var c Coat
	for _, v := range um {
		if !(v > 0) {
			continue
		}
		if c.Readings == 0 || v < c.LowUM {
			c.LowUM = v
		}
		c.HighUM = max(c.HighUM, v)
		c.Readings++
	}
	c.Answer = metal.Film{ThicknessUM: c.HighUM}.Judge()
	c.Thin = c.Readings > 0 && c.LowUM < ThinUM
	return c
}
