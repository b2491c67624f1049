package job

import (
	"fmt"
	"slices"

	"fairmetal/mark"
	"fairmetal/surface"
)

// EyeDoes are the corrections by hand.
var EyeDoes = []string{"ignore", "rename", "merge", "split", "edge"}

// Says is what became of the marks.
func (e Eye) Says() string {
	return map[string]string{"ignore": "left out", "rename": "named anew", "merge": "joined", "split": "cut across", "edge": "an edge is near,"}[e.Do]
}

// Check says what a correction lacks.
func (e *Eye) Check() error {
	if err := tidy([]limit{{"name", &e.Name, 12, false}, {"reason", &e.Why, 200, false}}); err != nil {
		return err
	}
	switch {
	case !slices.Contains(EyeDoes, e.Do):
		return &FieldError{"do", "Choose what to correct."}
	case len(e.Marks) == 0:
		return &FieldError{"marks", "Tick the marks that you mean."}
	case e.Do == "merge" && len(e.Marks) < 2:
		return &FieldError{"marks", "Tick two marks or more to make one of them."}
	case (e.Do == "split" || e.Do == "rename") && len(e.Marks) != 1:
		return &FieldError{"marks", "Tick one mark for that."}
	case e.Do == "rename" && e.Name == "" && e.Kind == "":
		return &FieldError{"name", "Give the mark a name or another kind."}
	case e.Kind != "" && !slices.Contains([]mark.Kind{mark.Round, mark.Crease, mark.Star, mark.Line, mark.High}, mark.Kind(e.Kind)):
		return &FieldError{"kind", fmt.Sprintf("%q is no kind of mark.", e.Kind)}
	case e.Do == "edge" && !(e.MM >= 0 && e.MM <= 500):
		return &FieldError{"mm", "The edge is 0 to 500 mm away."}
	}
	return nil
}

// Seen are the marks of a capture as the eye corrected them: the corrections in their order, each naming the marks as the ones before left
// them. What was measured is not touched; a correction that finds its marks no more is passed over.
func Seen(marks []mark.Mark, s *surface.Surface, captureID string, eye []Eye) []mark.Mark {
	out := slices.Clone(marks)
	for _, e := range eye {
		if e.Capture != captureID {
			continue
		}
		var meant []mark.Mark
		for _, m := range out {
			if slices.Contains(e.Marks, m.ID) {
				meant = append(meant, m)
			}
		}
		if len(meant) == 0 {
			continue
		}
		at := slices.IndexFunc(out, func(m mark.Mark) bool { return slices.Contains(e.Marks, m.ID) })
		without := func() []mark.Mark {
			return slices.DeleteFunc(out, func(m mark.Mark) bool { return slices.Contains(e.Marks, m.ID) })
		}
		switch e.Do {
		case "ignore":
			out = without()
		case "merge":
			m := mark.Merge(meant)
			named(&m, e, out)
			out = slices.Insert(without(), at, m)
		case "split":
			if a, b, ok := mark.Split(meant[0], e.XMM, e.YMM, s); ok {
				out = slices.Insert(without(), at, a, b)
			}
		case "rename":
			named(&out[at], e, out)
		case "edge":
			for i := range out {
				if slices.Contains(e.Marks, out[i].ID) {
					out[i].EdgeMM = e.MM
				}
			}
		}
	}
	return out
}

// Count notes marks with a capture as lists know them: how many, how deep, and the size of each.
func (c *Capture) Count(marks []mark.Mark) {
	c.Marks, c.DeepUM, c.Sizes = len(marks), 0, nil
	for _, m := range marks {
		c.DeepUM = max(c.DeepUM, m.DepthUM)
		c.Sizes = append(c.Sizes, Size{ID: m.ID, Kind: string(m.Kind), LengthMM: m.LengthMM, WidthMM: m.WidthMM, DepthUM: m.DepthUM})
	}
}

// Corrected tells whether marks of a capture were corrected by hand.
func (r Record) Corrected(captureID string) bool {
	return slices.ContainsFunc(r.Eye, func(e Eye) bool { return e.Capture == captureID })
}

// named gives a mark the correction's name, unless another mark has it, and kind.
func named(m *mark.Mark, e Eye, others []mark.Mark) {
	if e.Kind != "" {
		m.Kind = mark.Kind(e.Kind)
	}
	if e.Name != "" && !slices.ContainsFunc(others, func(o mark.Mark) bool { return o.ID == e.Name }) {
		m.ID = e.Name
	}
}
