package job

import (
	"math"
	"slices"
	"testing"

	"fairmetal/mark"
	"fairmetal/surface"
)

// two makes a surface with a long low from two bowls and a high, and its marks as a search would name them.
func two() ([]mark.Mark, *surface.Surface) {
	g := surface.Grid{Cols: 161, Rows: 81, PitchMM: 0.5, X0MM: -40, Y0MM: -20}
	s := surface.New(g)
	for i := range s.Height {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		s.Height[i] = float32(-0.2*math.Exp(-((x+6)*(x+6)+y*y)/18) - 0.1*math.Exp(-((x-6)*(x-6)+y*y)/18))
	}
	box := func(x0, x1, y0, y1 float64) [][2]float64 { return [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}} }
	return []mark.Mark{
		{ID: "M1", Kind: mark.Round, DepthUM: 200, LengthMM: 24, WidthMM: 12, EdgeMM: 40, OutlineMM: box(-12, 12, -6, 6), OutlinePX: box(0, 240, 0, 120)},
		{ID: "M2", Kind: mark.High, XMM: 30, DepthUM: 20, LengthMM: 6, WidthMM: 6, EdgeMM: 30, OutlineMM: box(27, 33, -3, 3), OutlinePX: box(300, 360, 0, 60)},
	}, s
}

func ids(marks []mark.Mark) []string {
	var out []string
	for _, m := range marks {
		out = append(out, m.ID)
	}
	return out
}

func TestSeen(t *testing.T) {
	for _, c := range []struct {
		name string
		eye  []Eye
		want []string
	}{
		{"nothing", nil, []string{"M1", "M2"}},
		{"of another capture", []Eye{{Capture: "other", Do: "ignore", Marks: []string{"M1"}}}, []string{"M1", "M2"}},
		{"ignored", []Eye{{Capture: "c", Do: "ignore", Marks: []string{"M2"}}}, []string{"M1"}},
		{"renamed", []Eye{{Capture: "c", Do: "rename", Marks: []string{"M1"}, Name: "hail"}}, []string{"hail", "M2"}},
		{"a name that is taken", []Eye{{Capture: "c", Do: "rename", Marks: []string{"M1"}, Name: "M2"}}, []string{"M1", "M2"}},
		{"merged", []Eye{{Capture: "c", Do: "merge", Marks: []string{"M1", "M2"}}}, []string{"M1"}},
		{"split", []Eye{{Capture: "c", Do: "split", Marks: []string{"M1"}}}, []string{"M1a", "M1b", "M2"}},
		{"split, then half ignored", []Eye{{Capture: "c", Do: "split", Marks: []string{"M1"}}, {Capture: "c", Do: "ignore", Marks: []string{"M1b"}}}, []string{"M1a", "M2"}},
		{"gone already", []Eye{{Capture: "c", Do: "ignore", Marks: []string{"M2"}}, {Capture: "c", Do: "split", Marks: []string{"M2"}}}, []string{"M1"}},
	} {
		marks, s := two()
		got := Seen(marks, s, "c", c.eye)
		if !slices.Equal(ids(got), c.want) {
			t.Errorf("%s: %v, want %v", c.name, ids(got), c.want)
		}
		if !slices.Equal(ids(marks), []string{"M1", "M2"}) {
			t.Errorf("%s: what was measured became %v", c.name, ids(marks))
		}
	}
	marks, s := two()
	got := Seen(marks, s, "c", []Eye{{Capture: "c", Do: "split", Marks: []string{"M1"}}, {Capture: "c", Do: "edge", Marks: []string{"M1b"}, MM: 4}, {Capture: "c", Do: "rename", Marks: []string{"M1a"}, Kind: "crease"}})
	// The surface's own depths under the two bowls, to the rounding of a tenth.
	if math.Abs(got[0].DepthUM-200) > 0.2 || math.Abs(got[1].DepthUM-100) > 0.2 || got[1].EdgeMM != 4 || got[0].EdgeMM != 40 || got[0].Kind != mark.Crease || marks[0].Kind != mark.Round {
		t.Errorf("%+v", got)
	}
}

func TestEyeCheck(t *testing.T) {
	for _, e := range []Eye{{Do: "paint", Marks: []string{"M1"}}, {Do: "ignore"}, {Do: "merge", Marks: []string{"M1"}}, {Do: "split", Marks: []string{"M1", "M2"}}, {Do: "rename", Marks: []string{"M1"}},
		{Do: "rename", Marks: []string{"M1"}, Kind: "hole"}, {Do: "edge", Marks: []string{"M1"}, MM: -1}} {
		if e.Check() == nil {
			t.Errorf("%+v was taken", e)
		}
	}
	if e := (Eye{Do: "edge", Marks: []string{"M1"}, MM: 5}); e.Check() != nil {
		t.Errorf("%v", e.Check())
	}
}
