package mark

import (
	"math"

	"fairmetal/surface"
)

// onLine is the feature line on which more than a share of the cells lie; nil: none.
func (f *finder) onLine(cells []int, share float64) surface.Across {
	for _, l := range f.opt.Lines {
		n := 0
		for _, i := range cells {
			if d, _ := l(f.s.XY(i%f.s.Cols, i/f.s.Cols)); math.Abs(d) < BeltMM {
				n++
			}
		}
		if float64(n) > share*float64(len(cells)) {
			return l
		}
	}
	return nil
}

// ofLine tells whether what stands out is of a feature line's own: all on it, and a speck or a thin strip along it. There the stripes run too densely to be read
// surely by themselves.
func (f *finder) ofLine(m *Mark) bool {
	var cells []int
	m.Cells(f.s.Grid, 1, 0, func(i int) { cells = append(cells, i) })
	line := f.onLine(cells, mostOnLine)
	if line == nil {
		return false
	}
	sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
	a, _ := line(m.XMM+cos*m.LengthMM/2, m.YMM+sin*m.LengthMM/2)
	b, _ := line(m.XMM-cos*m.LengthMM/2, m.YMM-sin*m.LengthMM/2)
	along := math.Abs(a-b) < alongLine*m.LengthMM
	return m.LengthMM < thinMM || m.WidthMM < speckMM || m.WidthMM < thinMM && along && m.LengthMM > stripRatio*m.WidthMM
}

// BeltMM is how far to either side of a feature line stripes may be lost or slip.
const BeltMM = 8.0

const (
	mostOnLine = 0.8 // of a mark's cells
	thinMM     = 7.0
	speckMM    = 3.5 // no mark is as narrow
	stripRatio = 1.5
	alongLine  = 0.64 // the sine of 40 degrees
)
