package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairmetal/job"
	"fairmetal/photo"
	"fairmetal/plan"
	"fairmetal/store"
	"fairmetal/verdict"
	"fairmetal/vin"
	"fairmetal/words"
)

// Cells of the grid of paint readings.
const (
	readingCols = 5
	readingRows = 4
)

// Sizes of photos of flaws outside the job, as kept and as lists show them.
const (
	flawSidePX    = 1600
	thumbSidePX   = 320
	maxFlawsBytes = 120 << 20
)

// thumbOf names the small version of a kept photo.
func thumbOf(name string) string { return strings.TrimSuffix(name, ".jpg") + "-small.jpg" }

// arriveView is the page of the step.
type arriveView struct {
	jobHead
	Person      job.Person
	Vehicle     job.Vehicle
	Grid        [][]readingCell
	Coat        verdict.Coat
	VIN         vinNote
	Cautions    []string
	Consent     string
	ConsentLang words.Lang
	Drawing     drawing
	Kinds       []string
	Hindrances  []choice
	TrimWhen    []choice // conditions under which further trim comes off
	FlawText    string   // typed, not yet saved
	SignName    string
	Field       string
	Problem     string
	Limits      map[string]float64
	OtherPanels []job.Job // of the same vehicle
}

type readingCell struct {
	Name string
	Col  int
	Row  int
	UM   float64
}

type choice struct {
	Name string
	On   bool
}

// vinNote is what package vin says of a number, for people.
type vinNote struct {
	Problem string
	Notes   []string
	Years   []int
	Region  string
	Perhaps []string // numbers that one slip of eye or hand would explain
}

func readVIN(typed string) vinNote {
	if strings.TrimSpace(typed) == "" {
		return vinNote{}
	}
	n, err := vin.Read(typed)
	if err != nil {
		return vinNote{Problem: err.Error()}
	}
	v := vinNote{Notes: n.Notes, Years: n.Years, Region: string(n.Region)}
	if n.Check == vin.Differs {
		for _, s := range vin.Suspects(n) {
			v.Perhaps = append(v.Perhaps, s.Text)
		}
	}
	return v
}

func (a *App) arrivePage(w http.ResponseWriter, r *http.Request) {
	v, err := a.arrival(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.showArrival(w, r, http.StatusOK, v)
}

// arrival reads what the page shows.
func (a *App) arrival(r *http.Request) (arriveView, error) {
	ctx := r.Context()
	h, err := a.head(r, job.Arrive)
	v := arriveView{jobHead: h}
	if err != nil {
		return v, err
	}
	if v.Job.PersonID != "" {
		if v.Person, err = a.records.Person(ctx, v.Job.PersonID); err != nil {
			return v, err
		}
	} else {
		v.Person.Name = v.Job.Customer
	}
	v.Vehicle.Name = v.Job.Vehicle
	if v.Job.VehicleID != "" {
		if v.Vehicle, err = a.records.Vehicle(ctx, v.Job.VehicleID); err != nil {
			return v, err
		}
	}
	return v, nil
}

func (a *App) showArrival(w http.ResponseWriter, r *http.Request, status int, v arriveView) {
	s, err := a.bench.Settings(r.Context())
	if err == nil && v.Job.VehicleID != "" {
		v.OtherPanels, err = a.otherPanels(r.Context(), v.Job)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	at := map[[2]int]float64{}
	var um []float64
	for _, k := range v.Job.Record.Arrival.Readings {
		at[[2]int{k.Col, k.Row}] = k.UM
		um = append(um, k.UM)
	}
	for row := range readingRows {
		var cells []readingCell
		for col := range readingCols {
			cells = append(cells, readingCell{fmt.Sprintf("um_%d_%d", col, row), col, row, at[[2]int{col, row}]})
		}
		v.Grid = append(v.Grid, cells)
	}
	v.Coat = verdict.Readings(um)
	v.Limits = map[string]float64{"thin": verdict.ThinUM, "repaint": verdict.RepaintUM, "filler": verdict.FillerUM}
	v.VIN = readVIN(v.Vehicle.VIN)
	v.Cautions = cautions(v.Job)
	v.ConsentLang = a.customerLang(r, v.Person)
	v.Consent = s.House.ConsentText(v.ConsentLang.T)
	v.Drawing = drawVehicle(v.Job.Record.Arrival.Place, v.Job.Panel, a.lang(r))
	v.Kinds = job.Kinds
	for _, h := range job.Hindrances {
		v.Hindrances = append(v.Hindrances, choice{h, slices.Contains(v.Job.Record.Arrival.Access, h)})
	}
	for _, c := range s.TrimWhen(v.Job.Kind) {
		v.TrimWhen = append(v.TrimWhen, choice{c, slices.Contains(v.Job.Record.Arrival.When, c)})
	}
	if v.SignName == "" {
		v.SignName = v.Person.Name
	}
	a.render(w, r, status, "arrive", view{Title: v.Job.Vehicle + ", " + v.Job.Panel, Place: "bench", Data: v})
}

// customerLang is the language in which a customer reads what is signed: the customer's own, where it is known, else that of the page.
func (a *App) customerLang(r *http.Request, p job.Person) words.Lang {
	if p.Lang != "" {
		return words.Match(p.Lang)
	}
	return a.lang(r)
}

// otherPanels are the other jobs on the same vehicle.
func (a *App) otherPanels(ctx context.Context, j job.Job) ([]job.Job, error) {
	jobs, err := a.records.FindJobs(ctx, store.Query{VehicleID: j.VehicleID, Limit: 50})
	return slices.DeleteFunc(jobs, func(o job.Job) bool { return o.ID == j.ID }), err
}

// cautions of a job: those of its kind of panel, worked warm, and those of what stands behind it.
func cautions(j job.Job) []string {
	out := plan.Cautions(j.Kind, 45)
	for _, c := range []struct{ behind, text string }{
		{"airbag", "An airbag or its sensor is behind this panel: battery off and waited as the maker says, and no bar or heat near it."},
		{"high voltage", "High-voltage parts are near: switched off and checked by somebody licensed before anything is loosened."},
		{"wiring", "Wiring runs behind this panel: tie it away from bars, and measure the heat on its side."},
		{"glass", "Glass is near: no lever on it or its adhesive, no heat on it."},
	} {
		if slices.Contains(j.Record.Arrival.Access, c.behind) {
			out = append(out, c.text)
		}
	}
	return out
}

// saveArrival saves the whole page, whichever of its buttons was used, so that nothing typed is lost between them.
func (a *App) saveArrival(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	r.Body = http.MaxBytesReader(w, r.Body, maxFlawsBytes)
	if err := r.ParseMultipartForm(16 << 20); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		a.fail(w, r, err)
		return
	}
	v, err := a.arrival(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	before := v.Job
	do := r.PostFormValue("do")
	err = a.readArrival(r, &v)
	var attach map[string][]byte
	if err == nil {
		attach, err = a.readFlaw(r, &v)
	}
	if err == nil {
		err = a.readConsent(r, &v, do)
	}
	if n, ok := strings.CutPrefix(do, "drop-flaw-"); err == nil && ok {
		if i, e := strconv.Atoi(n); e == nil && i >= 0 && i < len(v.Job.Record.Arrival.Flaws) {
			v.Job.Record.Arrival.Flaws = slices.Delete(slices.Clone(v.Job.Record.Arrival.Flaws), i, i+1)
		}
	}
	if do == "go" && v.Job.Step == job.Arrive {
		v.Job.Step = job.Look
	}
	if err == nil {
		err = a.keepArrival(ctx, &v, attach)
	}
	var field *job.FieldError
	var conflict *job.ErrConflict
	var bad *photo.Error
	switch {
	case errors.As(err, &field):
		v.Field, v.Problem = field.Field, field.Text
	case errors.As(err, &bad):
		v.Problem = "This photo " + bad.Text + "; " + bad.Advice
	case errors.As(err, &conflict):
		v.Problem = conflict.Error()
		// The next save of what stands here is on what the others made of it.
		if now, e := a.arrival(r); e == nil {
			v.Job.Rev, v.Person.Rev, v.Vehicle.Rev = now.Job.Rev, now.Person.Rev, now.Vehicle.Rev
		}
	}
	if v.Problem != "" {
		status := http.StatusUnprocessableEntity
		if conflict != nil {
			status = http.StatusConflict
		}
		a.showArrival(w, r, status, v)
		return
	}
	if err == nil {
		err = a.repriceIfChanged(ctx, before, v.Job)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	to := "/jobs/" + v.Job.ID + "/arrive"
	switch {
	case do == "go" && len(v.Captures) == 0:
		to = "/jobs/" + v.Job.ID + "/capture"
	case do == "go":
		to = "/jobs/" + v.Job.ID + "/look"
	case do == "flaw" || strings.HasPrefix(do, "drop-flaw-"):
		to += "#flaws"
	case do == "sign" || do == "unsign":
		to += "#consent"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// readArrival reads the fields of the page into the records.
func (a *App) readArrival(r *http.Request, v *arriveView) error {
	get := func(k string) string { return strings.TrimSpace(r.PostFormValue(k)) }
	rev := func(k string, to *int64) {
		if n, err := strconv.ParseInt(get(k), 10, 64); err == nil {
			*to = n
		}
	}
	rev("rev", &v.Job.Rev)
	rev("person_rev", &v.Person.Rev)
	rev("vehicle_rev", &v.Vehicle.Rev)
	v.Person.Name, v.Person.Company, v.Person.Phone, v.Person.Email, v.Person.Lang = get("name"), get("company"), get("phone"), get("email"), get("paperlang")
	v.Vehicle.Name, v.Vehicle.Plate, v.Vehicle.VIN = get("vehicle"), get("plate"), vin.Clean(get("vin"))
	j := &v.Job
	j.Vehicle = v.Vehicle.Name
	a.pickPanel(r, j)
	j.Material, j.SheetMM, j.NoReach, j.Notes = get("material"), number(get("sheet")), get("noreach") != "", get("notes")
	at := &j.Record.Arrival
	at.Says, at.Access, at.Readings = get("says"), nil, nil
	if len(at.Says) > 5000 {
		return &job.FieldError{Field: "says", Text: "What the customer says is longer than 5000 letters: shorten it."}
	}
	at.When = nil
	for _, c := range r.PostForm["trim"] {
		if len(c) <= 100 && len(at.When) < 50 {
			at.When = append(at.When, c)
		}
	}
	for _, h := range job.Hindrances {
		if slices.Contains(r.PostForm["access"], h) {
			at.Access = append(at.Access, h)
		}
	}
	var um []float64
	for row := range readingRows {
		for col := range readingCols {
			u := number(get(fmt.Sprintf("um_%d_%d", col, row)))
			if u < 0 || u > 5000 {
				return &job.FieldError{Field: "readings", Text: "Paint reads 0 to 5000 um; leave a cell empty where you did not measure."}
			}
			if u > 0 {
				at.Readings = append(at.Readings, job.Reading{Col: col, Row: row, UM: u})
				um = append(um, u)
			}
		}
	}
	j.FilmUM = verdict.Readings(um).HighUM
	return nil
}

// readFlaw adds the flaw that was typed or photographed.
func (a *App) readFlaw(r *http.Request, v *arriveView) (map[string][]byte, error) {
	v.FlawText = strings.TrimSpace(r.PostFormValue("flaw"))
	if len(v.FlawText) > 500 {
		return nil, &job.FieldError{Field: "flaw", Text: "The note on the flaw is longer than 500 letters: shorten it."}
	}
	flaw := job.Flaw{Text: v.FlawText}
	attach := map[string][]byte{}
	f, _, err := r.FormFile("flawphoto")
	if err == nil {
		defer f.Close()
		data, err := io.ReadAll(io.LimitReader(f, photo.DefaultMaxBytes+1))
		if err != nil {
			return nil, err
		}
		if len(data) > 0 {
			small, err := photo.Thumbnail(data, flawSidePX, photo.Limits{})
			if err != nil {
				return nil, err
			}
			b := make([]byte, 6)
			rand.Read(b)
			flaw.Photo = "flaw/" + hex.EncodeToString(b) + ".jpg"
			attach[flaw.Photo] = small
			if attach[thumbOf(flaw.Photo)], err = photo.Thumbnail(small, thumbSidePX, photo.Limits{}); err != nil {
				return nil, err
			}
		}
	}
	if flaw.Text != "" || flaw.Photo != "" {
		v.Job.Record.Arrival.Flaws = append(slices.Clone(v.Job.Record.Arrival.Flaws), flaw)
	}
	return attach, nil
}

// readConsent takes the signature, or takes it back.
func (a *App) readConsent(r *http.Request, v *arriveView, do string) error {
	v.SignName = strings.TrimSpace(r.PostFormValue("signname"))
	if do == "unsign" {
		v.Job.Record.Arrival.Consent = job.Signature{}
		return nil
	}
	strokes := r.PostFormValue("strokes")
	if v.Job.Record.Arrival.Consent.Given() || do != "sign" && len(strokes) < 5 {
		return nil
	}
	s, err := a.bench.Settings(r.Context())
	if err != nil {
		return err
	}
	v.Job.Record.Arrival.Consent, err = job.Sign(s.House.ConsentText(a.customerLang(r, v.Person).T), v.SignName, strokes, time.Now())
	return err
}

// keepArrival saves the person, the vehicle and the job.
func (a *App) keepArrival(ctx context.Context, v *arriveView, attach map[string][]byte) error {
	if err := v.Job.Check(); err != nil {
		return err
	}
	if err := a.keepPerson(ctx, v); err != nil {
		return err
	}
	if err := a.keepVehicle(ctx, v); err != nil {
		return err
	}
	if len(attach) > 0 {
		if err := a.records.Attach(ctx, v.Job.ID, attach); err != nil {
			return err
		}
	}
	return a.records.SaveJob(ctx, v.Job)
}

// keepPerson saves the customer where something of it changed. Another name is the same person's until the name of somebody who is
// known already is typed.
func (a *App) keepPerson(ctx context.Context, v *arriveView) error {
	p := &v.Person
	if p.ID == "" {
		if p.Title() == "" {
			v.Job.Customer = ""
			return nil
		}
		found, err := a.records.People(ctx, p.Title(), listed)
		if err != nil {
			return err
		}
		for _, k := range found {
			if strings.EqualFold(k.Title(), p.Title()) {
				k.Phone, k.Email, k.Lang = or(p.Phone, k.Phone), or(p.Email, k.Email), or(p.Lang, k.Lang)
				*p = k
				break
			}
		}
	} else if old, err := a.records.Person(ctx, p.ID); err != nil || old == *p {
		v.Job.Customer = p.Title()
		return err
	}
	saved, err := a.records.SavePerson(ctx, *p)
	if err != nil {
		return err
	}
	*p = saved
	v.Job.PersonID, v.Job.Customer = p.ID, p.Title()
	return nil
}

// keepVehicle saves the vehicle where something of it changed.
func (a *App) keepVehicle(ctx context.Context, v *arriveView) error {
	c := &v.Vehicle
	if c.PersonID == "" {
		c.PersonID = v.Job.PersonID
	}
	if c.ID != "" {
		if old, err := a.records.Vehicle(ctx, c.ID); err != nil || old == *c {
			return err
		}
	}
	saved, err := a.records.SaveVehicle(ctx, *c)
	if err != nil {
		return err
	}
	*c = saved
	v.Job.VehicleID = c.ID
	return nil
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// repriceIfChanged makes the offer anew where something changed that it rests on.
func (a *App) repriceIfChanged(ctx context.Context, was, is job.Job) error {
	if was.Material == is.Material && was.SheetMM == is.SheetMM && was.FilmUM == is.FilmUM && was.Kind == is.Kind && was.NoReach == is.NoReach && slices.Equal(was.Record.Arrival.When, is.Record.Arrival.When) {
		return nil
	}
	captures, err := a.records.Captures(ctx, is.ID)
	if err != nil {
		return err
	}
	for _, c := range slices.Backward(captures) {
		if c.State == job.Measured {
			_, err := a.bench.Reprice(ctx, is.ID, c.ID)
			return err
		}
	}
	return nil
}

// jobFile sends a file of a job: a photo of a flaw, a paper.
func (a *App) jobFile(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	kind, ok := map[string]string{".jpg": "image/jpeg", ".pdf": "application/pdf", ".xml": "application/xml"}[path.Ext(name)]
	if !ok {
		http.NotFound(w, r)
		return
	}
	data, err := a.records.Attachment(r.Context(), r.PathValue("id"), name)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", kind)
	// A file never changes under its name.
	w.Header().Set("Cache-Control", "private, max-age=86400")
	if kind != "image/jpeg" {
		w.Header().Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", path.Base(name)))
	}
	w.Write(data)
}
