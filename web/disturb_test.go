package web

import (
	"testing"

	"fairmetal/mark"
	"fairmetal/plan"
)

func TestDisturb(t *testing.T) {
	marks := []mark.Mark{{ID: "m01", XMM: -40, YMM: 10, LengthMM: 30, WidthMM: 20, AngleDeg: 30}, {ID: "m02", XMM: 40, YMM: -20, LengthMM: 20, WidthMM: 20}}
	d := disturb(marks, plan.Plan{Influences: []plan.Influence{{From: "m01", To: "m02", Percent: 18, MovesUM: 90}, {From: "m02", To: "m01", Percent: 1, MovesUM: 2}, {From: "m02", To: "gone", Percent: 50, MovesUM: 50}}})
	// From the left end of m01 to the right end of m02, 25 mm more on each side; up is up.
	if d.Width != 155 || d.Height != 105 || d.Marks[0] != (spot{"m01", 40, 40, 15, 10, -30}) || d.Marks[1].X != 120 || d.Marks[1].Y != 70 {
		t.Errorf("%+v", d)
	}
	if len(d.List) != 2 || len(d.Lines) != 1 || d.Lines[0] != (bond{40, 40, 120, 70, 6.5}) {
		t.Errorf("%+v, %+v", d.List, d.Lines)
	}
	if e := disturb(nil, plan.Plan{}); e.Width != 0 || len(e.List) != 0 {
		t.Errorf("of no marks: %+v", e)
	}
}
