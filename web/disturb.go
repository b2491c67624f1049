package web

import (
	"math"

	"fairmetal/mark"
	"fairmetal/plan"
)

// disturbance is the picture of who disturbs whom: marks where they lie, lines between those that move each other.
type disturbance struct {
	Width, Height float64 // of the drawing, mm
	Marks         []spot
	Lines         []bond
	List          []plan.Influence // what is worth a row
	Groups        [][]string
}

type spot struct {
	ID           string
	X, Y, RX, RY float64
	Turn         float64 // degrees, clockwise
}

type bond struct {
	X1, Y1, X2, Y2, Thick float64
}

// leastMoveUM is what a neighbour must move to be worth a row: the finish that is aimed at is about as fine.
const leastMoveUM = 3.0

// disturb draws the influences of a plan.
func disturb(marks []mark.Mark, p plan.Plan) disturbance {
	d := disturbance{Groups: p.Groups}
	const margin = 25.0
	at := map[string]int{}
	left, top := math.Inf(1), math.Inf(-1)
	right, low := math.Inf(-1), math.Inf(1)
	for _, m := range marks {
		left, right = min(left, m.XMM-m.LengthMM/2), max(right, m.XMM+m.LengthMM/2)
		low, top = min(low, m.YMM-m.LengthMM/2), max(top, m.YMM+m.LengthMM/2)
	}
	for _, m := range marks {
		at[m.ID] = len(d.Marks)
		d.Marks = append(d.Marks, spot{m.ID, m.XMM - left + margin, top - m.YMM + margin, m.LengthMM / 2, m.WidthMM / 2, -m.AngleDeg})
	}
	if len(marks) > 0 {
		d.Width, d.Height = right-left+2*margin, top-low+2*margin
	}
	for _, i := range p.Influences {
		if math.Abs(i.MovesUM) < leastMoveUM {
			continue
		}
		d.List = append(d.List, i)
		a, ok := at[i.From]
		b, also := at[i.To]
		if ok && also {
			d.Lines = append(d.Lines, bond{d.Marks[a].X, d.Marks[a].Y, d.Marks[b].X, d.Marks[b].Y, min(8, 0.5+math.Abs(i.MovesUM)/15)})
		}
	}
	return d
}
