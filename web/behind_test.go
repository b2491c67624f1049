package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"fairmetal/workshop"
)

// TestBehind: where no bar gets in, the standing offer pulls; taken back, it pushes again.
func TestBehind(t *testing.T) {
	y := openYard(t)
	j, c := measured(t, y.st, door, "before")
	address := "/jobs/" + j.ID + "/behind"
	pulls := func() (pulled, pushed int) {
		body, err := y.st.Attachment(t.Context(), j.ID, workshop.StandingName(c.ID))
		if err != nil {
			t.Fatal(err)
		}
		st, err := workshop.ReadStanding(body)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range st.Plan.Rounds {
			for _, h := range r.Hits {
				switch {
				case h.Method == "pull":
					pulled++
				case h.Method == "push":
					pushed++
				}
			}
		}
		return pulled, pushed
	}
	has(t, y.get("/jobs/"+j.ID+"/look"), "Reached from behind?", "left half")
	y.must(address, url.Values{"capture": {c.ID}, "do": {"tell"}, "shape": {"whole panel"}, "behind": {"no"}, "area_why": {"double skin"}})
	if pulled, pushed := pulls(); pulled == 0 || pushed != 0 {
		t.Errorf("closed: %d pulled, %d pushed from behind", pulled, pushed)
	}
	has(t, y.get("/jobs/"+j.ID+"/look"), "double skin", "no bar gets in (double skin)</span>")
	status, _, body := y.post(address, url.Values{"capture": {c.ID}, "do": {"tell"}, "shape": {"rectangle"}, "behind": {"yes"}, "reach": {"300"}, "x0": {"-40"}})
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `name="x0" value="-40"`) || !strings.Contains(body, "A rectangle needs") {
		t.Errorf("a rectangle of one edge: %d", status)
	}
	y.must(address, url.Values{"capture": {c.ID}, "do": {"tell"}, "shape": {"rectangle"}, "behind": {"yes"}, "reach": {"300"}, "gap": {"60"}, "x0": {"-200"}, "x1": {"200"}, "y0": {"-200"}, "y1": {"200,5"}})
	if areas := y.job(j.ID).Record.Arrival.Behind.Areas; len(areas) != 2 || areas[1].Name != "-200 to 200, -200 to 200.5 mm" || areas[1].ReachMM != 300 || areas[1].GapMM != 60 {
		t.Errorf("%+v", areas)
	}
	if pulled, pushed := pulls(); pushed == 0 {
		t.Errorf("a window behind the dent: %d pulled, %d pushed from behind", pulled, pushed)
	}
	y.must(address, url.Values{"capture": {c.ID}, "do": {"tell"}, "shape": {"drawn on the map"}, "behind": {"no"}, "outline": {"-50,-50 50,-50 0,60"}})
	if areas := y.job(j.ID).Record.Arrival.Behind.Areas; len(areas) != 3 || areas[2].Name != "area 1" || areas[2].OutlineMM[2] != [2]float64{0, 60} {
		t.Errorf("%+v", areas)
	}
	if status, _, body := y.post(address, url.Values{"capture": {c.ID}, "do": {"tell"}, "shape": {"drawn on the map"}, "behind": {"no"}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, "Draw around the part") {
		t.Errorf("nothing drawn: %d", status)
	}
	y.must(address, url.Values{"capture": {c.ID}, "do": {"forget"}, "area": {"whole panel"}})
	if areas := y.job(j.ID).Record.Arrival.Behind.Areas; len(areas) != 2 {
		t.Errorf("%+v", areas)
	}
}
