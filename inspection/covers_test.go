package inspection

import (
	"math"
	"testing"

	"fairmetal/scene"
)

// covered is bowls with a hole, a moulding and a badge on the metal, and a lamp beside the board that glares in it.
func covered() scene.Spec {
	s := bowls()
	s.Panel.Covers = []scene.Cover{
		{XMM: 4, YMM: -34, LengthMM: 11, WidthMM: 11, Round: true},
		{XMM: 10, YMM: 58, LengthMM: 400, WidthMM: 9, AngleDeg: 2, Albedo: 0.03},
		{XMM: -46, YMM: -32, LengthMM: 34, WidthMM: 16, AngleDeg: -20, Albedo: 0.5},
	}
	s.Board.Lamps = []scene.Lamp{{UMM: 300, VMM: -180, WidthMM: 120, HeightMM: 90, Level: 12}}
	s.Board.WidthMM, s.Board.HeightMM = 520, 420
	return s
}

// TestCovered: holes, trim, badges and glare are no marks, leave those beside them as they are, and are told for what they are.
func TestCovered(t *testing.T) {
	s := covered()
	r := measured(t, s)
	for _, want := range s.Panel.Marks {
		found := false
		for _, m := range r.Marks {
			found = found || math.Hypot(m.XMM-want.XMM, m.YMM-want.YMM) < 1 && math.Abs(m.DepthUM/want.DepthUM-1) < 0.03
		}
		if !found {
			t.Errorf("mark %s is not among %+v", want.ID, r.Marks)
		}
	}
	for i, c := range s.Panel.Covers {
		told := false
		for _, a := range r.Areas {
			told = told || a.Kind == "covered" && math.Abs(a.XMM-c.XMM) < (a.WidthMM+c.LengthMM)/2 && math.Abs(a.YMM-c.YMM) < 8
		}
		if !told {
			t.Errorf("cover %d is not told: %+v", i, r.Areas)
		}
	}
	if len(r.Areas) != len(s.Panel.Covers) || len(r.Notices) != 0 {
		t.Errorf("areas %+v, notices %v", r.Areas, r.Notices)
	}
}
