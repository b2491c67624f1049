package demo

import (
	"context"
	"encoding/json"
	"io/fs"
	"math"
	"testing"

	"fairmetal/inspection"
	"fairmetal/internal/memfs"
	"fairmetal/job"
	"fairmetal/mark"
	"fairmetal/scene"
	"fairmetal/store"
	"fairmetal/workshop"
)

// TestFleetIsMeasuredRight measures three captures of the fleet: the camera and the measuring know nothing of each other, truth is exact.
func TestFleetIsMeasuredRight(t *testing.T) {
	for _, n := range scene.Fleet() {
		if n.Key != "bonnet-four" && n.Key != "door-raised" && n.Key != "roof-hail" {
			continue
		}
		c, err := scene.Render(n.Spec, nil)
		if err != nil {
			t.Fatal(err)
		}
		r, err := inspection.Run(t.Context(), memfs.FS(c.Files), nil)
		if err != nil {
			t.Fatalf("%s: %v", n.Key, err)
		}
		if len(r.Marks) != len(c.Truth.Marks) {
			t.Errorf("%s: %d marks, want %d", n.Key, len(r.Marks), len(c.Truth.Marks))
		}
		for _, want := range c.Truth.Marks {
			found := false
			for _, m := range r.Marks {
				if math.Hypot(m.XMM-want.XMM, m.YMM-want.YMM) > 1.5 {
					continue
				}
				found = true
				if limit := math.Max(0.04*want.DepthUM, 4); math.Abs(m.DepthUM-want.DepthUM) > limit {
					t.Errorf("%s %s: depth %.1f um, want %.1f", n.Key, want.ID, m.DepthUM, want.DepthUM)
				}
				if string(m.Kind) != want.Kind {
					t.Errorf("%s %s: %s, want %s", n.Key, want.ID, m.Kind, want.Kind)
				}
			}
			if !found {
				t.Errorf("%s %s was not found within 1.5 mm", n.Key, want.ID)
			}
		}
	}
}

// TestWorkshopMeasures takes one job through store and workshop, kills nothing and loses nothing.
func TestWorkshopMeasures(t *testing.T) {
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	w := workshop.New(st)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	events, end := w.Listen()
	defer end()
	var spec scene.Spec
	for _, n := range scene.Fleet() {
		if n.Key == "tailgate-before" {
			spec = n.Spec
		}
	}
	c, err := scene.Render(spec, nil)
	if err != nil {
		t.Fatal(err)
	}
	j, err := st.AddJob(ctx, job.Job{Vehicle: "Van 05", Panel: "Tailgate", Kind: "tailgate", Material: "aluminium"})
	if err != nil {
		t.Fatal(err)
	}
	good, err := w.AddCapture(ctx, j.ID, "before", c.Files)
	if err != nil {
		t.Fatal(err)
	}
	delete(c.Files, "u016-00.jpg")
	bad, err := w.AddCapture(ctx, j.ID, "torn", c.Files)
	if err != nil {
		t.Fatal(err)
	}
	state := map[string]job.State{}
	for state[bad.ID] != job.Refused {
		e := <-events
		state[e.CaptureID] = e.State
	}
	stop()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	got, err := st.Capture(t.Context(), good.ID)
	if err != nil || got.State != job.Measured || got.Marks != 2 {
		t.Errorf("%+v, %v", got, err)
	}
	torn, err := st.Capture(t.Context(), bad.ID)
	if err != nil || torn.State != job.Refused || torn.Message == "" {
		t.Errorf("%+v, %v", torn, err)
	}
	o, err := workshop.Offer(st.Folder(t.Context(), good.ID))
	if err != nil || o.Quote.TotalMinor == 0 || o.Plan.Forecast.Hits == 0 {
		t.Errorf("offer %+v, %v", o.Quote, err)
	}
	after, err := st.Job(t.Context(), j.ID)
	if err != nil || after.Step != job.Offer {
		t.Errorf("the job stands at %s, %v", after.Step, err)
	}
	data, err := fs.ReadFile(st.Folder(t.Context(), good.ID), "marks.json")
	var m struct{ Marks []mark.Mark }
	if err != nil || json.Unmarshal(data, &m) != nil || len(m.Marks) != 2 {
		t.Errorf("marks.json: %v", err)
	}
}
