package web_test

import (
	"bytes"
	"image/png"
	"net/http"
	"net/url"
	"strconv"
	"testing"

	"fairmetal/fair"
	"fairmetal/job"
	"fairmetal/workshop"
)

// TestProof: a dent is not fair; the panel as planned is better, mark by mark; the house's own limits are used at once.
func TestProof(t *testing.T) {
	y := openYard(t)
	j, _ := measured(t, y.st, door, "before")
	page := y.get("/jobs/" + j.ID + "/prove")
	has(t, page, "not fair", "one measured capture", "stripes.png")
	finished(t, y.st, j)
	page = y.get("/jobs/" + j.ID + "/prove")
	has(t, page, "was um", "Worst line", `data-file="planned.f32"`)
	own := fair.DefaultLimits(fair.Pale)
	own.SlopeMRad = 19.5
	if err := y.st.SaveSetting(t.Context(), workshop.LimitsSetting, 0, own); err != nil {
		t.Fatal(err)
	}
	has(t, y.get("/jobs/"+j.ID+"/prove"), "19.5 mrad")
}

// TestWhatIsLeftIsNotLost: a save on an old state shows both texts and takes the second try.
func TestWhatIsLeftIsNotLost(t *testing.T) {
	y := openYard(t)
	j, _ := measured(t, y.st, door, "before")
	path := "/jobs/" + j.ID + "/prove"
	y.must(path, url.Values{"rev": {strconv.FormatInt(j.Rev, 10)}, "left": {"first"}})
	status, _, body := y.post(path, url.Values{"rev": {strconv.FormatInt(j.Rev, 10)}, "left": {"second"}})
	if status != http.StatusConflict {
		t.Errorf("a save on an old state: %d", status)
	}
	now := y.job(j.ID)
	has(t, body, "first", ">second</textarea>", `value="`+strconv.FormatInt(now.Rev, 10)+`"`)
	y.must(path, url.Values{"rev": {strconv.FormatInt(now.Rev, 10)}, "left": {"second"}})
	if got := y.job(j.ID).Record.Departure.Left; got != "second" {
		t.Errorf("left %q", got)
	}
}

// TestStripesPicture differs where the dent is and refuses a light from below.
func TestStripesPicture(t *testing.T) {
	y := openYard(t)
	j, before := measured(t, y.st, job.Job{Vehicle: "Van 07", Panel: "Door"}, "before")
	after := finished(t, y.st, j)
	a, b := y.get("/captures/"+before.ID+"/stripes.png"), y.get("/captures/"+after.ID+"/stripes.png")
	m, err := png.Decode(bytes.NewReader([]byte(a)))
	if err != nil || m.Bounds().Dx() < 200 || a == b {
		t.Errorf("%v, the same: %v", err, a == b)
	}
	if status := y.status("/captures/" + before.ID + "/stripes.png?elevation=-3"); status != http.StatusUnprocessableEntity {
		t.Errorf("a light from below: %d", status)
	}
}
