package web

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"fairmetal/job"
	"fairmetal/rack"
	"fairmetal/words"
)

// drawnAreas are the areas as the map shows them.
func drawnAreas(access rack.Access, l words.Lang) (string, error) {
	type drawn struct {
		rack.Area
		Says string `json:"says"`
	}
	var out []drawn
	for _, r := range access.Areas {
		says := l.T("no bar gets in")
		if r.Behind {
			says = l.T("a bar gets in")
		}
		r.Name = l.T(r.Name)
		out = append(out, drawn{r, says})
	}
	b, err := json.Marshal(out)
	return string(b), err
}

// tellBehind notes how a part of the panel is reached from behind, or takes that back, and makes the offer anew.
func (a *App) tellBehind(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	ctx := r.Context()
	capture := r.PostFormValue("capture")
	j, err := a.records.Job(ctx, r.PathValue("id"))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	if r.PostFormValue("do") == "forget" {
		j.Record.Arrival.Forget(r.PostFormValue("area"))
	} else {
		err = a.readBehind(r, capture, &j.Record.Arrival)
	}
	if err == nil {
		err = a.records.SaveJob(ctx, j)
	}
	a.seenAnew(w, r, j, capture, "behind", err)
}

// readBehind reads the form of one area; halves are those of the capture that is shown.
func (a *App) readBehind(r *http.Request, capture string, at *job.Arrival) error {
	c, err := a.records.Capture(r.Context(), capture)
	if err != nil {
		return err
	}
	v, err := a.result(r.Context(), c)
	if err != nil {
		return err
	}
	if v.Document == nil {
		return &job.FieldError{Field: "capture", Text: "These photos are not measured: wait for it, or take them again."}
	}
	var wrong error
	figure := func(name string, missing float64) float64 {
		s := strings.ReplaceAll(strings.TrimSpace(r.PostFormValue(name)), ",", ".")
		if s == "" {
			return missing
		}
		x, err := strconv.ParseFloat(s, 64)
		if err != nil && wrong == nil {
			wrong = &job.FieldError{Field: name, Text: "Write millimetres as plain figures, such as 120."}
		}
		return x
	}
	area := rack.Area{Name: r.PostFormValue("shape"), Behind: r.PostFormValue("behind") == "yes", Why: strings.TrimSpace(r.PostFormValue("area_why"))}
	if area.Behind {
		area.ReachMM, area.GapMM = figure("reach", 0), figure("gap", 0)
	}
	g := v.Document.Grid
	var middle [2]float64
	middle[0], middle[1] = g.XY(g.Cols/2, g.Rows/2)
	none := math.NaN()
	corner, opposite := [2]float64{figure("x0", none), figure("y0", none)}, [2]float64{figure("x1", none), figure("y1", none)}
	if wrong != nil {
		return wrong
	}
	shape, name := area.Name, strings.TrimSpace(r.PostFormValue("area"))
	if shape == job.Drawn {
		area.OutlineMM, err = job.DrawnOutline(r.PostFormValue("outline"))
	} else {
		area.OutlineMM, err = job.AreaOutline(shape, middle, corner, opposite)
	}
	switch {
	case err != nil:
		return err
	case (shape == job.Drawn || shape == job.Rectangle) && name != "":
		area.Name = name
	case shape == job.Drawn:
		area.Name = at.NextArea()
	case shape == job.Rectangle:
		area.Name = fmt.Sprintf("%g to %g, %g to %g mm", area.OutlineMM[0][0], area.OutlineMM[2][0], area.OutlineMM[0][1], area.OutlineMM[2][1])
	}
	return at.Tell(area)
}
