package main

import (
	"archive/zip"
	"bytes"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"

	"fairmetal/job"
	"fairmetal/store"
)

// TestSupportBundle holds counts and versions, and nothing that a person wrote: every text of the records here says PERSONAL.
func TestSupportBundle(t *testing.T) {
	ctx := store.As(t.Context(), "PERSONAL user")
	dir := filepath.Join(t.TempDir(), "PERSONAL-folder")
	s, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	p, err := s.SavePerson(ctx, job.Person{Name: "PERSONAL name", Company: "PERSONAL company", Street: "PERSONAL street", Email: "PERSONAL@PERSONAL.example", Phone: "PERSONAL", Notes: "PERSONAL"})
	must(err)
	v, err := s.SaveVehicle(ctx, job.Vehicle{PersonID: p.ID, Name: "PERSONAL van", Plate: "PERSONAL", VIN: "PERSONAL"})
	must(err)
	j, err := s.AddJob(ctx, job.Job{PersonID: p.ID, VehicleID: v.ID, Customer: "PERSONAL", Vehicle: "PERSONAL", Panel: "PERSONAL", Notes: "PERSONAL", Record: job.Record{Arrival: job.Arrival{Says: "PERSONAL"}}})
	must(err)
	_, err = s.AddCapture(ctx, j.ID, "PERSONAL title", map[string][]byte{"PERSONAL.jpg": []byte("PERSONAL photo")})
	must(err)
	_, err = s.AddPaper(ctx, job.Paper{JobID: j.ID, Kind: "quote", Number: "PERSONAL-1", State: "sent"}, map[string][]byte{"quote.pdf": []byte("PERSONAL")})
	must(err)
	must(s.SaveSetting(ctx, "house", 0, map[string]string{"name": "PERSONAL"}))
	_, err = s.AddUser(ctx, store.User{Name: "PERSONAL user", Role: job.Owner, Hash: "PERSONAL"})
	must(err)
	must(s.Note(ctx, "sign-in refused", "from PERSONAL"))
	out := filepath.Join(t.TempDir(), "b.zip")
	if code, said, errs := call(t, "support", "--dir", dir, "--out", out); code != 0 {
		t.Fatalf("%d %s %s", code, said, errs)
	}
	z, err := zip.OpenReader(out)
	must(err)
	defer z.Close()
	all := ""
	for _, f := range z.File {
		r, err := f.Open()
		must(err)
		b, err := io.ReadAll(r)
		must(err)
		all += f.Name + string(b)
	}
	for _, banned := range []string{"PERSONAL", j.ID, p.ID, dir} {
		if strings.Contains(all, banned) {
			t.Errorf("%q is in the bundle: %s", banned, all)
		}
	}
	for _, want := range []string{`"people": 1`, `"queued": 1`, `"job added": 1`, `"files": 2`, "fairmetal 0"} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is missing: %s", want, all)
		}
	}
	if code, _, _ := call(t, "support", "--dir", dir, "--out", out); code != exitFailed {
		t.Errorf("written over: %d", code)
	}
}

// TestLogForms: one JSON object a line for programs.
func TestLogForms(t *testing.T) {
	was := slog.Default()
	defer slog.SetDefault(was)
	var b bytes.Buffer
	logTo(&b, "json")
	slog.Info("request", "route", "GET /", "status", 200)
	if got := b.String(); !strings.HasPrefix(got, `{"time":`) || !strings.Contains(got, `"route":"GET /","status":200`) {
		t.Error(got)
	}
}
