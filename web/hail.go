package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"fairmetal/capture"
	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/tables"
	"fairmetal/words"
	"fairmetal/workshop"
)

// Bounds of a hail day: jobs made at once, and jobs on one sheet.
const (
	maxLot   = 400
	maxSheet = 1000
)

// hailStart is the page that makes many jobs in a row.
type hailStart struct {
	People  []job.Person
	Places  []choice
	Lots    []hailLot
	Name    string
	Lines   string
	Problem string
}

// hailLot is a customer with several open jobs.
type hailLot struct {
	ID, Name string
	Jobs     int
}

func (a *App) hailPage(w http.ResponseWriter, r *http.Request) {
	a.showHailStart(w, r, http.StatusOK, hailStart{}, []string{"bonnet", "roof-front", "roof-middle", "roof-rear"})
}

func (a *App) showHailStart(w http.ResponseWriter, r *http.Request, status int, v hailStart, ticked []string) {
	ctx := r.Context()
	var err error
	v.People, err = a.records.People(ctx, "", listed)
	var jobs []job.Job
	if err == nil {
		jobs, err = a.records.FindJobs(ctx, store.Query{Limit: listed})
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	for _, p := range job.Places {
		v.Places = append(v.Places, choice{p.Key, slices.Contains(ticked, p.Key)})
	}
	for _, j := range jobs {
		if j.PersonID == "" || j.Step == job.Done {
			continue
		}
		i := slices.IndexFunc(v.Lots, func(l hailLot) bool { return l.ID == j.PersonID })
		if i < 0 {
			i = len(v.Lots)
			v.Lots = append(v.Lots, hailLot{ID: j.PersonID, Name: j.Customer})
		}
		v.Lots[i].Jobs++
	}
	v.Lots = slices.DeleteFunc(v.Lots, func(l hailLot) bool { return l.Jobs < 2 })
	a.render(w, r, status, "hail", view{Title: "Hail day", Place: "bench", Data: v})
}

// addLot makes a job for every vehicle and ticked panel that has none open yet.
func (a *App) addLot(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	ctx := r.Context()
	v := hailStart{Name: strings.TrimSpace(r.PostFormValue("customer")), Lines: r.PostFormValue("vehicles")}
	var vehicles []string
	for _, l := range strings.FieldsFunc(v.Lines, func(c rune) bool { return c == '\n' || c == '\r' || c == ';' }) {
		if l = strings.TrimSpace(l); l != "" && !slices.Contains(vehicles, l) {
			vehicles = append(vehicles, l)
		}
	}
	places := slices.DeleteFunc(slices.Clone(r.PostForm["place"]), func(k string) bool { _, ok := job.PlaceOf(k); return !ok })
	switch n := len(vehicles) * len(places); {
	case v.Name == "":
		v.Problem = "Fill in the customer: the sheet and its quote are for one."
	case n == 0:
		v.Problem = "Name the vehicles, one a line, and tick their panels."
	case n > maxLot:
		v.Problem = fmt.Sprintf("That would be %d jobs; make at most %d at once.", n, maxLot)
	}
	var person string
	var err error
	if v.Problem == "" {
		person, err = a.makeLot(ctx, a.lang(r), v.Name, vehicles, places)
	}
	var field *job.FieldError
	if errors.As(err, &field) {
		v.Problem = field.Text
	} else if err != nil {
		a.fail(w, r, err)
		return
	}
	if v.Problem != "" {
		a.showHailStart(w, r, http.StatusUnprocessableEntity, v, places)
		return
	}
	http.Redirect(w, r, "/hail/"+person, http.StatusSeeOther)
}

func (a *App) makeLot(ctx context.Context, l words.Lang, customer string, vehicles, places []string) (person string, err error) {
	first := job.Job{Customer: customer, Vehicle: vehicles[0]}
	if err := a.knowPeople(ctx, &first, ""); err != nil {
		return "", err
	}
	open, err := a.records.FindJobs(ctx, store.Query{PersonID: first.PersonID, Limit: maxSheet})
	if err != nil {
		return "", err
	}
	for _, name := range vehicles {
		known := job.Job{Customer: first.Customer, PersonID: first.PersonID, Vehicle: name}
		if err := known.Check(); err != nil {
			var field *job.FieldError
			if !errors.As(err, &field) || field.Field == "vehicle" {
				return "", err
			}
		}
		if err := a.knowPeople(ctx, &known, ""); err != nil {
			return "", err
		}
		for _, key := range places {
			p, _ := job.PlaceOf(key)
			if slices.ContainsFunc(open, func(o job.Job) bool {
				return o.VehicleID == known.VehicleID && o.Record.Arrival.Place == key && o.Step != job.Done
			}) {
				continue
			}
			j := known
			j.Panel, j.Kind, j.Material, j.Step = l.T(p.Name), p.Kind, "steel", job.Look
			j.Record.Arrival.Place, j.Record.Arrival.Side, j.Record.Arrival.Says = p.Key, p.Side, l.T("Hail")
			if _, err := a.records.AddJob(ctx, j); err != nil {
				return "", err
			}
		}
	}
	return first.PersonID, nil
}

// hailSheet is the sheet of all open panels of one customer.
type hailSheet struct {
	Person   job.Person
	Rows     []hailRow
	Classes  []string
	Totals   []int
	Marks    int
	Hours    float64
	Minor    int64
	Currency string
	Measured int
	Waiting  int // queued or measured at the moment
	Form     captureForm
	Problem  string
	Least    int
}

type hailRow struct {
	Job     job.Job
	Last    job.Capture
	Counts  []int
	Ticked  bool
	Offered bool
}

func (a *App) sheetPage(w http.ResponseWriter, r *http.Request) {
	a.showSheet(w, r, http.StatusOK, "")
}

func (a *App) showSheet(w http.ResponseWriter, r *http.Request, status int, problem string) {
	v, err := a.sheet(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	v.Problem = problem
	a.render(w, r, status, "sheet", view{Title: "Hail day", Place: "bench", Data: v})
}

// openJobs are a customer's jobs that are on the bench, by vehicle and in the order they were made.
func (a *App) openJobs(ctx context.Context, person string) ([]job.Job, error) {
	jobs, err := a.records.FindJobs(ctx, store.Query{PersonID: person, Limit: maxSheet})
	jobs = slices.DeleteFunc(jobs, func(j job.Job) bool { return j.Step == job.Done })
	slices.SortFunc(jobs, func(a, b job.Job) int { return int(a.Number - b.Number) })
	return jobs, err
}

func (a *App) sheet(r *http.Request) (hailSheet, error) {
	ctx := r.Context()
	l := a.lang(r)
	v := hailSheet{Form: captureForm{Values: captureDefaults()}, Totals: make([]int, len(job.ClassMM)+1), Least: capture.MinSweep}
	var err error
	if v.Person, err = a.records.Person(ctx, r.PathValue("person")); err != nil {
		return v, err
	}
	for i, mm := range job.ClassMM {
		from := 0.0
		if i > 0 {
			from = job.ClassMM[i-1]
		}
		v.Classes = append(v.Classes, l.Number(from, 0)+" - "+l.Number(mm, 0))
	}
	v.Classes = append(v.Classes, "> "+l.Number(job.ClassMM[len(job.ClassMM)-1], 0))
	jobs, err := a.openJobs(ctx, v.Person.ID)
	if err != nil {
		return v, err
	}
	var ids, shown []string
	for _, j := range jobs {
		ids = append(ids, j.ID)
	}
	last, err := a.records.LastCaptures(ctx, ids)
	if err != nil {
		return v, err
	}
	for _, c := range last {
		shown = append(shown, c.ID)
	}
	sizes, err := a.records.SizesOf(ctx, shown)
	if err != nil {
		return v, err
	}
	for _, j := range jobs {
		c := last[j.ID]
		c.Sizes = sizes[c.ID]
		if c.State == job.Measured && j.Record.Corrected(c.ID) {
			if err := a.recount(ctx, &c); err != nil {
				return v, err
			}
		}
		row := hailRow{Job: j, Last: c, Offered: j.Record.Deal.Paper != "", Counts: make([]int, len(v.Totals))}
		switch c.State {
		case job.Measured:
			row.Counts = job.Classes(c.Sizes)
			row.Ticked = !row.Offered
			v.Measured++
			v.Marks += c.Marks
			v.Hours += c.Hours
			if v.Currency == "" || v.Currency == c.Currency {
				v.Currency = c.Currency
				v.Minor += c.TotalMinor
			}
			for i, n := range row.Counts {
				v.Totals[i] += n
			}
		case job.Queued, job.Measuring:
			v.Waiting++
		}
		v.Rows = append(v.Rows, row)
	}
	return v, nil
}

// recount counts the marks of a capture as the eye corrected them: those of its standing offer, which every correction makes anew.
func (a *App) recount(ctx context.Context, c *job.Capture) error {
	body, err := a.records.Attachment(ctx, c.JobID, workshop.StandingName(c.ID))
	if errors.Is(err, store.ErrNotFound) {
		return nil
	}
	var st workshop.Standing
	if err == nil {
		st, err = workshop.ReadStanding(body)
	}
	if err == nil {
		c.Count(st.Seen)
	}
	return err
}

// captureDefaults are the facts of a capture as they stand in an empty form.
func captureDefaults() map[string]string {
	return map[string]string{"distance": "", "width": "800", "height": "600", "kind": "shifted", "fine": "16", "coarse": "128", "profile": "sine"}
}

// sheetPhotos takes the photos of one folder in and queues them for the panel that the folder's name means. A script sends folder after folder.
func (a *App) sheetPhotos(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	l := a.lang(r)
	answer := func(status int, text string) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(status)
		sendJSON(w, map[string]string{"text": text})
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxUploadBytes)
	photos, order, values, err := receive(r)
	var jobs []job.Job
	if err == nil {
		jobs, err = a.openJobs(ctx, r.PathValue("person"))
	}
	var j job.Job
	if err == nil {
		plates := a.plates(ctx, r.PathValue("person"))
		j, err = job.Match(jobs, values["folder"], func(j job.Job) (vehicle, panel []string) {
			p, _ := job.PlaceOf(j.Record.Arrival.Place)
			return []string{j.Vehicle, plates[j.VehicleID]}, []string{j.Panel, p.Name, p.Key, words.German.T(p.Name)}
		})
	}
	var files map[string][]byte
	if err == nil {
		files, err = pack(j, photos, order, values)
	}
	if err == nil {
		_, err = a.bench.AddCapture(ctx, j.ID, "before", files)
	}
	if err != nil {
		answer(http.StatusUnprocessableEntity, l.T(err.Error()))
		return
	}
	answer(http.StatusOK, j.Vehicle+", "+j.Panel)
}

// plates of a customer's vehicles, by vehicle; without them the names must do.
func (a *App) plates(ctx context.Context, person string) map[string]string {
	out := map[string]string{}
	vehicles, err := a.records.Vehicles(ctx, "", person, maxSheet)
	if err != nil {
		return out
	}
	for _, v := range vehicles {
		out[v.ID] = v.Plate
	}
	return out
}

// quoteLot makes one quote for the ticked panels.
func (a *App) quoteLot(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	p, err := a.bench.QuoteLot(r.Context(), r.PostForm["job"], "")
	var field *job.FieldError
	if errors.As(err, &field) {
		a.showSheet(w, r, http.StatusUnprocessableEntity, field.Text)
		return
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+p.JobID+"/offer#answer", http.StatusSeeOther)
}

// sheetCSV is the sheet for a spreadsheet or an insurer's list.
func (a *App) sheetCSV(w http.ResponseWriter, r *http.Request) {
	v, err := a.sheet(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	l := a.lang(r)
	head := []string{l.T("Vehicle"), l.T("Panel"), l.T("marks")}
	for _, c := range v.Classes {
		head = append(head, c+" mm")
	}
	head = append(head, l.T("deepest")+" mm", l.T("hours"), l.T("price"), l.T("currency"))
	list := tables.Table{Columns: head}
	for _, row := range v.Rows {
		if row.Last.State != job.Measured {
			continue
		}
		cells := []string{row.Job.Vehicle, row.Job.Panel, strconv.Itoa(row.Last.Marks)}
		for _, n := range row.Counts {
			cells = append(cells, strconv.Itoa(n))
		}
		list.Rows = append(list.Rows, append(cells, strconv.FormatFloat(row.Last.DeepUM/1000, 'f', 2, 64), strconv.FormatFloat(row.Last.Hours, 'f', 2, 64), fmt.Sprintf("%d.%02d", row.Last.TotalMinor/100, row.Last.TotalMinor%100), row.Last.Currency))
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="hail.csv"`)
	w.Write([]byte(tables.Mark))
	w.Write(list.CSV(','))
}
