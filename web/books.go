package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"fairmetal/books"
	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/vin"
	"fairmetal/workshop"
)

// Rows of a list on a page, and of a list that leaves the house.
const (
	bookRows = 50
	allRows  = 1_000_000
)

// booksView is the place where everything is found again.
type booksView struct {
	Text     string
	People   []job.Person
	Vehicles []job.Vehicle
	Jobs     []job.Job
	Papers   []paperRow
}

type paperRow struct {
	job.Paper
	File string
}

// paperRows names the file that opens each paper.
func paperRows(papers []job.Paper) []paperRow {
	var out []paperRow
	for _, p := range papers {
		f := map[string]string{"quote": "quote.pdf", "report": "report.pdf"}[p.Kind]
		if f == "" {
			f = "invoice.pdf"
		}
		out = append(out, paperRow{p, f})
	}
	return out
}

func (a *App) booksPage(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	v := booksView{Text: r.FormValue("q")}
	var err error
	if v.People, err = a.records.People(ctx, v.Text, bookRows); err == nil {
		v.Vehicles, err = a.records.Vehicles(ctx, v.Text, "", bookRows)
	}
	if err == nil && v.Text != "" {
		v.Jobs, err = a.records.FindJobs(ctx, store.Query{Text: v.Text, Limit: bookRows})
	}
	if err == nil {
		var papers []job.Paper
		papers, err = a.records.Papers(ctx, "", 4*bookRows)
		for _, p := range paperRows(papers) {
			if v.Text == "" && len(v.Papers) < bookRows || v.Text != "" && strings.Contains(strings.ToLower(p.Number), strings.ToLower(v.Text)) {
				v.Papers = append(v.Papers, p)
			}
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "books", view{Title: "Books", Place: "books", Data: v})
}

// recordView is the page of a person or a vehicle.
type recordView struct {
	Form     section
	Person   job.Person
	Vehicle  job.Vehicle
	VINNotes []string
	Owners   []job.Person
	Vehicles []job.Vehicle
	Jobs     []job.Job
}

func personFields(p *job.Person) []field {
	return []field{textField("name", "Name", &p.Name), textField("company", "Company", &p.Company), textField("street", "Street", &p.Street), textField("postcode", "Postcode", &p.Postcode), textField("city", "Town", &p.City), textField("country", "Country (two letters)", &p.Country),
		textField("phone", "Phone", &p.Phone), textField("email", "E-mail", &p.Email), textField("tax id", "VAT number", &p.TaxID), choiceField("lang", "Language of papers", &p.Lang, "", "en", "de"), areaField("notes", "Notes", &p.Notes)}
}

// newRecord stands in addresses for a record that is not there yet.
const newRecord = "new"

func (a *App) person(r *http.Request) (job.Person, error) {
	if r.PathValue("id") == newRecord {
		return job.Person{}, nil
	}
	p, err := a.records.Person(r.Context(), r.PathValue("id"))
	if err == nil && p.Erased {
		err = store.ErrNotFound
	}
	return p, err
}

func (a *App) personPage(w http.ResponseWriter, r *http.Request) {
	p, err := a.person(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.showPerson(w, r, http.StatusOK, p, section{Rev: p.Rev, Fields: personFields(&p)})
}

func (a *App) showPerson(w http.ResponseWriter, r *http.Request, status int, p job.Person, form section) {
	v := recordView{Form: form, Person: p}
	var err error
	title := "New person"
	if p.ID != "" {
		title = p.Title()
		if v.Vehicles, err = a.records.Vehicles(r.Context(), "", p.ID, bookRows); err == nil {
			v.Jobs, err = a.records.FindJobs(r.Context(), store.Query{PersonID: p.ID, Limit: bookRows})
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, status, "person", view{Title: title, Place: "books", Data: v})
}

func (a *App) savePerson(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	p, err := a.person(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	was := p
	form := section{Fields: personFields(&p)}
	err = form.read(r)
	if err == nil {
		p.Rev = form.Rev
		p, err = a.records.SavePerson(r.Context(), p)
	}
	if err != nil {
		status := form.refuse(err, was.Rev)
		a.showPerson(w, r, status, was, form)
		return
	}
	http.Redirect(w, r, "/books/people/"+p.ID, http.StatusSeeOther)
}

// erasePage tells what goes and what stays before a person's data is deleted.
func (a *App) erasePage(w http.ResponseWriter, r *http.Request) {
	p, err := a.person(r)
	var jobs []job.Job
	if err == nil {
		jobs, err = a.records.FindJobs(r.Context(), store.Query{PersonID: p.ID, Limit: allRows})
	}
	kept := 0
	for _, j := range jobs {
		papers, fault := a.records.Papers(r.Context(), j.ID, bookRows)
		if fault != nil {
			err = fault
		}
		for _, k := range papers {
			if k.Kind == "invoice" || k.Kind == "credit" {
				kept++
				break
			}
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "erase", view{Title: "Delete personal data", Place: "books", Data: struct {
		Person     job.Person
		Goes, Kept int
	}{p, len(jobs) - kept, kept}})
}

func (a *App) erasePerson(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	if err := a.records.ErasePerson(r.Context(), r.PathValue("id")); err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/books", http.StatusSeeOther)
}

func vehicleFields(v *job.Vehicle) []field {
	return []field{textField("vehicle", "Vehicle", &v.Name), textField("plate", "Plate", &v.Plate), textField("vin", "VIN", &v.VIN), wholeField("year", "Year", &v.Year), textField("colour", "Colour", &v.Colour), areaField("notes", "Notes", &v.Notes)}
}

func (a *App) vehicle(r *http.Request) (job.Vehicle, error) {
	if r.PathValue("id") == newRecord {
		return job.Vehicle{PersonID: r.URL.Query().Get("person")}, nil
	}
	return a.records.Vehicle(r.Context(), r.PathValue("id"))
}

func (a *App) vehiclePage(w http.ResponseWriter, r *http.Request) {
	v, err := a.vehicle(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.showVehicle(w, r, http.StatusOK, v, section{Rev: v.Rev, Fields: vehicleFields(&v)})
}

func (a *App) showVehicle(w http.ResponseWriter, r *http.Request, status int, c job.Vehicle, form section) {
	v := recordView{Form: form, Vehicle: c}
	var err error
	title := "New vehicle"
	if c.ID != "" {
		title = c.Name
		v.Jobs, err = a.records.FindJobs(r.Context(), store.Query{VehicleID: c.ID, Limit: bookRows})
	}
	if c.VIN != "" {
		n, fault := vin.Read(c.VIN)
		v.VINNotes = n.Notes
		if fault != nil {
			v.VINNotes = append(v.VINNotes, fault.Error())
		}
	}
	if err == nil {
		v.Owners, err = a.records.People(r.Context(), "", 10*bookRows)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, status, "vehicle", view{Title: title, Place: "books", Data: v})
}

func (a *App) saveVehicle(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	v, err := a.vehicle(r)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	was := v
	form := section{Fields: vehicleFields(&v)}
	err = form.read(r)
	v.PersonID = r.PostFormValue("person")
	was.PersonID = v.PersonID
	if err == nil && v.PersonID != "" {
		_, err = a.records.Person(r.Context(), v.PersonID)
	}
	if err == nil {
		v.Rev = form.Rev
		v, err = a.records.SaveVehicle(r.Context(), v)
	}
	if err != nil {
		status := form.refuse(err, was.Rev)
		a.showVehicle(w, r, status, was, form)
		return
	}
	http.Redirect(w, r, "/books/vehicles/"+v.ID, http.StatusSeeOther)
}

// figuresView is what the jobs came to.
type figuresView struct {
	Rows     []books.Row
	Kinds    []job.MarkKind
	Currency string
	Lesson   books.Lesson
	Now      int   // finished jobs that forecasts learn from as yet
	Rev      int64 // of those
}

// lessons are how many of the last finished jobs are learnt from.
const lessons = 200

func (a *App) figuresPage(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	set, err := a.bench.Settings(ctx)
	var v figuresView
	if err == nil {
		v, err = a.figures(r, set.Rates.Currency)
	}
	v.Now = len(set.Lessons)
	if err == nil {
		v.Rev, err = a.records.Setting(ctx, workshop.LessonsSetting, &set.Lessons)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "figures", view{Title: "Figures", Place: "books", Data: v})
}

// figures adds up what all jobs came to.
func (a *App) figures(r *http.Request, currency string) (figuresView, error) {
	v := figuresView{Currency: currency}
	sums, err := a.records.Sums(r.Context())
	if err != nil {
		return v, err
	}
	v.Rows = books.Figures(sums, currency)
	if v.Kinds, err = a.records.MarkKinds(r.Context()); err != nil {
		return v, err
	}
	v.Lesson, err = a.lesson(r)
	return v, err
}

// lesson learns from the last finished jobs.
func (a *App) lesson(r *http.Request) (books.Lesson, error) {
	var jobs []job.Timed
	for _, s := range []job.Step{job.Done, job.HandOver} {
		list, err := a.records.Timed(r.Context(), s, lessons)
		if err != nil {
			return books.Lesson{}, err
		}
		jobs = append(jobs, list...)
	}
	return books.Learn(jobs)
}

// takePace lets the forecasts of offers learn from the finished jobs.
func (a *App) takePace(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	l, err := a.lesson(r)
	if err == nil && !l.Enough() {
		err = &job.FieldError{Field: "pace", Text: "There are not yet three timed and finished jobs to learn from."}
	}
	if err == nil {
		rev, _ := strconv.ParseInt(r.PostFormValue("rev"), 10, 64)
		err = a.records.SaveSetting(r.Context(), workshop.LessonsSetting, rev, l.Data)
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/books/figures#lesson", http.StatusSeeOther)
}

// dueView lists who comes when.
type dueView struct {
	Jobs    []job.Job
	Problem string
	Number  string
	Due     string
}

// due lists jobs with an appointment that have not been handed over, the next first.
func (a *App) due(r *http.Request) ([]job.Job, error) {
	var out []job.Job
	for _, s := range []job.Step{job.Arrive, job.Look, job.Offer, job.Work} {
		list, err := a.records.FindJobs(r.Context(), store.Query{Step: s, Limit: lessons})
		if err != nil {
			return nil, err
		}
		for _, j := range list {
			if !j.Record.Arrival.Due.IsZero() {
				out = append(out, j)
			}
		}
	}
	sortBy(out, func(j job.Job) time.Time { return j.Record.Arrival.Due })
	return out, nil
}

func (a *App) duePage(w http.ResponseWriter, r *http.Request) {
	a.showDue(w, r, http.StatusOK, dueView{Due: time.Now().Add(24 * time.Hour).Format(dateTimeField)})
}

func (a *App) showDue(w http.ResponseWriter, r *http.Request, status int, v dueView) {
	var err error
	if v.Jobs, err = a.due(r); err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, status, "due", view{Title: "Appointments", Place: "books", Data: v})
}

// saveDue gives a job its appointment; an empty day takes it away.
func (a *App) saveDue(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	v := dueView{Number: r.PostFormValue("number"), Due: r.PostFormValue("due")}
	var at time.Time
	var err error
	if v.Due != "" {
		at, err = time.ParseInLocation(dateTimeField, v.Due, time.Local)
	}
	n, bad := strconv.ParseInt(strings.TrimLeft(strings.TrimSpace(v.Number), "#0"), 10, 64)
	switch {
	case err != nil:
		v.Problem = "Give day and time of the appointment."
	case bad != nil:
		v.Problem = "Give the number of the job."
	default:
		var jobs []job.Job
		if jobs, err = a.records.FindJobs(r.Context(), store.Query{Text: strconv.FormatInt(n, 10), Limit: allRows}); err != nil {
			a.fail(w, r, err)
			return
		}
		v.Problem = "There is no job of this number."
		for _, j := range jobs {
			if j.Number != n {
				continue
			}
			if err := a.change(r.Context(), j.ID, func(j *job.Job) error { j.Record.Arrival.Due = at.UTC(); return nil }); err != nil {
				a.fail(w, r, err)
				return
			}
			http.Redirect(w, r, "/books/appointments", http.StatusSeeOther)
			return
		}
	}
	a.showDue(w, r, http.StatusUnprocessableEntity, v)
}

// sendFile sends what leaves the house as a file to keep.
func sendFile(w http.ResponseWriter, name, kind string, data []byte) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="%s"`, name))
	w.Write(data)
}

func (a *App) calendarFile(w http.ResponseWriter, r *http.Request) {
	jobs, err := a.due(r)
	var data []byte
	if err == nil {
		var set workshop.Settings
		if set, err = a.bench.Settings(r.Context()); err == nil {
			data, err = books.Calendar(jobs, set.House.Name, func(j job.Job) string { return j.Vehicle + ", " + j.Panel + ": " + j.Customer })
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	sendFile(w, "appointments.ics", "text/calendar; charset=utf-8", data)
}

func (a *App) contactsFile(w http.ResponseWriter, r *http.Request) {
	people, err := a.records.People(r.Context(), "", allRows)
	var data []byte
	if err == nil {
		var set workshop.Settings
		if set, err = a.bench.Settings(r.Context()); err == nil {
			data, err = books.Contacts(people, set.House.Name)
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	sendFile(w, "contacts.vcf", "text/vcard; charset=utf-8", data)
}
