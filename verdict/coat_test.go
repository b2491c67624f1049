package verdict

import (
	"testing"

	"fairmetal/metal"
)

// TestReadings: the thickest place decides, a thin one is told, and the limits are those that the verdict itself uses.
func TestReadings(t *testing.T) {
	for _, c := range []struct {
		um   []float64
		high float64
		want metal.FilmVerdict
		thin bool
	}{
		{nil, 0, metal.FilmUnknown, false},
		{[]float64{0, -3}, 0, metal.FilmUnknown, false},
		{[]float64{112, 98, 0, 121}, 121, metal.FilmFactory, false},
		{[]float64{112, RepaintUM}, RepaintUM, metal.FilmFactory, false},
		{[]float64{112, RepaintUM + 1}, RepaintUM + 1, metal.FilmRepaint, false},
		{[]float64{60, FillerUM}, FillerUM, metal.FilmRepaint, true},
		{[]float64{112, FillerUM + 1}, FillerUM + 1, metal.FilmFiller, false},
	} {
		got := Readings(c.um)
		if got.HighUM != c.high || got.Answer != c.want || got.Thin != c.thin {
			t.Errorf("%v: %+v", c.um, got)
		}
	}
}
