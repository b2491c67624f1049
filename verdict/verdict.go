// Package verdict judges whether marks can be removed without filler or paint, with which risk, and why.
//
// In: marks, the panel, its film, access. Out: for each mark and in sum yes, yes with risk, or no, each with reasons that carry the
// measured value, the limit and what would change it. Limits come from package metal or are common practice, marked there.
package verdict

import (
	"fmt"

	"fairmetal/mark"
	"fairmetal/metal"
)

// Answer is the outcome.
type Answer string

// Answers from best to worst.
const (
	Yes  Answer = "yes"
	Risk Answer = "yes, with risk"
	No   Answer = "no"
)

func worse(a, b Answer) Answer {
	rank := map[Answer]int{Yes: 0, Risk: 1, No: 2}
	if rank[b] > rank[a] {
		return b
	}
	return a
}

// Reason is one finding.
type Reason struct {
	Code    string  `json:"code"`
	Answer  Answer  `json:"answer"`
	Text    string  `json:"text"`
	Value   float64 `json:"value"`
	Limit   float64 `json:"limit"`
	Unit    string  `json:"unit"`
	Changes string  `json:"changes"` // what would change it
}

// Mark is the verdict on one mark.
type Mark struct {
	ID      string   `json:"id"`
	Answer  Answer   `json:"answer"`
	Reasons []Reason `json:"reasons"`
}

// Verdict is the whole.
type Verdict struct {
	Answer  Answer   `json:"answer"`
	Reasons []Reason `json:"reasons"` // about the panel as a whole
	Marks   []Mark   `json:"marks"`
}

// Input is what is judged.
type Input struct {
	Marks []mark.Mark
	Panel metal.Panel
	Film  metal.Film
	TempC float64 // the panel while it is worked; 0: 20
	// Reach tells whether a place can be reached from behind; nil: everywhere.
	Reach func(x, y float64) bool
}

// Limits of the verdict. Common practice, no source, but for the film (package metal).
const (
	stretchRiskPct = 0.5  // mean excess area: over it the metal is stretched and may stay proud
	stretchNoPct   = 1.5  // over it heat shrinking or paint work
	edgeRiskMM     = 15.0 // from a panel edge: stiff, little room for a bar
	edgeNoMM       = 6.0
	filmCoreUM     = 110.0 // thickness of a factory film where none was measured
)

// Judge gives the verdict.
func Judge(in Input) Verdict {
	if in.TempC == 0 {
		in.TempC = 20
	}
	v := Verdict{Answer: Yes, Marks: []Mark{}, Reasons: []Reason{}}
	switch in.Film.Judge() {
	case metal.FilmFiller:
		v.add(Reason{"filler", No, fmt.Sprintf("the paint reads %.0f um: there is filler under it, which breaks when the metal is bent", in.Film.ThicknessUM), in.Film.ThicknessUM, 400, "um", "repair with paint"})
	case metal.FilmRepaint:
		v.add(Reason{"repaint", Risk, fmt.Sprintf("the panel was painted again (%.0f um): such film stands half as much and may lift under a glued tab", in.Film.ThicknessUM), in.Film.ThicknessUM, 180, "um", "warm the panel, push rather than pull, agree the risk"})
	case metal.FilmUnknown:
		v.add(Reason{"film-unknown", Yes, "paint thickness was not measured: a factory film is assumed", 0, 180, "um", "measure it before you start"})
	}
	for _, m := range in.Marks {
		j := in.judge(m)
		v.Marks = append(v.Marks, j)
		v.Answer = worse(v.Answer, j.Answer)
	}
	return v
}

func (v *Verdict) add(r Reason) {
	v.Reasons = append(v.Reasons, r)
	v.Answer = worse(v.Answer, r.Answer)
}

func (in Input) judge(m mark.Mark) Mark {
	j := Mark{ID: m.ID, Answer: Yes, Reasons: []Reason{}}
	add := func(r Reason) {
		j.Reasons = append(j.Reasons, r)
		j.Answer = worse(j.Answer, r.Answer)
	}
	if m.Folded {
		add(Reason{"depth-unknown", Risk, "these photos do not show its bottom: its depth is not known", 0, 0, "", "bring the board nearer; after single photos take a shifted set"})
		return j
	}
	film := in.Film.ThicknessUM
	if film <= 0 {
		film = filmCoreUM
	}
	if m.RadiusMM > 0 {
		// Outer fibre of a film of thickness f on a sheet t bent to radius R: (t/2 + f)/R, and what the metal was stretched.
		strain := 100*(in.Panel.ThicknessMM/2+film/1000)/m.RadiusMM + m.StretchPct
		cold, warm := in.Film.CapabilityPct(in.TempC), in.Film.CapabilityPct(metal.WarmToC)
		switch {
		case strain > warm:
			add(Reason{"film-strain", No, fmt.Sprintf("the film would be bent back by %.1f %%, more than it stands even warm (%.1f %%)", strain, warm), strain, warm, "%", "repair with paint"})
		case strain > cold:
			add(Reason{"film-strain", Risk, fmt.Sprintf("the film is bent by %.1f %%: too much at %.0f C (%.1f %%), possible warm", strain, in.TempC, cold), strain, cold, "%", fmt.Sprintf("warm the skin to %.0f to %.0f C", metal.WarmFromC, metal.WarmToC)})
		}
	}
	switch {
	case m.StretchPct > stretchNoPct:
		add(Reason{"stretched", No, fmt.Sprintf("the metal is stretched by %.1f %%: it has no room to go back", m.StretchPct), m.StretchPct, stretchNoPct, "%", "shrink it by heat, or repair with paint"})
	case m.StretchPct > stretchRiskPct:
		add(Reason{"stretched", Risk, fmt.Sprintf("the metal is stretched by %.1f %%: a trace may stay", m.StretchPct), m.StretchPct, stretchRiskPct, "%", "agree on what may stay to be seen"})
	}
	switch {
	case m.EdgeMM < edgeNoMM:
		add(Reason{"edge", Risk, fmt.Sprintf("it ends %.0f mm from metal that was not measured", m.EdgeMM), m.EdgeMM, edgeNoMM, "mm", "move the board so that all of it is seen; at a panel's edge the skin is doubled and stiff"})
	case m.EdgeMM < edgeRiskMM:
		add(Reason{"edge", Yes, fmt.Sprintf("it lies %.0f mm from the rim of what was measured", m.EdgeMM), m.EdgeMM, edgeRiskMM, "mm", "check whether a panel edge is there"})
	}
	if in.Reach != nil && !in.Reach(m.XMM, m.YMM) && m.Kind != mark.High {
		r := Reason{"access", Yes, "it cannot be reached from behind: it is pulled from the front", 0, 0, "", "take out trim or beam for access"}
		if m.Kind == mark.Crease || m.Kind == mark.Star {
			r.Answer, r.Text = Risk, "it cannot be reached from behind, and a sharp low pulls badly"
		}
		add(r)
	}
	if m.Kind == mark.Line {
		add(Reason{"feature-line", Risk, "it lies on a feature line: the line has to be brought back first, by eye and template", 0, 0, "", "compare with the other side of the vehicle"})
	}
	return j
}
