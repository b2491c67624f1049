// Package laid makes cards for tests: what a finder would return of a card that lies somewhere and is seen through some lens.
package laid

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"fairmetal/card"
)

// Card is a card of 40 mm at centre with its axes right and up (unit), projected to px by a camera that may bend straight lines: the
// homography carries the symbol's corners to where they are seen.
func Card(project func(p r3.Vec) (px, py, depth float64), letter string, centre, right, up r3.Vec) (card.Card, error) {
	m, b := mat.NewDense(8, 8, nil), mat.NewVecDense(8, nil)
	for i, q := range [4][2]float64{{-20, 20}, {20, 20}, {20, -20}, {-20, -20}} {
		u, v, _ := project(r3.Add(centre, r3.Add(r3.Scale(q[0], right), r3.Scale(q[1], up))))
		m.SetRow(2*i, []float64{q[0], q[1], 1, 0, 0, 0, -u * q[0], -u * q[1]})
		m.SetRow(2*i+1, []float64{0, 0, 0, q[0], q[1], 1, -v * q[0], -v * q[1]})
		b.SetVec(2*i, u)
		b.SetVec(2*i+1, v)
	}
	var h mat.VecDense
	if err := h.SolveVec(m, b); err != nil {
		return card.Card{}, err
	}
	k := card.Card{Letter: letter, SideMM: 40}
	copy(k.H[:], h.RawVector().Data)
	k.H[8] = 1
	return k, nil
}
