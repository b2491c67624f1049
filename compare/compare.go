// Package compare tells what happened to a panel between two captures: what moved, what is still low, what is now high.
//
// Captures takes both surfaces in the same panel frame, which they share while the scale cards stay where they lay; Panels looks at the
// metal whether they did, and sets it right.
package compare

import (
	"math"
	"slices"

	"fairmetal/mark"
	"fairmetal/register"
	"fairmetal/surface"
)

// State of a mark after a round.
type State string

// States of a mark.
const (
	Gone   State = "fair"
	Better State = "better"
	Same   State = "unchanged"
	Worse  State = "worse"
	Turned State = "over-raised" // it was low, it is high
	New    State = "new"
	Open   State = "not known" // a depth is not known, and the least it can be does not tell
)

// Change is one mark before and after. Depths in um, positive; zero where there is none.
type Change struct {
	Before string  `json:"before"` // its id, "" if it is new
	After  string  `json:"after"`
	XMM    float64 `json:"x_mm"`
	YMM    float64 `json:"y_mm"`
	WasUM  float64 `json:"was_um"` // signed height at its extreme: lows negative
	IsUM   float64 `json:"is_um"`
	// WasLeast and IsLeast tell that the height is the least it can be: part of the mark could not be read.
	WasLeast bool  `json:"was_least,omitempty"`
	IsLeast  bool  `json:"is_least,omitempty"`
	State    State `json:"state"`
}

// Progress is the comparison.
type Progress struct {
	Changes   []Change `json:"changes"`
	CommonCM2 float64  `json:"common_cm2"` // measured in both
	// SoundUM is the rms difference where neither capture has a mark: how far the two can be trusted against each other.
	SoundUM   float64 `json:"sound_rms_um"`
	DeepestUM float64 `json:"deepest_um"` // lowest metal now
	HighestUM float64 `json:"highest_um"` // highest metal now
	// Frames says how the two captures lie against each other, Alignment with figures; of Panels only.
	Frames    string           `json:"frames,omitempty"`
	Alignment *register.Result `json:"alignment,omitempty"`
}

// fairUM is the height below which a mark counts as gone (plan.DefaultFairUM's reason).
const fairUM = 9.0

// Captures compares two measured states.
func Captures(a, b *surface.Surface, before, after []mark.Mark) Progress {
	p := Progress{Changes: []Change{}}
	used := make([]bool, len(after))
	for _, m := range before {
		c := Change{Before: m.ID, XMM: m.XMM, YMM: m.YMM, WasUM: signed(m), WasLeast: m.Folded}
		best, at := math.Inf(1), -1
		for i, n := range after {
			d := math.Hypot(m.DeepestMM[0]-n.DeepestMM[0], m.DeepestMM[1]-n.DeepestMM[1])
			if !used[i] && d < best && d < max(4, 0.35*m.LengthMM) {
				best, at = d, i
			}
		}
		if at >= 0 {
			used[at] = true
			c.After, c.IsUM, c.IsLeast = after[at].ID, signed(after[at]), after[at].Folded
		} else if h := 1000 * b.At(m.DeepestMM[0], m.DeepestMM[1]); !math.IsNaN(h) {
			c.IsUM = h
		} else {
			c.IsLeast = true
		}
		c.State = c.judge()
		p.Changes = append(p.Changes, c)
	}
	for i, n := range after {
		if !used[i] {
			p.Changes = append(p.Changes, Change{After: n.ID, XMM: n.XMM, YMM: n.YMM, IsUM: signed(n), IsLeast: n.Folded, State: New})
		}
	}
	p.surfaces(a, b, slices.Concat(before, after))
	return p
}

func signed(m mark.Mark) float64 {
	if m.Kind == mark.High {
		return m.DepthUM
	}
	return -m.DepthUM
}

// judge is what became of a mark. A height that is the least it can be tells only what a larger one would tell, too.
func (c *Change) judge() State {
	was, is := math.Abs(c.WasUM), math.Abs(c.IsUM)
	switch {
	case !c.IsLeast && is < fairUM:
		return Gone
	case c.WasUM < 0 && c.IsUM > 0:
		return Turned
	case is < 0.9*was:
		if !c.IsLeast {
			return Better
		}
	case is > 1.1*was:
		if !c.WasLeast {
			return Worse
		}
	case !c.WasLeast && !c.IsLeast:
		return Same
	}
	return Open
}

// surfaces fills in the figures of the whole field.
func (p *Progress) surfaces(a, b *surface.Surface, marks []mark.Mark) {
	var n, s2, sn float64
	for i := range b.Height {
		h := float64(b.Height[i])
		if math.IsNaN(h) {
			continue
		}
		p.DeepestUM, p.HighestUM = min(p.DeepestUM, 1000*h), max(p.HighestUM, 1000*h)
		x, y := b.XY(i%b.Cols, i/b.Cols)
		v := a.At(x, y)
		if math.IsNaN(v) {
			continue
		}
		n++
		if i%3 == 0 && !nearMark(marks, x, y) {
			s2 += 1e6 * (h - v) * (h - v)
			sn++
		}
	}
	p.CommonCM2 = math.Round(n * b.PitchMM * b.PitchMM / 100)
	if sn > 0 {
		p.SoundUM = math.Round(100*math.Sqrt(s2/sn)) / 100
	}
	p.DeepestUM, p.HighestUM = math.Round(10*p.DeepestUM)/10, math.Round(10*p.HighestUM)/10
}

// nearMark tells whether a place lies within twice a mark's breadth, where its crown may reach.
func nearMark(marks []mark.Mark, x, y float64) bool {
	for _, m := range marks {
		if math.Hypot(x-m.XMM, y-m.YMM) < max(m.LengthMM, m.WidthMM) {
			return true
		}
	}
	return false
}
