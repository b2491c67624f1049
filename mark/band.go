package mark

import (
	"math"

	"fairmetal/surface"
)

// Slopes that scatter add up to waves the longer the higher: in the height map of a noisy single photo they hide marks that are plain to see once the long ones
// are taken off. So a small mark may also stand out in its own band.
const (
	bandMM = 2.6 // standard deviation of the Gaussian that passes marks of 6 mm and wider
	// inBandTimes as much as of the height is asked in the band: over eighty rendered panels one place that was no mark, and not dropped for another cause, stood 7.1
	// times the spread out.
	inBandTimes = 1.07
	plainUnrest = 1.6 // times the map's, which marks and chance bring a tile to
	bandRatio   = 2.5 // times that is the one that takes off what is longer: a mark of 15 mm keeps two fifths of its depth
)

// passBand takes the heights in the band of small marks.
func (f *finder) passBand() {
	f.band = surface.Gauss(f.s.Grid, f.um, bandMM)
	for i, v := range surface.Gauss(f.s.Grid, f.um, bandRatio*bandMM) {
		f.band[i] -= v
	}
	f.calm = spread(f.band) / f.noise
}

// inBand notes the cells by which a small mark stands out in its band.
func (f *finder) inBand() {
	g, band := f.s.Grid, f.band
	told := make([]bool, len(band))
	f.byTile(func(i int) float64 { return math.Abs(float64(band[i])) }, func(i int, more float64) {
		if more < plainUnrest {
			more = 1
		}
		told[i] = f.edge[i] > bandMM && math.Abs(float64(band[i])) > f.calm*max(inBandTimes*f.chance(i)*more*proof(f.open[i], 2*bandMM), f.doubt(i))
	})
	// Noise moves the extreme of the height off that of the band.
	f.small = make([]int8, len(band))
	n := int(bandMM / g.PitchMM)
	for i, is := range told {
		if !is {
			continue
		}
		sign := int8(1)
		if band[i] < 0 {
			sign = -1
		}
		c, r := i%g.Cols, i/g.Cols
		for dr := max(-n, -r); dr <= min(n, g.Rows-1-r); dr++ {
			for dc := max(-n, -c); dc <= min(n, g.Cols-1-c); dc++ {
				f.small[i+dr*g.Cols+dc] = sign
			}
		}
	}
}

// share of what noise may come to is asked of a mark: all of it, or what is left of it in the band of small marks where one stands out there, and not by
// the rim of a hole: what was misread ends there.
func (f *finder) share(i int) float64 {
	if f.small == nil || f.edge[i] < bandMM || float32(f.small[i])*f.smooth[i] <= 0 {
		return 1
	}
	return f.calm
}

// chance is what noise may come to at a cell, um.
func (f *finder) chance(i int) float64 {
	return noiseRatio * max(f.noise, float64(f.restless[i]))
}

// doubt is the same by the uncertainty of the cell.
func (f *finder) doubt(i int) float64 {
	if s := 1000 * float64(f.s.Sigma[i]); s == s {
		return sigmaRatio * s
	}
	return 0
}

// dropRestless drops marks that are of a feature line's own, or stand out of the metal around them neither as far as a mark must stand out of the whole panel nor in
// their band: far out, where stripes are few pixels wide, single photos are restless.
func (f *finder) dropRestless(found []*region, marks []Mark) []Mark {
	var out []Mark
	for k, m := range marks {
		if f.ofLine(&m) {
			continue
		}
		if f.share(found[k].at) == 1 {
			if here := f.spreadAround(&m); here > restlessTimes*f.noise && m.DepthUM < noiseRatio*here {
				continue
			}
		}
		out = append(out, m)
	}
	return out
}

// spreadAround is the spread of the smoothed map in a ring around a mark; 0 where too little of it is known.
func (f *finder) spreadAround(m *Mark) float64 {
	var around []float32
	far := m.LengthMM/2 + ringMM
	step := max(1, int(1/f.s.PitchMM))
	c0, r0 := f.s.Cell(m.XMM-far, m.YMM-far)
	c1, r1 := f.s.Cell(m.XMM+far, m.YMM+far)
	for r := max(0, int(r0)) / step * step; r < min(f.s.Rows, int(r1)+1); r += step {
		for c := max(0, int(c0)) / step * step; c < min(f.s.Cols, int(c1)+1); c += step {
			x, y := f.s.XY(c, r)
			if h := f.smooth[r*f.s.Cols+c]; h == h {
				if d := math.Hypot(x-m.XMM, y-m.YMM); d > 0.75*m.LengthMM && d < far {
					around = append(around, h)
				}
			}
		}
	}
	if len(around) < leastRing {
		return 0
	}
	return spread(around)
}

const (
	ringMM    = 40.0
	leastRing = 200
	// restlessTimes the usual spread makes metal restless, as beside a feature line.
	restlessTimes = 1.5
)
