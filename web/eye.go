package web

import (
	"errors"
	"net/http"
	"slices"
	"strings"

	"fairmetal/job"
)

// correct notes a correction by hand of what was measured, and makes the offer anew.
func (a *App) correct(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	e := job.Eye{Capture: r.PostFormValue("capture"), Do: r.PostFormValue("do"), Marks: r.PostForm["mark"], Name: r.PostFormValue("name"), Kind: r.PostFormValue("kind"), MM: number(r.PostFormValue("mm")), Why: r.PostFormValue("why")}
	if e.Do == "rename" || e.Do == "merge" {
		e.MM = 0
	}
	ctx := r.Context()
	j, err := a.records.Job(ctx, r.PathValue("id"))
	if err == nil {
		err = e.Check()
	}
	if err == nil && e.Do == "split" {
		err = a.splitAt(r, &e)
	}
	if err == nil {
		j.Record.Eye = append(slices.Clone(j.Record.Eye), e)
		err = a.records.SaveJob(ctx, j)
	}
	a.seenAnew(w, r, j, e.Capture, "eye", err)
}

// splitAt is where a mark is cut: at the place that was given, else in its middle.
func (a *App) splitAt(r *http.Request, e *job.Eye) error {
	c, err := a.records.Capture(r.Context(), e.Capture)
	if err != nil {
		return err
	}
	v, err := a.result(r.Context(), c)
	if err != nil {
		return err
	}
	for _, m := range v.Marks {
		if m.ID != e.Marks[0] {
			continue
		}
		e.XMM, e.YMM = m.XMM, m.YMM
		x, y := strings.TrimSpace(r.PostFormValue("x")), strings.TrimSpace(r.PostFormValue("y"))
		if x != "" && y != "" {
			if !m.Inside(number(x), number(y), 1, 0) {
				return &job.FieldError{Field: "x", Text: "This place is not in the mark: tap one inside it on the map, or leave the place empty."}
			}
			e.XMM, e.YMM = number(x), number(y)
		}
	}
	return nil
}

// undoCorrection takes the last correction of a capture back.
func (a *App) undoCorrection(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	capture := r.PostFormValue("capture")
	j, err := a.records.Job(r.Context(), r.PathValue("id"))
	if err == nil {
		for i := len(j.Record.Eye) - 1; i >= 0; i-- {
			if j.Record.Eye[i].Capture == capture {
				j.Record.Eye = slices.Delete(slices.Clone(j.Record.Eye), i, i+1)
				break
			}
		}
		err = a.records.SaveJob(r.Context(), j)
	}
	a.seenAnew(w, r, j, capture, "eye", err)
}

// seenAnew prices the corrected marks and shows them at a part of the page, or says what is wrong.
func (a *App) seenAnew(w http.ResponseWriter, r *http.Request, j job.Job, capture, part string, err error) {
	if err == nil {
		_, err = a.bench.Reprice(r.Context(), j.ID, capture)
	}
	a.seen(w, r, j, capture, part, err)
}

// seen leads back to the photos, or says there what is wrong.
func (a *App) seen(w http.ResponseWriter, r *http.Request, j job.Job, capture, part string, err error) {
	var field *job.FieldError
	if errors.As(err, &field) {
		r.URL.RawQuery = "c=" + capture
		a.showLook(w, r, http.StatusUnprocessableEntity, field.Text)
		return
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/jobs/"+j.ID+"/look?c="+capture+"#"+part, http.StatusSeeOther)
}
