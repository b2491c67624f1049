package metal

import (
	"fmt"
	"math"
)

// Crown is the curvature of a form, 1/mm, positive where it stands out: z = -(Kx x^2/2 + Kxy x y + Ky y^2/2).
type Crown struct{ KxPerMM, KyPerMM, KxyPerMM float64 }

// Neighbourhood is a piece of a panel about the places of its marks, held at the panel's support beyond the outermost: who disturbs whom.
type Neighbourhood struct {
	shell  *Shell
	x, y   float64 // of the piece's corner in the frame of the places
	places [][2]float64
}

// maxNeighbours bounds the work: 5 ms a place.
const maxNeighbours = 400

// Neighbourhood prepares a piece of the panel about places (x, y), mm in any frame. The crown stands in place of the panel's own.
func (p Panel) Neighbourhood(places [][2]float64, c Crown) (*Neighbourhood, error) {
	if len(places) == 0 || len(places) > maxNeighbours {
		return nil, fmt.Errorf("%d places are too few or too many to tell who disturbs whom; give 1 to %d", len(places), maxNeighbours)
	}
	low, high := places[0], places[0]
	for _, q := range places {
		for i := range q {
			if math.IsNaN(q[i]) || math.IsInf(q[i], 0) {
				return nil, fmt.Errorf("a place at (%g, %g) mm is none; measure the marks again", q[0], q[1])
			}
			low[i], high[i] = math.Min(low[i], q[i]), math.Max(high[i], q[i])
		}
	}
	a := p.support()
	n := &Neighbourhood{x: low[0] - a, y: low[1] - a}
	spec := ShellSpec{Sheet: p.Sheet, WidthMM: high[0] - low[0] + 2*a, HeightMM: high[1] - low[1] + 2*a, KxPerMM: c.KxPerMM, KyPerMM: c.KyPerMM, KxyPerMM: c.KxyPerMM}
	var err error
	if n.shell, err = NewShell(spec); err != nil {
		return nil, err
	}
	for _, q := range places {
		n.places = append(n.places, [2]float64{q[0] - n.x, q[1] - n.y})
	}
	return n, nil
}

// Influence is the change at place i for each unit of set at place j, [i][j].
func (n *Neighbourhood) Influence() [][]float64 { return n.shell.Influence(n.places) }

// Map is what raising place j by 1 um changes, um, on a grid that begins at (xMM, yMM) in the frame of the places.
func (n *Neighbourhood) Map(j int, xMM, yMM, pitchMM float64, nx, ny int) Map {
	return n.shell.Raise(n.places[j][0], n.places[j][1]).Grid(xMM-n.x, yMM-n.y, pitchMM, nx, ny)
}
