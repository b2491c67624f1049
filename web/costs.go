package web

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"

	"fairmetal/job"
	"fairmetal/route"
	"fairmetal/trim"
	"fairmetal/words"
	"fairmetal/workshop"
)

// costsView is the place of the trim list and of the fill-and-paint model.
type costsView struct {
	Groups   []toolGroup
	Sections []section
	OwnTrim  bool
	OwnPaint bool
	Problem  string
}

// costs are both as they are edited: the house's own, or ours to start from.
type costs struct {
	panels            []string
	parts             map[string]*[]trim.Part
	paint             route.Model
	trimRev, paintRev int64
}

func (a *App) costs(ctx context.Context) (*costs, error) {
	list := trim.Default()
	c := &costs{panels: list.Panels(), parts: map[string]*[]trim.Part{}, paint: route.Default()}
	// Decoding into a filled list would leave our words where the house has none.
	var own *trim.List
	var shop *route.Model
	var err error
	if c.trimRev, err = a.records.Setting(ctx, workshop.TrimSetting, &own); err != nil {
		return nil, err
	}
	if c.paintRev, err = a.records.Setting(ctx, workshop.PaintSetting, &shop); err != nil {
		return nil, err
	}
	if own != nil {
		list = *own
	}
	if shop != nil {
		c.paint = *shop
	}
	for _, p := range list.Panels() {
		if !slices.Contains(c.panels, p) {
			c.panels = append(c.panels, p)
		}
	}
	for _, p := range c.panels {
		c.parts[p] = new([]trim.Part)
	}
	for _, p := range list.Parts {
		*c.parts[p.Panel] = append(*c.parts[p.Panel], p)
	}
	return c, nil
}

// lists are the parts of each kind of panel.
func (c *costs) lists(l words.Lang) (all []toolList) {
	for _, panel := range c.panels {
		all = append(all, listOf(l, panel, panel, c.parts[panel], func(p *trim.Part) *string { return &p.Text }, func(p trim.Part) string { return fmt.Sprintf("%g min", p.OffMin+p.OnMin) },
			func(p *trim.Part) []field {
				return []field{numberField("off", "Off, minutes", &p.OffMin), numberField("on", "On again, minutes", &p.OnMin), numberField("spread", "Spread of them (0.25: a quarter)", &p.Spread),
					textField("when", "Only when (empty: always)", &p.When).said(l), areaField("caution", "Caution", &p.Caution).said(l)}
			}))
	}
	return all
}

// list is the whole trim list, checked as one that is read from a file.
func (c *costs) list() (trim.List, error) {
	l := trim.List{Format: 1, Parts: []trim.Part{}}
	for _, panel := range c.panels {
		for _, p := range *c.parts[panel] {
			p.Panel = panel
			l.Parts = append(l.Parts, p)
		}
	}
	return parsed(l, trim.Parse)
}

// parsed checks a record as one that is read from a file.
func parsed[T any](v T, parse func([]byte) (T, error)) (T, error) {
	data, err := json.Marshal(v)
	if err != nil {
		return v, err
	}
	checked, err := parse(data)
	if err != nil {
		err = &job.FieldError{Text: err.Error()}
	}
	return checked, err
}

// countField edits a whole number.
func countField(name, label string, v *int64) field {
	x := int(*v)
	f := wholeField(name, label, &x)
	set := f.set
	f.set = func(s string) error {
		err := set(s)
		*v = int64(x)
		return err
	}
	return f
}

// sections are the forms of the fill-and-paint model; what is read from one stands in the model after keep.
func (c *costs) sections() (all []section, keep func()) {
	m := &c.paint
	price := func(name, label string, v *int64) field { return moneyField(name, label, v, m.Currency) }
	all = []section{{ID: "shop", Title: "The body shop", Rev: c.paintRev, Fields: []field{
		textField("currency", "Currency (three letters)", &m.Currency), price("body", "An hour of body work", &m.BodyHourMinor), price("painter", "An hour of painting", &m.PaintHourMinor),
		countField("fillmark", "Filling: minutes for each mark", &m.Fill.MinutesPerMark), countField("fillarea", "Filling: minutes for each square decimetre", &m.Fill.MinutesPerDM2), price("filler", "Filler for each square decimetre", &m.Fill.MinorPerDM2),
		price("paint", "Paint for each square decimetre", &m.Paint.MinorPerDM2), countField("blend", "Of it on a blended neighbour, per cent", &m.Paint.BlendPercent), price("mix", "Finding and mixing the colour", &m.Paint.MixMinor), price("booth", "A run of the booth", &m.Paint.BoothMinor),
		countField("workday", "Work in a day, minutes", &m.Waiting.WorkMinutesPerDay), countField("queue", "Waiting between steps, days", &m.Waiting.QueueDays), countField("dry", "Drying, days", &m.Waiting.DryDays), price("waitday", "A day without the vehicle", &m.Waiting.MinorPerDay)}}}
	panels := map[string]*route.Panel{}
	for _, k := range slices.Sorted(maps.Keys(m.Panels)) {
		p := m.Panels[k]
		panels[k] = &p
		all = append(all, section{ID: "paint-" + k, Title: k, Rev: c.paintRev, Fields: []field{
			countField("area", "Painted area, square decimetres", &p.AreaDM2), countField("fit", "Fittings off and on, minutes", &p.FitMinutes), countField("prep", "Preparing, minutes", &p.PrepMinutes),
			countField("paint", "Painting, minutes", &p.PaintMinutes), countField("blend", "Blending, as a neighbour, minutes", &p.BlendMinutes), countField("next", "Neighbours to blend into", &p.NeighboursMax)}})
	}
	return all, func() {
		for k, p := range panels {
			m.Panels[k] = *p
		}
	}
}

func (c *costs) view(l words.Lang) costsView {
	v := costsView{Groups: showLists(c.lists(l), c.trimRev), OwnTrim: c.trimRev > 0, OwnPaint: c.paintRev > 0}
	v.Sections, _ = c.sections()
	return v
}

func (a *App) showCosts(w http.ResponseWriter, r *http.Request, status int, v costsView) {
	a.render(w, r, status, "costs", view{Title: "Trim and fill-and-paint", Place: "house", Data: v})
}

func (a *App) costsPage(w http.ResponseWriter, r *http.Request) {
	c, err := a.costs(r.Context())
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.showCosts(w, r, http.StatusOK, c.view(a.lang(r)))
}

// costsSent reads a form that was sent and the lists that it changes; not ok: the answer is given.
func (a *App) costsSent(w http.ResponseWriter, r *http.Request) (*costs, bool) {
	if !a.form(w, r) {
		return nil, false
	}
	c, err := a.costs(r.Context())
	if err != nil {
		a.fail(w, r, err)
	}
	return c, err == nil
}

// saveTrim adds, changes or removes one part of the trim list.
func (a *App) saveTrim(w http.ResponseWriter, r *http.Request) {
	c, ok := a.costsSent(w, r)
	if !ok {
		return
	}
	e, err, gone := editList(r, c.lists(a.lang(r)))
	if gone != nil {
		a.fail(w, r, gone)
		return
	}
	var list trim.List
	if err == nil {
		list, err = c.list()
	}
	if err == nil {
		err = a.records.SaveSetting(r.Context(), workshop.TrimSetting, e.form.Rev, list)
	}
	if err == nil {
		http.Redirect(w, r, "/house/trim#"+c.panels[e.group], http.StatusSeeOther)
		return
	}
	now, fault := a.costs(r.Context())
	if fault != nil {
		a.fail(w, r, fault)
		return
	}
	status := e.form.refuse(err, now.trimRev)
	v := now.view(a.lang(r))
	v.Problem = e.form.Problem
	e.put(v.Groups)
	a.showCosts(w, r, status, v)
}

// savePaint keeps one form of the fill-and-paint model.
func (a *App) savePaint(w http.ResponseWriter, r *http.Request) {
	c, ok := a.costsSent(w, r)
	if !ok {
		return
	}
	id := r.PathValue("section")
	v := c.view(a.lang(r))
	var keep func()
	v.Sections, keep = c.sections()
	i := slices.IndexFunc(v.Sections, func(s section) bool { return s.ID == id })
	if i < 0 {
		a.fail(w, r, &job.FieldError{Field: "section", Text: fmt.Sprintf("House has no section %q.", id)})
		return
	}
	form := &v.Sections[i]
	err := form.read(r)
	keep()
	shop := c.paint
	if err == nil {
		shop, err = parsed(shop, route.Parse)
	}
	if err == nil {
		err = a.records.SaveSetting(r.Context(), workshop.PaintSetting, form.Rev, shop)
	}
	if err == nil {
		http.Redirect(w, r, "/house/trim#"+id, http.StatusSeeOther)
		return
	}
	a.showCosts(w, r, form.refuse(err, c.paintRev), v)
}
