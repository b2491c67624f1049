package web

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"fairmetal/job"
	"fairmetal/offer"
)

// listed is how many people and vehicles a field offers to choose from.
const listed = 300

// jobForm is the form for a job with what was typed and what is wrong.
type jobForm struct {
	Job      job.Job
	Plate    string
	Known    bool // customer and vehicle are known: only the panel is asked for
	Field    string
	Problem  string
	Drawing  drawing
	People   []job.Person
	Vehicles []job.Vehicle
}

// newJobPage asks for customer, vehicle and panel; with ?job= for another panel of the same vehicle, with ?vehicle= or ?person= for what
// is known already.
func (a *App) newJobPage(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	f := jobForm{Job: job.Job{Material: "steel"}}
	var err error
	if id := r.FormValue("job"); id != "" {
		var old job.Job
		if old, err = a.records.Job(ctx, id); err == nil {
			f.Job.Customer, f.Job.PersonID, f.Job.Vehicle, f.Job.VehicleID, f.Job.Material = old.Customer, old.PersonID, old.Vehicle, old.VehicleID, old.Material
			f.Known = true
		}
	} else if id := r.FormValue("vehicle"); id != "" {
		var v job.Vehicle
		if v, err = a.records.Vehicle(ctx, id); err == nil {
			f.Job.Vehicle, f.Job.VehicleID, f.Job.PersonID, f.Plate, f.Known = v.Name, v.ID, v.PersonID, v.Plate, true
			if v.PersonID != "" {
				var p job.Person
				p, err = a.records.Person(ctx, v.PersonID)
				f.Job.Customer = p.Title()
			}
		}
	} else if id := r.FormValue("person"); id != "" {
		var p job.Person
		if p, err = a.records.Person(ctx, id); err == nil {
			f.Job.Customer, f.Job.PersonID = p.Title(), p.ID
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.showJobForm(w, r, http.StatusOK, f)
}

func (a *App) showJobForm(w http.ResponseWriter, r *http.Request, status int, f jobForm) {
	f.Drawing = drawVehicle(f.Job.Record.Arrival.Place, f.Job.Panel, a.lang(r))
	f.Drawing.Submit = f.Known
	if !f.Known {
		var err error
		if f.People, err = a.records.People(r.Context(), "", listed); err == nil {
			f.Vehicles, err = a.records.Vehicles(r.Context(), "", f.Job.PersonID, listed)
		}
		if err != nil {
			a.fail(w, r, err)
			return
		}
	}
	a.render(w, r, status, "newjob", view{Title: "New job", Place: "bench", Data: f})
}

func (a *App) addJob(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	ctx := r.Context()
	get := func(k string) string { return strings.TrimSpace(r.PostFormValue(k)) }
	f := jobForm{Plate: get("plate"), Known: get("vehicle_id") != ""}
	j := &f.Job
	j.Customer, j.Vehicle, j.PersonID, j.VehicleID, j.Material = get("customer"), get("vehicle"), get("person_id"), get("vehicle_id"), "steel"
	if m := get("material"); m != "" {
		j.Material = m
	}
	if j.Vehicle == "" {
		j.Vehicle = f.Plate
	}
	a.pickPanel(r, j)
	err := j.Check()
	if err == nil {
		err = a.knowPeople(ctx, j, f.Plate)
	}
	var saved job.Job
	if err == nil {
		saved, err = a.records.AddJob(ctx, *j)
	}
	var field *job.FieldError
	if errors.As(err, &field) {
		f.Field, f.Problem = field.Field, field.Text
		a.showJobForm(w, r, http.StatusUnprocessableEntity, f)
		return
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+saved.ID+"/arrive", http.StatusSeeOther)
}

// pickPanel reads the panel: picked on the drawing, else typed.
func (a *App) pickPanel(r *http.Request, j *job.Job) {
	typed := strings.TrimSpace(r.PostFormValue("panel"))
	if p, ok := job.PlaceOf(r.PostFormValue("place")); ok {
		j.Record.Arrival.Place, j.Record.Arrival.Side, j.Kind, j.Panel = p.Key, p.Side, p.Kind, a.lang(r).T(p.Name)
		if typed != "" {
			j.Panel = typed
		}
		return
	}
	j.Record.Arrival.Place, j.Panel = "", typed
	if k := r.PostFormValue("kind"); k != "" {
		j.Kind = k
	} else if j.Kind == "" {
		j.Kind = offer.PanelKind(typed)
	}
}

// knowPeople finds the job's customer and vehicle among those that are known, by their names or the plate, or adds them.
func (a *App) knowPeople(ctx context.Context, j *job.Job, plate string) error {
	if j.PersonID == "" && j.Customer != "" {
		found, err := a.records.People(ctx, j.Customer, listed)
		if err != nil {
			return err
		}
		for _, p := range found {
			if strings.EqualFold(p.Title(), j.Customer) || strings.EqualFold(p.Name, j.Customer) {
				j.PersonID, j.Customer = p.ID, p.Title()
				break
			}
		}
		if j.PersonID == "" {
			p, err := a.records.SavePerson(ctx, job.Person{Name: j.Customer})
			if err != nil {
				return err
			}
			j.PersonID, j.Customer = p.ID, p.Title()
		}
	}
	if j.VehicleID != "" {
		return nil
	}
	text := j.Vehicle
	if plate != "" {
		text = plate
	}
	found, err := a.records.Vehicles(ctx, text, "", listed)
	if err != nil {
		return err
	}
	for _, v := range found {
		// A plate is one vehicle's; a name such as "Van 12" is one of this customer's.
		if plate != "" && strings.EqualFold(v.Plate, plate) || v.PersonID == j.PersonID && strings.EqualFold(v.Name, j.Vehicle) && (plate == "" || v.Plate == "") {
			j.VehicleID, j.Vehicle = v.ID, v.Name
			return nil
		}
	}
	v, err := a.records.SaveVehicle(ctx, job.Vehicle{PersonID: j.PersonID, Name: j.Vehicle, Plate: plate})
	j.VehicleID = v.ID
	return err
}

// found are the names that a field offers while somebody types.
type found struct {
	People   []string `json:"people"`
	Vehicles []string `json:"vehicles"`
}

// find lists the people whose name fits what is typed, and their vehicles where it is one person's name.
func (a *App) find(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	typed := strings.TrimSpace(r.FormValue("customer"))
	out := found{People: []string{}, Vehicles: []string{}}
	people, err := a.records.People(ctx, typed, 20)
	one := ""
	for _, p := range people {
		out.People = append(out.People, p.Title())
		if strings.EqualFold(p.Title(), typed) {
			one = p.ID
		}
	}
	if err == nil && one != "" {
		var vehicles []job.Vehicle
		vehicles, err = a.records.Vehicles(ctx, "", one, listed)
		for _, v := range vehicles {
			out.Vehicles = append(out.Vehicles, v.Name)
		}
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	w.Header().Set("Cache-Control", "no-store")
	sendJSON(w, out)
}
