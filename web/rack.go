package web

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"fairmetal/job"
	"fairmetal/rack"
	"fairmetal/words"
	"fairmetal/workshop"
)

// rackView is the place of the tools.
type rackView struct {
	Groups  []toolGroup
	Problem string
}

// toolGroup is one sort of tool.
type toolGroup struct {
	ID    string
	Title string
	Tools []tool
	New   section
}

type tool struct {
	Name string
	Size string
	Form section
}

// toolList edits one list of the rack.
type toolList struct {
	id, title string
	size      func(i int) string
	name      func(i int) string
	fields    func(i int) []field
	count     func() int
	add       func()
	remove    func(i int)
}

// listOf ties a list of the rack to its fields, in the language of who edits it.
func listOf[T any](l words.Lang, id, title string, list *[]T, name func(*T) *string, size func(T) string, fields func(*T) []field) toolList {
	return toolList{id: id, title: title, count: func() int { return len(*list) }, add: func() { *list = append(*list, *new(T)) }, remove: func(i int) { *list = slices.Delete(*list, i, i+1) },
		name: func(i int) string { return *name(&(*list)[i]) }, size: func(i int) string { return size((*list)[i]) },
		fields: func(i int) []field {
			return append([]field{textField("name", "Name", name(&(*list)[i])).said(l)}, fields(&(*list)[i])...)
		}}
}

// lists of the rack with the fields of each sort.
func lists(r *rack.Rack, l words.Lang) []toolList {
	hard := func(h *rack.Hardness) field {
		return choiceField("hardness", "Face", (*string)(h), string(rack.Steel), string(rack.Plastic), string(rack.Rubber))
	}
	return []toolList{
		listOf(l, "tips", "Tips", &r.Tips, func(t *rack.Tip) *string { return &t.Name }, func(t rack.Tip) string { return fmt.Sprintf("R %g mm", t.RadiusMM) },
			func(t *rack.Tip) []field {
				return []field{numberField("radius", "Radius, mm", &t.RadiusMM), hard(&t.Hardness)}
			}),
		listOf(l, "bars", "Bars", &r.Bars, func(b *rack.Bar) *string { return &b.Name }, func(b rack.Bar) string { return fmt.Sprintf("%g mm", b.LengthMM) },
			func(b *rack.Bar) []field {
				names := map[string]string{} // as they are shown
				for _, t := range r.Tips {
					names[l.T(t.Name)] = t.Name
				}
				var shown []string
				for _, n := range b.Tips {
					shown = append(shown, l.T(n))
				}
				takes := strings.Join(shown, ", ")
				tips := textField("tips", "Takes the tips (names with commas; empty: all)", &takes)
				tips.set = func(s string) error {
					b.Tips = nil
					for _, n := range strings.Split(s, ",") {
						if n = strings.TrimSpace(n); n != "" {
							b.Tips = append(b.Tips, cmp.Or(names[n], n))
						}
					}
					return nil
				}
				return []field{numberField("length", "Length, mm", &b.LengthMM), numberField("reach", "Reach past the opening, mm", &b.ReachMM), numberField("fulcrum", "Tip to prop, mm (empty: pushed by hand)", &b.FulcrumMM), numberField("gap", "Narrowest opening, mm", &b.GapMM), tips}
			}),
		listOf(l, "tabs", "Tabs", &r.Tabs, func(t *rack.Tab) *string { return &t.Name }, func(t rack.Tab) string { return fmt.Sprintf("%g x %g mm", t.LengthMM, t.WidthMM) },
			func(t *rack.Tab) []field {
				return []field{numberField("length", "Length, mm", &t.LengthMM), numberField("width", "Width, mm", &t.WidthMM)}
			}),
		listOf(l, "taps", "Hammers and knock-downs", &r.Taps, func(t *rack.Tap) *string { return &t.Name }, func(t rack.Tap) string { return fmt.Sprintf("R %g mm", t.RadiusMM) },
			func(t *rack.Tap) []field {
				return []field{numberField("radius", "Radius, mm", &t.RadiusMM), hard(&t.Hardness)}
			}),
		listOf(l, "pullers", "Pullers", &r.Pullers, func(p *rack.Puller) *string { return &p.Name }, func(p rack.Puller) string { return fmt.Sprintf("%g N", p.MaxN) },
			func(p *rack.Puller) []field { return []field{numberField("force", "Most it draws, N", &p.MaxN)} }),
		listOf(l, "glues", "Glues", &r.Glues, func(g *rack.Glue) *string { return &g.Name }, func(g rack.Glue) string { return fmt.Sprintf("%g - %g °C", g.FromC, g.ToC) },
			func(g *rack.Glue) []field {
				return []field{numberField("from", "Holds from, °C", &g.FromC), numberField("to", "Holds to, °C", &g.ToC), numberField("strength", "Strength beside general glue", &g.Strength), numberField("wait", "Wait before the pull, s", &g.WaitS)}
			}),
		listOf(l, "lights", "Lights", &r.Lights, func(g *rack.Light) *string { return &g.Name }, func(g rack.Light) string { return fmt.Sprintf("%g x %g mm", g.WidthMM, g.HeightMM) },
			func(g *rack.Light) []field {
				return []field{numberField("width", "Width, mm", &g.WidthMM), numberField("height", "Height, mm", &g.HeightMM), numberField("pitch", "Stripe pitch, mm", &g.PitchMM)}
			}),
	}
}

// showLists are lists as their page shows them.
func showLists(all []toolList, rev int64) (groups []toolGroup) {
	for _, l := range all {
		g := toolGroup{ID: l.id, Title: l.title}
		for i := range l.count() {
			g.Tools = append(g.Tools, tool{l.name(i), l.size(i), section{ID: strconv.Itoa(i), Rev: rev, Fields: l.fields(i)}})
		}
		l.add()
		g.New = section{ID: "new", Rev: rev, Fields: l.fields(l.count() - 1)}
		groups = append(groups, g)
	}
	return groups
}

// edit is what a form asked of one thing of a list.
type edit struct {
	group, i int
	remove   bool
	old      string // its name before
	form     section
}

// editList adds, changes or removes one thing; wrong is what of the form cannot be, err that the thing is not there.
func editList(r *http.Request, all []toolList) (e edit, wrong, err error) {
	e.group = slices.IndexFunc(all, func(l toolList) bool { return l.id == r.PathValue("group") })
	if e.group < 0 {
		return e, nil, &job.FieldError{Field: "group", Text: "There is no such list."}
	}
	l := all[e.group]
	where := r.PostFormValue("i")
	e.remove = r.PostFormValue("do") == "remove"
	e.i, err = strconv.Atoi(where)
	if where == "new" {
		l.add()
		e.i, err = l.count()-1, nil
	}
	if err != nil || e.i < 0 || e.i >= l.count() {
		return e, nil, &job.ErrConflict{What: "list"}
	}
	e.old, e.form = l.name(e.i), section{ID: where, Fields: l.fields(e.i)}
	wrong = e.form.read(r)
	if e.remove {
		wrong = nil
		l.remove(e.i)
	}
	return e, wrong, nil
}

// put shows the form again among the lists as they stand.
func (e edit) put(groups []toolGroup) {
	g := &groups[e.group]
	switch {
	case e.form.ID == "new":
		g.New = e.form
	case e.i < len(g.Tools):
		g.Tools[e.i].Form = e.form
	}
}

func (a *App) rackPage(w http.ResponseWriter, r *http.Request) {
	own, rev, err := a.rack(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "rack", view{Title: "Rack", Place: "rack", Data: rackView{Groups: showLists(lists(&own, a.lang(r)), rev)}})
}

func (a *App) rack(r *http.Request) (rack.Rack, int64, error) {
	own := rack.Default()
	rev, err := a.records.Setting(r.Context(), workshop.RackSetting, &own)
	return own, rev, err
}

// saveTool adds, changes or removes one tool.
func (a *App) saveTool(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	own, _, err := a.rack(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	all := lists(&own, a.lang(r))
	e, err, gone := editList(r, all)
	if gone != nil {
		a.fail(w, r, gone)
		return
	}
	l := all[e.group]
	if err == nil && l.id == "tips" {
		name := ""
		if !e.remove {
			name = l.name(e.i)
		}
		own.Bars = renamed(own.Bars, e.old, name)
	}
	var checked rack.Rack
	if err == nil {
		checked, err = parsed(own, rack.Parse)
	}
	if err == nil {
		err = a.records.SaveSetting(r.Context(), workshop.RackSetting, e.form.Rev, checked)
	}
	if err == nil {
		http.Redirect(w, r, "/rack#"+l.id, http.StatusSeeOther)
		return
	}
	now, rev, fault := a.rack(r)
	if fault != nil {
		a.fail(w, r, fault)
		return
	}
	status := e.form.refuse(err, rev)
	v := rackView{Groups: showLists(lists(&now, a.lang(r)), rev), Problem: e.form.Problem}
	e.put(v.Groups)
	a.render(w, r, status, "rack", view{Title: "Rack", Place: "rack", Data: v})
}

// renamed keeps the bars true when a tip is renamed or, with no new name, removed.
func renamed(bars []rack.Bar, old, name string) []rack.Bar {
	for b := range bars {
		tips := slices.Clone(bars[b].Tips)
		for i, t := range tips {
			if t == old && name != "" {
				tips[i] = name
			}
		}
		if name == "" {
			tips = slices.DeleteFunc(tips, func(t string) bool { return t == old })
		}
		bars[b].Tips = tips
	}
	return bars
}
