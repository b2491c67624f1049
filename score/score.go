// Package score compares a measured result with a scene's truth, for tests and for the score table. It is the only package
// besides tests that reads truth.
package score

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"slices"

	"fairmetal/mark"
	"fairmetal/surface"
)

// Truth is what a scene's truth folder holds (format: docs/capture.md).
type Truth struct {
	Height *surface.Surface // mm; Sigma unused
	Marks  []TrueMark
}

// TrueMark is one mark of truth.json.
type TrueMark struct {
	ID        string     `json:"id"`
	Kind      mark.Kind  `json:"kind"`
	XMM       float64    `json:"x_mm"`
	YMM       float64    `json:"y_mm"`
	LengthMM  float64    `json:"length_mm"`
	WidthMM   float64    `json:"width_mm"`
	DepthUM   float64    `json:"depth_um"`
	CrownUM   float64    `json:"crown_um"`
	DeepestMM [2]float64 `json:"deepest_mm"`
	SeesBoard *float64   `json:"sees_board"`
	LeastPace *float64   `json:"least_pace"`
}

// Seen is the share of the mark that mirrors the board; 1 where truth does not say.
func (m TrueMark) Seen() float64 {
	if m.SeesBoard == nil {
		return 1
	}
	return *m.SeesBoard
}

// Folds tells whether the reflection folds in the mark or its rim; false where truth does not say.
func (m TrueMark) Folds() bool { return m.LeastPace != nil && *m.LeastPace < 0 }

// ReadTruth reads truth/truth.json and truth/height.f32 of a scene.
func ReadTruth(scene fs.FS) (*Truth, error) {
	data, err := fs.ReadFile(scene, "truth/truth.json")
	if err != nil {
		return nil, err
	}
	var j struct {
		Grid  surface.Grid `json:"grid"`
		Marks []TrueMark   `json:"marks"`
	}
	if err := json.Unmarshal(data, &j); err != nil {
		return nil, fmt.Errorf("truth.json: %w", err)
	}
	raw, err := fs.ReadFile(scene, "truth/height.f32")
	if err != nil {
		return nil, err
	}
	if j.Grid.Cols <= 0 || j.Grid.Rows <= 0 || len(raw) != 4*j.Grid.Len() {
		return nil, fmt.Errorf("height.f32 holds %d bytes, the grid asks for %d", len(raw), 4*j.Grid.Len())
	}
	t := &Truth{Height: surface.New(j.Grid), Marks: j.Marks}
	for i := range t.Height.Height {
		t.Height.Height[i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
	}
	return t, nil
}

// Report holds the figures of one scene.
type Report struct {
	RMSUM, UndamagedRMSUM float64 // error of the height, um
	Within2Sigma          float64 // share of cells
	CoveredMarks          float64 // share of the marked area with a value
	Pairs                 []Pair
	Missed                []TrueMark // 15 um or more and 6 mm or wider, not found
	MissedSmall           []TrueMark
	False                 []mark.Mark
}

// Pair is a true mark and the measured one matched to it.
type Pair struct {
	True  TrueMark
	Found mark.Mark
}

// DepthError is the relative error of depth.
func (p Pair) DepthError() float64 { return p.Found.DepthUM/p.True.DepthUM - 1 }

// PlaceError is the distance of the middles, mm.
func (p Pair) PlaceError() float64 {
	return math.Hypot(p.Found.XMM-p.True.XMM, p.Found.YMM-p.True.YMM)
}

// Compare scores a measured surface and its marks.
func Compare(t *Truth, s *surface.Surface, marks []mark.Mark) Report {
	var r Report
	var e2, n, u2, un, in, inN float64
	for i, h := range t.Height.Height {
		x, y := t.Height.XY(i%t.Height.Cols, i/t.Height.Cols)
		v := s.At(x, y)
		if math.IsNaN(v) {
			continue
		}
		d := 1000 * (v - float64(h))
		e2 += d * d
		n++
		if math.Abs(float64(h)) < 1e-3 {
			u2 += d * d
			un++
		}
		if sg := sigmaAt(s, x, y); !math.IsNaN(sg) {
			inN++
			if math.Abs(d) <= 2000*sg {
				in++
			}
		}
	}
	r.RMSUM, r.UndamagedRMSUM, r.Within2Sigma = math.Sqrt(e2/n), math.Sqrt(u2/un), in/inN
	r.CoveredMarks = covered(t, s)
	r.match(t, marks)
	return r
}

// Repeat is how far two measurements of one panel, from other places of camera and board, agree.
type Repeat struct {
	RMSUM    float64 // of the difference on metal that both truths call undamaged, um
	CM2      float64 // of such metal
	Marks    int     // that are the same in both truths and found in both
	DepthPct float64 // largest difference of their depths, per cent
}

// Again compares two measurements; ok is false where they share no undamaged metal.
func Again(a, b *Truth, sa, sb *surface.Surface, pa, pb []Pair) (r Repeat, ok bool) {
	var d2, n float64
	for i, h := range a.Height.Height {
		x, y := a.Height.XY(i%a.Height.Cols, i/a.Height.Cols)
		d := 1000 * (sa.At(x, y) - sb.At(x, y))
		if o := b.Height.At(x, y); math.Abs(float64(h)) < 1e-3 && math.Abs(o) < 1e-3 && !math.IsNaN(d) {
			d2, n = d2+d*d, n+1
		}
	}
	for _, p := range pa {
		for _, q := range pb {
			if p.True.Kind == q.True.Kind && math.Hypot(p.True.XMM-q.True.XMM, p.True.YMM-q.True.YMM) < 0.1 && math.Abs(p.True.DepthUM/q.True.DepthUM-1) < 5e-3 {
				r.Marks++
				r.DepthPct = max(r.DepthPct, 100*math.Abs(p.Found.DepthUM/q.Found.DepthUM-1))
			}
		}
	}
	r.RMSUM, r.CM2 = math.Sqrt(d2/n), n*a.Height.PitchMM*a.Height.PitchMM/100
	return r, n > 0
}

// covered is the share of cells inside the true marks' ellipses that got a value.
func covered(t *Truth, s *surface.Surface) float64 {
	var got, all float64
	for _, m := range t.Marks {
		if m.Seen() < 0.99 {
			continue
		}
		for dy := -m.LengthMM / 2; dy <= m.LengthMM/2; dy += 0.5 {
			for dx := -m.LengthMM / 2; dx <= m.LengthMM/2; dx += 0.5 {
				if math.Hypot(dx, dy) > m.WidthMM/2 {
					continue
				}
				all++
				if !math.IsNaN(s.At(m.XMM+dx, m.YMM+dy)) {
					got++
				}
			}
		}
	}
	if all == 0 {
		return 1
	}
	return got / all
}

func sigmaAt(s *surface.Surface, x, y float64) float64 {
	c, r := s.Cell(x, y)
	i, j := int(math.Round(c)), int(math.Round(r))
	if i < 0 || j < 0 || i >= s.Cols || j >= s.Rows {
		return math.NaN()
	}
	return float64(s.Sigma[j*s.Cols+i])
}

// match pairs true and found marks of the same sense, nearest first, within half the true mark's length (3 mm at least).
func (r *Report) match(t *Truth, marks []mark.Mark) {
	type cand struct {
		i, j int
		d    float64
	}
	var cs []cand
	for i, a := range t.Marks {
		for j, b := range marks {
			if (a.Kind == mark.High) != (b.Kind == mark.High) {
				continue
			}
			d := min(math.Hypot(a.XMM-b.XMM, a.YMM-b.YMM), math.Hypot(a.DeepestMM[0]-b.DeepestMM[0], a.DeepestMM[1]-b.DeepestMM[1]))
			if d < max(3, a.LengthMM/2) {
				cs = append(cs, cand{i, j, d})
			}
		}
	}
	slices.SortFunc(cs, func(a, b cand) int {
		if a.d < b.d {
			return -1
		}
		return 1
	})
	usedT, usedF := map[int]bool{}, map[int]bool{}
	for _, c := range cs {
		if !usedT[c.i] && !usedF[c.j] {
			usedT[c.i], usedF[c.j] = true, true
			r.Pairs = append(r.Pairs, Pair{t.Marks[c.i], marks[c.j]})
		}
	}
	for i, m := range t.Marks {
		switch {
		case usedT[i]:
		case m.DepthUM >= 15 && m.WidthMM >= 6 && m.Seen() > 0.5:
			r.Missed = append(r.Missed, m)
		default:
			r.MissedSmall = append(r.MissedSmall, m)
		}
	}
	for j, m := range marks {
		if !usedF[j] {
			r.False = append(r.False, m)
		}
	}
}
