package plan

import (
	"math"
	"testing"

	"fairmetal/fair"
	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/rack"
	"fairmetal/surface"
)

func panel(t *testing.T, radius float64) metal.Panel {
	t.Helper()
	m, err := metal.Lookup("steel")
	if err != nil {
		t.Fatal(err)
	}
	return metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: 0.7}, RadiusMM: radius}
}

type dent struct{ x, y, depthUM, width float64 }

func dented(ds ...dent) (*surface.Surface, []mark.Mark) {
	g := surface.Grid{Cols: 401, Rows: 301, PitchMM: 0.5, X0MM: -100, Y0MM: -75}
	s := surface.New(g)
	for i := range s.Height {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		var z float64
		for _, d := range ds {
			w := d.width / 4.292
			z -= d.depthUM / 1000 * math.Exp(-((x-d.x)*(x-d.x)+(y-d.y)*(y-d.y))/(2*w*w))
		}
		s.Height[i], s.Sigma[i] = float32(z), 0.0005
	}
	return s, mark.Find(s, mark.Options{})
}

func input(s *surface.Surface, m []mark.Mark, p metal.Panel) Input {
	return Input{Surface: s, Marks: m, Panel: p, Film: metal.Film{ThicknessUM: 110}, TempC: 45, Rack: rack.Default(), PanelKind: "door"}
}

// benchOn lays marks on a bench as Make does.
func benchOn(t *testing.T, in Input, marks []mark.Mark) *bench {
	t.Helper()
	in.Limits = fair.DefaultLimits(fair.Black)
	in.FairUM = FairUM(in.Limits)
	f, err := newFields(in.Panel)
	if err != nil {
		t.Fatal(err)
	}
	return newBench(in, marks, f)
}

// TestPlanReachesFair: two dents come to fair, in stages, with numbered hits that lead from one height to the next.
func TestPlanReachesFair(t *testing.T) {
	s, m := dented(dent{-25, 0, 400, 30}, dent{25, 5, 250, 24})
	p, err := Make(input(s, m, panel(t, 2500)))
	if err != nil {
		t.Fatal(err)
	}
	if !p.Forecast.Fair || p.Forecast.Hits == 0 || len(p.Rounds) < 3 {
		t.Fatalf("forecast %+v in %d rounds", p.Forecast, len(p.Rounds))
	}
	if p.Forecast.HitsLow > p.Forecast.Hits || p.Forecast.HitsHigh < p.Forecast.Hits {
		t.Errorf("range %d to %d does not hold %d", p.Forecast.HitsLow, p.Forecast.HitsHigh, p.Forecast.Hits)
	}
	n := 0
	last := Raise
	for _, r := range p.Rounds {
		if last == Finish && r.Stage != Finish || last == Level && r.Stage == Raise {
			t.Errorf("stage %s after %s", r.Stage, last)
		}
		last = r.Stage
		for _, h := range r.Hits {
			n++
			if h.N != n {
				t.Fatalf("hit %d is numbered %d", n, h.N)
			}
			if h.Tool == "" || h.ForceN == 0 || math.Abs(h.FromUM+h.SetUM-h.ToUM) > 1.5 {
				t.Errorf("hit %+v", h)
			}
			if h.Method != "tap" && h.SetUM < 0 || h.Method == "tap" && h.SetUM > 0 {
				t.Errorf("a %s of %+.0f um", h.Method, h.SetUM)
			}
		}
	}
}

// TestOrderMattersWhereMarksInteract: on a flat door neighbours 45 mm apart disturb each other, and raising all part-way is
// forecast cheaper than finishing one after another; far apart on a crown no such claim is made.
func TestOrderMattersWhereMarksInteract(t *testing.T) {
	s, m := dented(dent{-45, 0, 380, 28}, dent{0, 0, 420, 28}, dent{45, 0, 350, 28})
	p, err := Make(input(s, m, panel(t, 0)))
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Groups) != 1 {
		t.Errorf("groups %v, want one", p.Groups)
	}
	if p.Orders[0].Hits >= p.Orders[1].Hits {
		t.Errorf("in stages %d hits, one after another %d", p.Orders[0].Hits, p.Orders[1].Hits)
	}
	s, m = dented(dent{-80, 50, 100, 16}, dent{80, -50, 100, 16})
	p, err = Make(input(s, m, panel(t, 900)))
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Groups) != 2 || p.Orders[1].Note != "the marks do not disturb each other: the order hardly matters" {
		t.Errorf("groups %v, note %q", p.Groups, p.Orders[1].Note)
	}
}

// TestPullWithoutReach: what cannot be reached from behind is pulled.
func TestPullWithoutReach(t *testing.T) {
	s, m := dented(dent{0, 0, 300, 30})
	in := input(s, m, panel(t, 2000))
	in.TempC = 20
	in.Reach = func(x, y float64) bool { return false }
	p, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range p.Rounds {
		for _, h := range r.Hits {
			if h.Method == "push" {
				t.Fatalf("a push where nothing reaches: %+v", h)
			}
		}
	}
}

func TestNothingToDo(t *testing.T) {
	s, m := dented()
	p, err := Make(input(s, m, panel(t, 2000)))
	if err != nil || p.Forecast.Hits != 0 || !p.Forecast.Fair {
		t.Errorf("%+v, %v", p.Forecast, err)
	}
	if _, err := Make(Input{}); err == nil {
		t.Error("a plan without a surface")
	}
}

// TestUnknownDepthIsNotFair: a mark whose depth is not known is not planned for, so the panel is not forecast fair, alone or beside another.
func TestUnknownDepthIsNotFair(t *testing.T) {
	s, m := dented(dent{-40, 0, 150, 24}, dent{40, 0, 150, 24})
	for k := range m {
		m[k].Folded = true
		p, err := Make(input(s, m, panel(t, 2000)))
		if err != nil || len(p.Skipped) != k+1 || p.Forecast.Fair {
			t.Errorf("%d folded: skipped %v, fair %v, %v", k+1, p.Skipped, p.Forecast.Fair, err)
		}
	}
}

// BenchmarkTwentyMarks plans a hail panel, and one that is held all round near its marks.
func BenchmarkTwentyMarks(b *testing.B) {
	var ds []dent
	for i := range 20 {
		ds = append(ds, dent{-80 + 40*float64(i%5), -54 + 36*float64(i/5), 80 + 13*float64(i), 10 + float64(i%7)})
	}
	s, m := dented(ds...)
	mt, _ := metal.Lookup("steel")
	in := input(s, m, metal.Panel{Sheet: metal.Sheet{Material: mt, ThicknessMM: 0.7}, RadiusMM: 4000})
	for name, frame := range map[string]*rack.Line{"amid": nil, "held": {X0MM: -120, Y0MM: -95, X1MM: 180, Y1MM: 155}} {
		in.Access.Frame = frame
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Make(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
