package workshop

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/mark"
	"fairmetal/offer"
)

// Standing is the offer on a capture as the job stands now: with the corrections by hand, the marks that were chosen, and what is known of
// the panel today.
type Standing struct {
	offer.Offer
	Seen   []mark.Mark `json:"seen"`   // as the eye corrected them
	Chosen []string    `json:"chosen"` // those of them that are offered
}

// StandingName is the name of the job's attachment that holds the standing offer on a capture. There is none while nothing has changed
// since the capture was measured.
func StandingName(captureID string) string { return "offer/" + captureID + ".json" }

// Reprice makes the offer on a measured capture anew and keeps it as the standing one.
func (w *Workshop) Reprice(ctx context.Context, jobID, captureID string) (Standing, error) {
	var st Standing
	j, err := w.Store.Job(ctx, jobID)
	if err != nil {
		return st, err
	}
	c, err := w.Store.Capture(ctx, captureID)
	if err != nil {
		return st, err
	}
	if c.JobID != j.ID || c.State != job.Measured {
		return st, &job.FieldError{Field: "capture", Text: "These photos are not measured: wait for it, or take them again."}
	}
	stored, err := inspection.Load(w.Store.Folder(ctx, c.ID))
	if err != nil {
		return st, err
	}
	set, err := w.Settings(ctx)
	if err != nil {
		return st, err
	}
	st.Seen = job.Seen(stored.Marks, stored.Surface, c.ID, j.Record.Eye)
	stored.Marks = Chosen(st.Seen, j.Record.Deal)
	st.Chosen = []string{}
	for _, m := range stored.Marks {
		st.Chosen = append(st.Chosen, m.ID)
	}
	if st.Offer, err = offer.MakeWith(stored, w.knowing(ctx, j, c.ID, stored), set.Rack, set.Rates, set.Books(j)); err != nil {
		return st, err
	}
	body, err := json.Marshal(st)
	if err != nil {
		return st, err
	}
	if err := w.Store.Attach(ctx, j.ID, map[string][]byte{StandingName(c.ID): body}); err != nil {
		return st, err
	}
	figures(&c, st.Offer)
	return st, w.Store.SetOffer(ctx, c)
}

// Chosen are the marks that a deal is about: those named where it is about some, else all.
func Chosen(marks []mark.Mark, d job.Deal) []mark.Mark {
	if d.Choice != "some" {
		return marks
	}
	return slices.DeleteFunc(slices.Clone(marks), func(m mark.Mark) bool { return !slices.Contains(d.Marks, m.ID) })
}

// ReadStanding reads a standing offer.
func ReadStanding(body []byte) (Standing, error) {
	var st Standing
	if err := json.Unmarshal(body, &st); err != nil {
		return st, fmt.Errorf("the offer cannot be read (%w); choose its marks anew", err)
	}
	return st, nil
}

// facts is what the job knows of the panel beside the photos.
func facts(j job.Job) offer.Facts {
	return offer.Facts{Material: j.Material, ThicknessMM: j.SheetMM, FilmUM: j.FilmUM, PanelKind: j.Kind, NoReach: j.NoReach, Access: j.Record.Arrival.Behind}
}

// figures notes an offer's figures with its capture, for lists.
func figures(c *job.Capture, o offer.Offer) {
	c.TotalMinor, c.Currency, c.Hours, c.Answer = o.Quote.TotalMinor, o.Quote.Currency, o.Quote.Hours, string(o.Verdict.Answer)
	c.HoursLow, c.HoursHigh = o.Quote.HoursLow, o.Quote.HoursHigh
}
