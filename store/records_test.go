package store

import (
	"errors"
	"testing"
	"time"

	"fairmetal/job"
)

func TestTwoPeopleOnOneJob(t *testing.T) { both(t, testTwoPeopleOnOneJob) }

func testTwoPeopleOnOneJob(t *testing.T, s *Store) {
	ctx := As(t.Context(), "ann")
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	mine, yours := j, j
	mine.Notes = "hail"
	mine.Record.Work.Hits = []job.HitDone{{Key: "k1", Round: 0, N: 1, Did: "done", At: time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)}}
	if err := s.SaveJob(ctx, mine); err != nil {
		t.Fatal(err)
	}
	yours.Notes = "something else"
	var conflict *job.ErrConflict
	if err := s.SaveJob(As(t.Context(), "ben"), yours); !errors.As(err, &conflict) {
		t.Fatalf("the second save of one revision: %v", err)
	}
	got, err := s.Job(ctx, j.ID)
	if err != nil || got.Notes != "hail" || got.Rev != 2 || len(got.Record.Work.Hits) != 1 || got.Record.Work.Hits[0].Key != "k1" {
		t.Errorf("kept: %+v, %v", got, err)
	}
	trail, err := s.Entries(ctx, j.ID, 10)
	if err != nil || len(trail) != 2 || trail[0].What != "job changed" || trail[0].User != "ann" || trail[1].What != "job added" {
		t.Errorf("trail: %+v, %v", trail, err)
	}
}

func TestFindJobs(t *testing.T) { both(t, testFindJobs) }

func testFindJobs(t *testing.T, s *Store) {
	ctx := t.Context()
	for _, j := range []job.Job{{Vehicle: "Van 12", Panel: "Roof", Customer: "Lindenhof Parcels"}, {Vehicle: "Van 13", Panel: "Door, left", Customer: "Brook Street Bakery", Step: job.Work}, {Vehicle: "Van 100%", Panel: "Door", Customer: "Lindenhof Parcels"}} {
		if _, err := s.AddJob(ctx, j); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		q    Query
		want int
	}{{Query{}, 3}, {Query{Text: "lindenhof"}, 2}, {Query{Text: "door brook"}, 1}, {Query{Text: "100%"}, 1}, {Query{Text: "%"}, 1}, {Query{Text: "_"}, 0}, {Query{Text: "#00002"}, 1}, {Query{Step: job.Work}, 1}, {Query{Text: "nobody"}, 0}} {
		c.q.Limit = 50
		got, err := s.FindJobs(ctx, c.q)
		if err != nil || len(got) != c.want {
			t.Errorf("%+v finds %d jobs, want %d: %v", c.q, len(got), c.want, err)
		}
	}
	n, err := s.CountJobs(ctx, Query{})
	if err != nil || n[job.Arrive] != 2 || n[job.Work] != 1 {
		t.Errorf("counts %v, %v", n, err)
	}
}

func TestPeopleVehiclesAndErasing(t *testing.T) { both(t, testPeopleVehiclesAndErasing) }

func testPeopleVehiclesAndErasing(t *testing.T, s *Store) {
	ctx := t.Context()
	p, err := s.SavePerson(ctx, job.Person{Name: "Kim Example", Company: "Lindenhof Parcels", Email: "kim@lindenhof.example"})
	if err != nil {
		t.Fatal(err)
	}
	v, err := s.SaveVehicle(ctx, job.Vehicle{PersonID: p.ID, Name: "Van 12"})
	if err != nil {
		t.Fatal(err)
	}
	var jobs [2]job.Job
	for i := range jobs {
		j := job.Job{Vehicle: v.Name, VehicleID: v.ID, PersonID: p.ID, Customer: p.Title(), Panel: "Roof"}
		j.Record.Arrival.Consent = job.Signature{Name: "Kim Example", At: time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)}
		if jobs[i], err = s.AddJob(ctx, j); err != nil {
			t.Fatal(err)
		}
	}
	p.Company = "Lindenhof Parcels and Post"
	old := p
	if p, err = s.SavePerson(ctx, p); err != nil {
		t.Fatal(err)
	}
	var conflict *job.ErrConflict
	if _, err := s.SavePerson(ctx, old); !errors.As(err, &conflict) {
		t.Errorf("an old revision of a person was saved: %v", err)
	}
	if j, err := s.Job(ctx, jobs[0].ID); err != nil || j.Customer != "Lindenhof Parcels and Post, Kim Example" {
		t.Errorf("the job names %q, %v", j.Customer, err)
	}
	if found, err := s.People(ctx, "kim lindenhof", 10); err != nil || len(found) != 1 {
		t.Errorf("found %v, %v", found, err)
	}
	if found, err := s.Vehicles(ctx, "van", p.ID, 10); err != nil || len(found) != 1 {
		t.Errorf("found %v, %v", found, err)
	}
	inv, err := s.AddPaper(ctx, job.Paper{JobID: jobs[1].ID, Kind: "invoice", Number: "2026-0001", Currency: "EUR", TotalMinor: 11900}, map[string][]byte{"invoice.pdf": []byte("pdf")})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Attach(ctx, jobs[0].ID, map[string][]byte{"flaw-1.jpg": []byte("photo")}); err != nil {
		t.Fatal(err)
	}
	if err := s.ErasePerson(ctx, p.ID); err != nil {
		t.Fatal(err)
	}
	if found, err := s.People(ctx, "", 10); err != nil || len(found) != 0 {
		t.Errorf("still listed: %v, %v", found, err)
	}
	if j, err := s.Job(ctx, jobs[0].ID); err != nil || j.Customer != "" || j.Record.Arrival.Consent.Given() {
		t.Errorf("a job without an invoice still names %q, %+v, %v", j.Customer, j.Record.Arrival.Consent, err)
	}
	if _, err := s.Attachment(ctx, jobs[0].ID, "flaw-1.jpg"); !errors.Is(err, ErrNotFound) {
		t.Errorf("the photo of an erased person's job: %v", err)
	}
	if j, err := s.Job(ctx, jobs[1].ID); err != nil || j.Customer == "" {
		t.Errorf("the invoiced job lost its customer: %+v, %v", j, err)
	}
	if b, err := s.Attachment(ctx, jobs[1].ID, inv.ID+"/invoice.pdf"); err != nil || string(b) != "pdf" {
		t.Errorf("the invoice: %q, %v", b, err)
	}
	if err := s.RemoveJob(ctx, jobs[1].ID); err == nil {
		t.Error("a job with an invoice was removed")
	}
	if err := s.RemoveJob(ctx, jobs[0].ID); err != nil {
		t.Error(err)
	}
}

func TestPaperNumbers(t *testing.T) { both(t, testPaperNumbers) }

func testPaperNumbers(t *testing.T, s *Store) {
	ctx := t.Context()
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"2026-0001", "2026-0002", "2026-0010"} {
		if n, err := s.NextNumber(ctx, "invoice", "2026-"); err != nil || (i < 2 && n != i+1) || (i == 2 && n != 3) {
			t.Errorf("next number %d, %v", n, err)
		}
		if _, err := s.AddPaper(ctx, job.Paper{JobID: j.ID, Kind: "invoice", Number: want}, nil); err != nil {
			t.Fatal(err)
		}
	}
	if n, err := s.NextNumber(ctx, "invoice", "2026-"); err != nil || n != 11 {
		t.Errorf("after 0010 comes %d, %v", n, err)
	}
	if n, err := s.NextNumber(ctx, "invoice", "2027-"); err != nil || n != 1 {
		t.Errorf("a new year begins with %d, %v", n, err)
	}
	if _, err := s.AddPaper(ctx, job.Paper{JobID: j.ID, Kind: "invoice", Number: "2026-0001"}, nil); err == nil {
		t.Error("an invoice number was given twice")
	}
	for want := 1; want <= 2; want++ {
		if p, err := s.AddPaper(ctx, job.Paper{JobID: j.ID, Kind: "quote", Number: "Q-00001"}, nil); err != nil || p.Version != want {
			t.Errorf("version %d, %v", p.Version, err)
		}
	}
}

func TestSettings(t *testing.T) { both(t, testSettings) }

func testSettings(t *testing.T, s *Store) {
	ctx := t.Context()
	v := map[string]string{"usual": "yes"}
	rev, err := s.Setting(ctx, "house", &v)
	if err != nil || rev != 0 || v["usual"] != "yes" {
		t.Fatalf("%d, %v, %v", rev, v, err)
	}
	if err := s.SaveSetting(ctx, "house", 0, map[string]string{"name": "Fennel Yard"}); err != nil {
		t.Fatal(err)
	}
	var conflict *job.ErrConflict
	if err := s.SaveSetting(ctx, "house", 0, map[string]string{"name": "Other"}); !errors.As(err, &conflict) {
		t.Errorf("an old revision was saved: %v", err)
	}
	if rev, err = s.Setting(ctx, "house", &v); err != nil || rev != 1 || v["name"] != "Fennel Yard" {
		t.Errorf("%d, %v, %v", rev, v, err)
	}
	if err := s.SaveSetting(ctx, "house", rev, map[string]string{"name": "Third"}); err != nil {
		t.Error(err)
	}
	several := map[string]any{"house": &map[string]string{}, "unset": &map[string]string{"usual": "stays"}}
	if err := s.Settings(ctx, several); err != nil || (*several["house"].(*map[string]string))["name"] != "Third" || (*several["unset"].(*map[string]string))["usual"] != "stays" {
		t.Errorf("%v, %v", several, err)
	}
}

func TestListsAllOrNothing(t *testing.T) { both(t, testListsAllOrNothing) }

// testListsAllOrNothing: a list whose third record cannot be saved changes nothing and says which it was; without it all of the list is saved.
func testListsAllOrNothing(t *testing.T, s *Store) {
	ctx := t.Context()
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.SavePerson(ctx, job.Person{Name: "Ada Example"})
	if err != nil {
		t.Fatal(err)
	}
	v, err := s.SaveVehicle(ctx, job.Vehicle{Name: "Van 12"})
	if err != nil {
		t.Fatal(err)
	}
	oldJob, oldPerson, oldVehicle := j, p, v
	oldJob.Rev, oldPerson.Rev, oldVehicle.Rev = 7, 7, 7
	j.Notes, p.City, v.Plate = "hail", "Musterstadt", "XX 12"
	jobs := []job.Job{{Vehicle: "Van 13", Panel: "Door"}, j, oldJob}
	people := []job.Person{{Name: "Ben Example"}, p, oldPerson}
	vehicles := []job.Vehicle{{Name: "Van 13"}, v, oldVehicle}
	kept := func() (n int, changed bool) {
		t.Helper()
		a, err := s.FindJobs(ctx, Query{Limit: 9})
		if err != nil {
			t.Fatal(err)
		}
		b, err := s.People(ctx, "", 9)
		if err != nil {
			t.Fatal(err)
		}
		c, err := s.Vehicles(ctx, "", "", 9)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range a {
			changed = changed || x.Notes == "hail"
		}
		return len(a) + len(b) + len(c), changed
	}
	for what, err := range map[string]error{"jobs": s.SaveJobs(ctx, jobs), "people": s.SavePeople(ctx, people), "vehicles": s.SaveVehicles(ctx, vehicles)} {
		var at *ErrAt
		var conflict *job.ErrConflict
		if !errors.As(err, &at) || at.At != 2 || !errors.As(err, &conflict) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if n, changed := kept(); n != 3 || changed {
		t.Errorf("%d records, changed %v, after lists that failed", n, changed)
	}
	for what, err := range map[string]error{"jobs": s.SaveJobs(ctx, jobs[:2]), "people": s.SavePeople(ctx, people[:2]), "vehicles": s.SaveVehicles(ctx, vehicles[:2])} {
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	if n, changed := kept(); n != 6 || !changed {
		t.Errorf("%d records, changed %v", n, changed)
	}
}
