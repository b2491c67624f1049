package web_test

import (
	"encoding/binary"
	"encoding/json"
	"maps"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fairmetal/job"
	"fairmetal/surface"
	"fairmetal/workshop"
)

// mirrored turns the kept result into that of an undamaged other side: its form seen in a mirror, without the dent.
func mirrored(t *testing.T) map[string][]byte {
	t.Helper()
	files := maps.Clone(kept.files)
	var doc map[string]json.RawMessage
	var g surface.Grid
	err := json.Unmarshal(files["surface.json"], &doc)
	if err == nil {
		err = json.Unmarshal(doc["grid"], &g)
	}
	if err != nil {
		t.Fatal(err)
	}
	g.X0MM = -(g.X0MM + float64(g.Cols-1)*g.PitchMM)
	doc["grid"], _ = json.Marshal(g)
	if files["surface.json"], err = json.Marshal(doc); err != nil {
		t.Fatal(err)
	}
	form := make([]byte, 0, len(files["form.f32"]))
	height := make([]byte, 0, cap(form))
	for i := range g.Len() {
		from := 4 * (i/g.Cols*g.Cols + g.Cols - 1 - i%g.Cols)
		form = append(form, files["form.f32"][from:from+4]...)
		height = binary.LittleEndian.AppendUint32(height, math.Float32bits(0))
	}
	files["form.f32"], files["height.f32"], files["marks.json"] = form, height, []byte(`{"marks":[]}`)
	return files
}

// TestTwinFromTheOtherSide: the photos are measured once more over the other side of the vehicle, as a capture by itself that says so; a panel of
// another vehicle, or one that has been worked on, is refused.
func TestTwinFromTheOtherSide(t *testing.T) {
	y := openYard(t)
	measuredOnce(t)
	ctx := t.Context()
	van, err := y.st.SaveVehicle(ctx, job.Vehicle{Name: "Van 07"})
	if err != nil {
		t.Fatal(err)
	}
	side := func(side, vehicle string, pictures, files map[string][]byte) (job.Job, job.Capture) {
		t.Helper()
		j := door
		j.VehicleID, j.Record.Arrival.Side, j.Panel = vehicle, side, "Sliding door, "+side
		j, err := y.st.AddJob(ctx, j)
		if err != nil {
			t.Fatal(err)
		}
		c, err := y.st.AddCapture(ctx, j.ID, "before", pictures)
		if err != nil {
			t.Fatal(err)
		}
		done := kept.c
		done.ID, done.JobID, done.Title = c.ID, j.ID, "before"
		if err := y.st.Finish(ctx, done, files); err != nil {
			t.Fatal(err)
		}
		return j, done
	}
	pictures := map[string][]byte{}
	for _, f := range photos(t) {
		if pictures[filepath.Base(f)], err = os.ReadFile(f); err != nil {
			t.Fatal(err)
		}
	}
	j, c := side("left", van.ID, pictures, kept.files)
	_, twin := side("right", van.ID, nil, mirrored(t))
	_, strange := side("right", "", nil, kept.files)
	has(t, y.get("/jobs/"+j.ID+"/look"), "Use the other side as the form", `<option value="`+twin.ID+`">`)
	address := "/jobs/" + j.ID + "/twin"
	if status, _, _ := y.post(address, url.Values{"capture": {c.ID}, "twin": {strange.ID}}); status != http.StatusUnprocessableEntity {
		t.Errorf("a door of another vehicle: %d", status)
	}
	y.must(address, url.Values{"capture": {c.ID}, "twin": {twin.ID}})
	captures, err := y.st.Captures(ctx, j.ID)
	if err != nil || len(captures) != 2 || captures[1].State != job.Queued || captures[1].Title != workshop.OverTwin {
		t.Fatalf("%+v, %v", captures, err)
	}
	over := captures[1]
	if err := workshop.New(y.st).Measure(ctx, over); err != nil {
		t.Fatal(err)
	}
	if over, err = y.st.Capture(ctx, over.ID); err != nil || over.State != job.Measured || math.Abs(over.DeepUM/c.DeepUM-1) > 0.01 {
		t.Errorf("over the twin %.1f um, alone %.1f um, %s %s, %v", over.DeepUM, c.DeepUM, over.State, over.Message, err)
	}
	has(t, y.get("/jobs/"+j.ID+"/look?c="+over.ID), "The form is that of the other side.")
	if strings.Contains(y.get("/jobs/"+j.ID+"/look?c="+c.ID), "The form is that of the other side.") {
		t.Error("the photos measured by themselves tell of a twin")
	}
	worked := y.job(j.ID)
	worked.Record.Work.Hits = []job.HitDone{{Key: "k", Capture: c.ID, Round: 1, N: 1, Did: "done"}}
	if err := y.st.SaveJob(ctx, worked); err != nil {
		t.Fatal(err)
	}
	if status, _, _ := y.post(address, url.Values{"capture": {c.ID}, "twin": {twin.ID}}); status != http.StatusUnprocessableEntity {
		t.Errorf("after work began: %d", status)
	}
}
