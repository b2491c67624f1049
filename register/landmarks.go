package register

import (
	"math"
	"slices"

	"fairmetal/mark"
)

// Line is a feature line as a landmark: all places with cos(angle) x + sin(angle) y = offset + bend t^2, t along it.
type Line struct {
	AngleDeg, OffsetMM, BendPerMM float64
}

// at returns a place on the line and the unit normal there.
func (l Line) at(t float64) (x, y, nx, ny float64) {
	sin, cos := math.Sincos(l.AngleDeg * math.Pi / 180)
	s := l.OffsetMM + l.BendPerMM*t*t
	d := 2 * l.BendPerMM * t
	n := math.Hypot(1, d)
	return cos*s - sin*t, sin*s + cos*t, (cos + d*sin) / n, (sin - d*cos) / n
}

// off returns the distance of a place from the line.
func (l Line) off(x, y float64) float64 {
	sin, cos := math.Sincos(l.AngleDeg * math.Pi / 180)
	t := -sin*x + cos*y
	return cos*x + sin*y - l.OffsetMM - l.BendPerMM*t*t
}

const (
	maxLandmarks = 24  // the most prominent marks of each side: pairs of pairs grow with the fourth power
	nearMM       = 3.0 // how far a worked mark's lowest place may wander, and still be the same mark
	apartMM      = 15  // marks closer together tell no direction
	markSigmaMM  = 1.0 // of a mark's place after work: its bottom moves by a few per cent of its width (common practice, no source)
	lineSigmaMM  = 0.5 // of a feature line's place and bend, as the calibration reads them
	lineReachMM  = 60  // of a line's ties from its middle
	lineTurnDeg  = 3.0 // lines whose directions differ by more are not the same
)

// landmark is a mark as far as registration needs it.
type landmark struct {
	x, y, size, height float64 // mm; height signed, um
}

func landmarks(marks []mark.Mark) []landmark {
	var l []landmark
	for _, m := range marks {
		h := -m.DepthUM
		if m.Kind == mark.High {
			h = m.DepthUM
		}
		l = append(l, landmark{m.DeepestMM[0], m.DeepestMM[1], math.Sqrt(max(1, m.LengthMM*m.WidthMM)), h})
	}
	slices.SortStableFunc(l, func(a, b landmark) int {
		switch p, q := math.Abs(a.height)*a.size, math.Abs(b.height)*b.size; {
		case p > q:
			return -1
		case p < q:
			return 1
		}
		return 0
	})
	return l[:min(len(l), maxLandmarks)]
}

// alike weighs, 0 to 1, how well two marks could be one before and after work: of about one size, and rather of the same sign.
func alike(a, b landmark) float64 {
	w := math.Exp(-math.Pow(math.Log(a.size/b.size), 2) / (2 * 0.5 * 0.5))
	if a.height*b.height < 0 {
		w *= 0.3
	}
	// Marks that were not worked agree in depth to a few per cent: that is worth as much again.
	q := math.Log(math.Abs(a.height) / math.Abs(b.height))
	return w * (0.5 + 0.5*math.Exp(-q*q/(2*0.1*0.1)))
}

// match pairs landmarks under a move, each once, the best first, and returns the pairs and the sum of their weights.
func match(a, b []landmark, m Move, reach float64) (pairs [][2]int, score float64) {
	type hit struct {
		i, j int
		w    float64
	}
	var hits []hit
	for j, q := range b {
		x, y := m.To(q.x, q.y)
		for i, p := range a {
			if d := math.Hypot(x-p.x, y-p.y); d < reach {
				hits = append(hits, hit{i, j, alike(p, q) * (1 - d*d/(reach*reach))})
			}
		}
	}
	slices.SortStableFunc(hits, func(p, q hit) int {
		switch {
		case p.w > q.w:
			return -1
		case p.w < q.w:
			return 1
		}
		return 0
	})
	usedA, usedB := make([]bool, len(a)), make([]bool, len(b))
	for _, h := range hits {
		if !usedA[h.i] && !usedB[h.j] {
			usedA[h.i], usedB[h.j] = true, true
			pairs = append(pairs, [2]int{h.i, h.j})
			score += h.w
		}
	}
	return pairs, score
}

// candidate is a move worth a closer look.
type candidate struct {
	move  Move
	score float64
}

// byLandmarks lists moves under which two marks of each side meet at once, or one without a turn, the best first, those near a better
// one left out.
func byLandmarks(a, b []landmark) []candidate {
	var all []candidate
	for _, p := range a {
		for _, q := range b {
			m := Move{XMM: p.x - q.x, YMM: p.y - q.y}
			_, s := match(a, b, m, nearMM)
			all = append(all, candidate{m, s})
		}
	}
	for i := range a {
		for k := i + 1; k < len(a); k++ {
			ax, ay := a[k].x-a[i].x, a[k].y-a[i].y
			la := math.Hypot(ax, ay)
			if la < apartMM {
				continue
			}
			for j := range b {
				for l := range b {
					bx, by := b[l].x-b[j].x, b[l].y-b[j].y
					if j == l || math.Abs(math.Hypot(bx, by)-la) > nearMM || alike(a[i], b[j])*alike(a[k], b[l]) < 0.02 {
						continue
					}
					m := Move{TurnDeg: (math.Atan2(ay, ax) - math.Atan2(by, bx)) * 180 / math.Pi}
					m.TurnDeg = math.Remainder(m.TurnDeg, 360)
					x, y := m.To((b[j].x+b[l].x)/2, (b[j].y+b[l].y)/2)
					m.XMM, m.YMM = (a[i].x+a[k].x)/2-x, (a[i].y+a[k].y)/2-y
					_, s := match(a, b, m, nearMM)
					all = append(all, candidate{m, s})
				}
			}
		}
	}
	return distinct(all)
}

// chance is about how many moves bring k of a's marks onto b's by accident, were both strewn over areaMM2. Of a move that was searched two
// pairs are spent on fixing it, where their distances agree; the others must meet on their own (a binomial tail).
func chance(a, b, k int, areaMM2 float64, searched bool) float64 {
	moves, spent := 1.0, 0
	if searched {
		moves, spent = float64(a*(a-1)/2)*float64(b*(b-1))*min(1, 2*nearMM/math.Sqrt(areaMM2)), 2
	}
	if k <= spent || a < k || b < k {
		return math.Inf(1)
	}
	p := min(1, float64(b)*math.Pi*nearMM*nearMM/areaMM2)
	n := a - spent
	tail, term := 0.0, math.Pow(1-p, float64(n))
	for i := 0; i <= n; i++ {
		if i >= k-spent {
			tail += term
		}
		term *= float64(n-i) / float64(i+1) * p / max(1-p, 1e-9)
	}
	return moves * tail
}

// distinct sorts candidates by score and drops those that put places where a better one does.
func distinct(all []candidate) []candidate {
	slices.SortStableFunc(all, func(p, q candidate) int {
		switch {
		case p.score > q.score:
			return -1
		case p.score < q.score:
			return 1
		}
		return 0
	})
	var out []candidate
next:
	for _, c := range all {
		for _, o := range out {
			if apart(c.move, o.move) < 3*nearMM {
				continue next
			}
		}
		if out = append(out, c); len(out) == maxCandidates {
			break
		}
	}
	return out
}

// maxCandidates is how many moves of each kind are looked at closely.
const maxCandidates = 3

// apart is how far two moves put places of a capture apart, mm: rms over a disc of discMM about the origin.
func apart(a, b Move) float64 {
	d := (a.TurnDeg - b.TurnDeg) * math.Pi / 180
	return math.Sqrt((a.XMM-b.XMM)*(a.XMM-b.XMM) + (a.YMM-b.YMM)*(a.YMM-b.YMM) + 2*(1-math.Cos(d))*discMM*discMM)
}

const discMM = 80.0

// ties makes observations of the landmarks that meet under a move.
func ties(a, b Side, la, lb []landmark, m Move) []tie {
	var t []tie
	pairs, _ := match(la, lb, m, 2*nearMM)
	for _, k := range pairs {
		p, q := la[k[0]], lb[k[1]]
		if p.height*q.height < 0 {
			continue // a low that became a high need not have its top where the bottom was
		}
		sigma := max(markSigmaMM, 0.04*min(p.size, q.size))
		for _, n := range [2][2]float64{{1, 0}, {0, 1}} {
			t = append(t, tie{q.x, q.y, p.x, p.y, n[0], n[1], sigma})
		}
	}
	for _, l := range b.Lines {
		for _, k := range a.Lines {
			if d := math.Remainder(l.AngleDeg+m.TurnDeg-k.AngleDeg, 180); math.Abs(d) > lineTurnDeg {
				continue
			}
			for _, s := range []float64{-lineReachMM, lineReachMM} {
				x, y, _, _ := l.at(s)
				px, py := m.To(x, y)
				off := k.off(px, py)
				if math.Abs(off) > 4*nearMM {
					break
				}
				sin, cos := math.Sincos(k.AngleDeg * math.Pi / 180)
				t = append(t, tie{x, y, px - off*cos, py - off*sin, cos, sin, lineSigmaMM})
			}
		}
	}
	return t
}
