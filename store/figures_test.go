package store

import (
	"testing"

	"fairmetal/job"
)

// TestFiguresRestOnTheFirstMeasuredCapture: one that was refused before it and one that came after the work do not count.
func TestFiguresRestOnTheFirstMeasuredCapture(t *testing.T) {
	ctx := t.Context()
	s := open(t, t.TempDir())
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof", Kind: "roof"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddJob(ctx, job.Job{Vehicle: "Van 13", Panel: "Roof"}); err != nil {
		t.Fatal(err)
	}
	for i, c := range []job.Capture{{State: job.Refused}, {State: job.Measured, Hours: 4, HoursLow: 3, HoursHigh: 5, TotalMinor: 100, Sizes: []job.Size{{ID: "m1", Kind: "round", LengthMM: 20, DepthUM: 300}, {ID: "m2", Kind: "round", LengthMM: 10, DepthUM: 100}, {ID: "m3", Kind: "crease"}}}, {State: job.Measured, Hours: 1, Sizes: []job.Size{{ID: "m9", Kind: "star"}}}} {
		added, err := s.AddCapture(ctx, j.ID, string(rune('a'+i)), nil)
		if err != nil {
			t.Fatal(err)
		}
		c.ID = added.ID
		if err := s.Finish(ctx, c, nil); err != nil {
			t.Fatal(err)
		}
	}
	w, err := s.Worked(ctx, 10)
	if err != nil || len(w) != 1 || w[0].Hours != 4 || w[0].HoursLow != 3 || w[0].HoursHigh != 5 || w[0].Kind != "roof" {
		t.Errorf("%+v, %v", w, err)
	}
	k, err := s.MarkKinds(ctx)
	if err != nil || len(k) != 2 || k[0] != (job.MarkKind{Kind: "round", Marks: 2, Jobs: 1, LengthMM: 15, DepthUM: 200}) || k[1].Kind != "crease" {
		t.Errorf("%+v, %v", k, err)
	}
}
