package verdict

import (
	"testing"

	"fairmetal/mark"
	"fairmetal/metal"
)

func judge(t *testing.T, m mark.Mark, f metal.Film, reach func(x, y float64) bool) Verdict {
	t.Helper()
	s, err := metal.Lookup("steel")
	if err != nil {
		t.Fatal(err)
	}
	return Judge(Input{Marks: []mark.Mark{m}, Panel: metal.Panel{Sheet: metal.Sheet{Material: s, ThicknessMM: 0.7}, RadiusMM: 2500}, Film: f, Reach: reach})
}

func TestVerdicts(t *testing.T) {
	sound := mark.Mark{ID: "m", Kind: mark.Round, DepthUM: 300, RadiusMM: 120, StretchPct: 0.05, EdgeMM: 80}
	with := func(f func(m *mark.Mark)) mark.Mark { m := sound; f(&m); return m }
	film := metal.Film{ThicknessUM: 110}
	never := func(x, y float64) bool { return false }
	cases := []struct {
		name  string
		m     mark.Mark
		film  metal.Film
		reach func(x, y float64) bool
		want  Answer
		code  string
	}{
		{"sound", sound, film, nil, Yes, ""},
		{"sharp", with(func(m *mark.Mark) { m.RadiusMM = 14 }), film, nil, Risk, "film-strain"},
		{"folded sheet", with(func(m *mark.Mark) { m.RadiusMM = 4 }), film, nil, No, "film-strain"},
		{"stretched", with(func(m *mark.Mark) { m.StretchPct = 2 }), film, nil, No, "stretched"},
		{"filler", sound, metal.Film{ThicknessUM: 800}, nil, No, "filler"},
		{"repaint", sound, metal.Film{ThicknessUM: 260}, nil, Risk, "repaint"},
		{"no reach, round", sound, film, never, Yes, "access"},
		{"no reach, crease", with(func(m *mark.Mark) { m.Kind = mark.Crease }), film, never, Risk, "access"},
		{"depth unknown", with(func(m *mark.Mark) { m.Folded = true }), film, nil, Risk, "depth-unknown"},
		{"on a line", with(func(m *mark.Mark) { m.Kind = mark.Line }), film, nil, Risk, "feature-line"},
	}
	for _, c := range cases {
		v := judge(t, c.m, c.film, c.reach)
		if v.Answer != c.want {
			t.Errorf("%s: %s, want %s: %+v", c.name, v.Answer, c.want, v)
		}
		found := c.code == ""
		for _, r := range append(v.Reasons, v.Marks[0].Reasons...) {
			if r.Code == c.code {
				found = r.Text != "" && r.Changes != ""
			}
		}
		if !found {
			t.Errorf("%s: no reason %q with words on what would change it: %+v", c.name, c.code, v)
		}
	}
}
