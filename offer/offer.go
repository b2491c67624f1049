// Package offer carries a measured result to the customer: verdict, plan, hours, price and the paper, in that order. It is the one
// place where these packages meet, for the command line and for the web app.
package offer

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io/fs"
	"math"
	"strings"
	"time"

	"fairmetal/fair"
	"fairmetal/inspection"
	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/plan"
	"fairmetal/quote"
	"fairmetal/rack"
	"fairmetal/report"
	"fairmetal/surface"
	"fairmetal/verdict"
	"fairmetal/words"
)

// Facts are what the technician knows beside the photos. Zero values are the usual case.
type Facts struct {
	Material    string  `json:"material"`     // "" takes the capture's
	ThicknessMM float64 `json:"thickness_mm"` // 0 takes the capture's, else 0.7
	YieldMPa    float64 `json:"yield_mpa"`    // 0 takes the material's
	SupportMM   float64 `json:"support_mm"`
	FilmUM      float64 `json:"film_um"`
	Refinish    bool    `json:"refinish"`
	TempC       float64 `json:"temp_c"` // the skin while worked; 0: 45, warmed
	PanelKind   string  `json:"panel_kind"`
	NoReach     bool    `json:"no_reach"` // the back cannot be reached
	// Access tells how areas are reached from behind; none: everywhere.
	Access rack.Access `json:"access"`
	// Shape is what rounds have told of how hits move the metal around.
	Shape plan.Shape `json:"shape,omitzero"`
}

// Offer is the outcome.
type Offer struct {
	Verdict verdict.Verdict `json:"verdict"`
	Plan    plan.Plan       `json:"plan"`
	Quote   quote.Quote     `json:"quote"`
	Basis   Basis           `json:"basis"`
}

// PanelKind guesses the kind of panel from its name.
func PanelKind(name string) string {
	n := strings.ToLower(name)
	for _, k := range []string{"roof", "door", "bonnet", "wing", "tailgate", "quarter"} {
		if strings.Contains(n, k) {
			return k
		}
	}
	return ""
}

// Make judges, plans and prices a measured result.
func Make(s *inspection.Stored, f Facts, r rack.Rack, rates quote.Rates) (Offer, error) {
	return MakeWith(s, f, r, rates, Books{})
}

// MakeWith is Make with the house's finished jobs, trim list, fill-and-paint model and hand-over limits.
func MakeWith(s *inspection.Stored, f Facts, r rack.Rack, rates quote.Rates, books Books) (Offer, error) {
	panel, err := f.Panel(s)
	if err != nil {
		return Offer{}, err
	}
	if f.PanelKind == "" {
		f.PanelKind = PanelKind(s.Capture.Panel.Name)
	}
	if f.TempC == 0 {
		f.TempC = 45
	}
	film := metal.Film{ThicknessUM: f.FilmUM, Refinish: f.Refinish}
	var reach func(x, y float64) bool
	switch {
	case f.NoReach:
		reach = func(x, y float64) bool { return false }
	case len(f.Access.Areas) > 0:
		reach = func(x, y float64) bool { return f.Access.At(x, y).Behind }
	}
	o := Offer{Verdict: verdict.Judge(verdict.Input{Marks: s.Marks, Panel: panel, Film: film, Reach: reach})}
	o.Plan, err = plan.Make(plan.Input{Surface: s.Surface, Marks: s.Marks, Panel: panel, Film: film, TempC: f.TempC, Rack: r, PanelKind: f.PanelKind, Reach: reach, Access: f.Access, Crown: f.Crown(s), Shape: f.Shape, Limits: books.limits()})
	if err != nil {
		return Offer{}, err
	}
	var area float64
	for _, m := range s.Marks {
		area += math.Pi / 4 * m.LengthMM * m.WidthMM
	}
	o.decline(books)
	err = o.basis(s, f, rates, books, quote.Input{Verdict: o.Verdict, Rates: rates, PanelKind: f.PanelKind, Marks: len(s.Marks), AreaMM2: area})
	if err != nil || books.Fair == nil {
		return o, err
	}
	after, err := Planned(s, f, o.Plan)
	if err != nil {
		return o, err
	}
	v, err := fair.Judge(after, *books.Fair)
	o.Basis.Planned = &v
	return o, err
}

// decline takes a plan that is better not begun into the verdict.
func (o *Offer) decline(books Books) {
	if o.Plan.Declined == "" {
		return
	}
	f := o.Plan.Forecast
	r := verdict.Reason{Code: "plan", Answer: verdict.Risk, Text: o.Plan.Declined, Value: f.LeftUM, Limit: plan.FairUM(books.limits()), Unit: "um", Changes: "access, tools, warmth, or paint"}
	if f.LimitPct > 0 && f.StrainPct > f.LimitPct {
		r.Answer, r.Value, r.Limit, r.Unit = verdict.No, f.StrainPct, f.LimitPct, "%"
	}
	o.Verdict.Reasons = append(o.Verdict.Reasons, r)
	if r.Answer == verdict.No || o.Verdict.Answer == verdict.Yes {
		o.Verdict.Answer = r.Answer
	}
}

// Planned is the surface as a plan forecasts it.
func Planned(s *inspection.Stored, f Facts, p plan.Plan) (*surface.Surface, error) {
	panel, err := f.Panel(s)
	if err != nil {
		return nil, err
	}
	return plan.After(plan.Input{Surface: s.Surface, Panel: panel, Crown: f.Crown(s), Access: f.Access, Shape: f.Shape}, p), nil
}

// Panel puts material, thickness and crown together.
func (f Facts) Panel(s *inspection.Stored) (metal.Panel, error) {
	name := f.Material
	if name == "" {
		name = s.Capture.Panel.Material
	}
	m, err := metal.Lookup(name)
	if err != nil {
		return metal.Panel{}, err
	}
	if f.YieldMPa > 0 {
		m = m.WithYield(f.YieldMPa)
	}
	t := f.ThicknessMM
	if t == 0 {
		t = s.Capture.Panel.ThicknessMM
	}
	if t == 0 {
		t = map[string]float64{"steel": 0.7, "aluminium": 1.0}[m.Family]
	}
	if t < 0.3 || t > 3 {
		return metal.Panel{}, fmt.Errorf("a sheet of %g mm is not a vehicle's skin; give 0.3 to 3 mm", t)
	}
	// One radius for the shell: that of the mean curvature of both directions, none where the panel is hollow.
	k := 0.0
	for _, r := range []float64{s.Form.RXMM, s.Form.RYMM} {
		if r != 0 && !math.IsInf(r, 0) {
			k += 0.5 / r
		}
	}
	p := metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: t}, SupportMM: f.SupportMM}
	if k > 1e-5 {
		p.RadiusMM = 1 / k
	}
	return p, nil
}

// Crown is the form's curvature both ways, as measured; zero where it is not known.
func (f Facts) Crown(s *inspection.Stored) metal.Crown {
	k := func(r float64) float64 {
		if r == 0 || math.Abs(1/r) > maxCrownPerMM {
			return 0
		}
		return 1 / r
	}
	return metal.Crown{KxPerMM: k(s.Form.RXMM), KyPerMM: k(s.Form.RYMM)}
}

// maxCrownPerMM: a sharper form than 200 mm is not a shallow shell.
const maxCrownPerMM = 0.005

// Files renders the offer's documents: verdict.json, plan.json, quote.json and basis.json.
func (o Offer) Files() (map[string][]byte, error) {
	files := map[string][]byte{}
	for name, v := range map[string]any{"verdict.json": o.Verdict, "plan.json": o.Plan, "quote.json": o.Quote, "basis.json": o.Basis} {
		b, err := json.MarshalIndent(v, "", " ")
		if err != nil {
			return nil, err
		}
		files[name] = append(b, '\n')
	}
	return files, nil
}

// Letterhead is what the paper needs beside the offer.
type Letterhead struct {
	House     report.House
	Customer  []string
	Vehicle   string
	Panel     string // "" takes the capture's
	Number    string
	Date      time.Time
	ValidDays int // 0: 30, common practice
	Lang      string
	Note      string // such as that some marks only are offered
}

const validDays = 30

// Paper renders the quote as PDF in the letterhead's language; folder is the result's, for its pictures.
func (o Offer) Paper(s *inspection.Stored, folder fs.FS, l Letterhead) ([]byte, error) {
	lang := words.Match(l.Lang)
	if l.Panel == "" {
		l.Panel = s.Capture.Panel.Name
	}
	if l.ValidDays == 0 {
		l.ValidDays = validDays
	}
	q := report.Quote{Lang: string(lang), House: l.House, Customer: l.Customer, Vehicle: l.Vehicle, Panel: l.Panel, Number: l.Number,
		Date: l.Date, Valid: l.Date.AddDate(0, 0, l.ValidDays), Currency: o.Quote.Currency, NetMinor: o.Quote.NetMinor, TotalMinor: o.Quote.TotalMinor,
		LowMinor: o.Quote.TotalLowMinor, HighMinor: o.Quote.TotalHighMinor, PaintMinor: o.Quote.PaintMinor, PaintDays: o.Quote.PaintDays,
		Declined: o.Quote.Answer == "declined",
		Hours:    lang.T(fmt.Sprintf("%.1f h, between %.1f and %.1f h in nine cases of ten", o.Quote.Hours, o.Quote.HoursLow, o.Quote.HoursHigh))}
	for _, c := range o.Plan.Cautions {
		q.Cautions = append(q.Cautions, lang.T(c))
	}
	q.Picture = picture(folder)
	possible := map[string]verdict.Answer{}
	for _, m := range o.Verdict.Marks {
		possible[m.ID] = m.Answer
		for _, r := range m.Reasons {
			if r.Answer != verdict.Yes {
				q.Reasons = append(q.Reasons, m.ID+": "+lang.T(r.Text))
			}
		}
	}
	for _, r := range o.Verdict.Reasons {
		q.Reasons = append(q.Reasons, lang.T(r.Text))
	}
	if l.Note != "" {
		q.Reasons = append(q.Reasons, lang.T(l.Note))
	}
	switch o.Verdict.Answer {
	case verdict.Yes:
		q.Answer = lang.T("Yes. All marks can be brought back to the panel's form without filler or paint.")
	case verdict.Risk:
		q.Answer = lang.T("Yes, with the risks named here.")
	default:
		q.Answer = lang.T("No. We advise against it, for the reasons named here; repair with paint.")
	}
	for _, m := range s.Marks {
		depth := lang.Number(m.DepthUM/1000, 2) + " mm"
		if m.Folded {
			depth = lang.T("not known")
		}
		q.Marks = append(q.Marks, report.Mark{ID: m.ID, Kind: lang.T(kindWords[m.Kind]), Place: lang.T(place(m)), Size: fmt.Sprintf("%.0f x %.0f mm", m.LengthMM, m.WidthMM), Depth: depth, Verdict: lang.T(string(possible[m.ID]))})
		if s.Photo.Width > 0 && len(m.OutlinePX) > 0 {
			var x, y float64
			for _, p := range m.OutlinePX {
				x, y = x+p[0]/float64(len(m.OutlinePX)), y+p[1]/float64(len(m.OutlinePX))
			}
			q.Labels = append(q.Labels, report.Label{Text: m.ID, X: x / float64(s.Photo.Width), Y: y / float64(s.Photo.Height)})
		}
	}
	for _, st := range o.Quote.Steps {
		text := lang.T(st.Text)
		q.Stages = append(q.Stages, report.Stage{Title: first(text), Text: text, Minutes: lang.T(fmt.Sprintf("%.0f min (%.0f to %.0f)", st.Minutes, st.Low, st.High))})
	}
	for _, li := range o.Quote.Lines {
		q.Lines = append(q.Lines, report.Line{Text: lang.T(li.Text), Why: lang.T(li.Why), AmountMinor: li.AmountMinor})
	}
	for _, t := range o.Quote.Taxes {
		q.Taxes = append(q.Taxes, report.Tax{Name: lang.T(t.Name), RateBP: t.RateBP, AmountMinor: t.AmountMinor})
	}
	return q.PDF()
}

var kindWords = map[mark.Kind]string{mark.Round: "round low", mark.Crease: "crease", mark.Star: "star", mark.Line: "on the line", mark.High: "high spot"}

// place says where a mark lies from the middle between the cards.
func place(m mark.Mark) string {
	side, end := "right", "up"
	if m.XMM < 0 {
		side = "left"
	}
	if m.YMM < 0 {
		end = "down"
	}
	return fmt.Sprintf("%.0f mm %s, %.0f mm %s", math.Abs(m.XMM), side, math.Abs(m.YMM), end)
}

// first is the heading of a step: its words up to the first colon or comma.
func first(s string) string {
	if i := strings.IndexAny(s, ":,"); i > 0 {
		return s[:i]
	}
	return s
}

// picture lays the heat map over the photo as a JPEG that keeps the paper small.
func picture(folder fs.FS) []byte {
	read := func(name string, decode func(b *bytes.Reader) (image.Image, error)) image.Image {
		data, err := fs.ReadFile(folder, name)
		if err != nil {
			return nil
		}
		m, err := decode(bytes.NewReader(data))
		if err != nil {
			return nil
		}
		return m
	}
	p := read("photo.jpg", func(b *bytes.Reader) (image.Image, error) { return jpeg.Decode(b) })
	h := read("heat.png", func(b *bytes.Reader) (image.Image, error) { return png.Decode(b) })
	if p == nil || h == nil {
		return nil
	}
	out := image.NewRGBA(p.Bounds())
	draw.Draw(out, out.Bounds(), p, p.Bounds().Min, draw.Src)
	draw.Draw(out, out.Bounds(), h, h.Bounds().Min, draw.Over)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, out, &jpeg.Options{Quality: 88}); err != nil {
		return nil
	}
	return b.Bytes()
}
