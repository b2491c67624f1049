package store

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"fairmetal/job"
)

// figured is a roof with three captures, of which the second one counts: two round marks and a crease.
func figured(t *testing.T, s *Store) (job.Job, []job.Capture) {
	t.Helper()
	ctx := t.Context()
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof", Kind: "roof"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddJob(ctx, job.Job{Vehicle: "Van 13", Panel: "Roof"}); err != nil {
		t.Fatal(err)
	}
	list := []job.Capture{{State: job.Refused}, {State: job.Measured, Hours: 4, HoursLow: 3, HoursHigh: 5, TotalMinor: 100, Currency: "EUR", Sizes: []job.Size{{ID: "m1", Kind: "round", LengthMM: 20, DepthUM: 300}, {ID: "m2", Kind: "round", LengthMM: 10, DepthUM: 100}, {ID: "m3", Kind: "crease"}}}, {State: job.Measured, Hours: 1, Sizes: []job.Size{{ID: "m9", Kind: "star"}}}}
	for i := range list {
		added, err := s.AddCapture(ctx, j.ID, string(rune('a'+i)), nil)
		if err != nil {
			t.Fatal(err)
		}
		list[i].ID = added.ID
		if err := s.Finish(ctx, list[i], nil); err != nil {
			t.Fatal(err)
		}
	}
	return j, list
}

// sums wants what the store adds up for the one job that counts.
func sums(t *testing.T, s *Store, want job.Sum) {
	t.Helper()
	m, err := s.Sums(t.Context())
	if err != nil || len(m) != 1 || m[0] != want {
		t.Errorf("%+v, %v; want %+v", m, err, want)
	}
	k, err := s.MarkKinds(t.Context())
	if err != nil || len(k) != 2 || k[0] != (job.MarkKind{Kind: "round", Marks: 2, Jobs: 1, LengthMM: 15, DepthUM: 200}) || k[1].Kind != "crease" {
		t.Errorf("%+v, %v", k, err)
	}
}

// TestFiguresFollowEachChange: they rest on the first measured capture, not on one that was refused before it nor on one after the work, and
// a change of the job or of its offer changes them at once.
func TestFiguresFollowEachChange(t *testing.T) {
	both(t, func(t *testing.T, s *Store) {
		ctx := t.Context()
		j, captures := figured(t, s)
		want := job.Sum{Kind: "roof", Currency: "EUR", Jobs: 1}
		sums(t, s, want)
		j, err := s.Job(ctx, j.ID)
		if err != nil {
			t.Fatal(err)
		}
		nine := time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)
		j.Step = job.Done
		j.Record.Work = job.Worklog{Hits: []job.HitDone{{Key: "h", Capture: captures[1].ID, N: 1, Did: job.Made, Part: "raise", At: nine}}, Spans: []job.Span{{Key: "s", Part: "raise", Start: nine, End: nine.Add(3 * time.Hour)}}}
		if err := s.SaveJob(ctx, j); err != nil {
			t.Fatal(err)
		}
		want.Timed, want.Inside, want.Forecast, want.Worked, want.TotalMinor = 1, 1, 4, 3, 100
		sums(t, s, want)
		changed := captures[1]
		changed.HoursLow, changed.TotalMinor, changed.Answer = 3.5, 90, "no"
		if err := s.SetOffer(ctx, changed); err != nil {
			t.Fatal(err)
		}
		want.Inside, want.TotalMinor, want.Declined = 0, 90, 1
		sums(t, s, want)
		timed, err := s.Timed(ctx, job.Done, 10)
		if err != nil || len(timed) != 1 || !reflect.DeepEqual(timed[0].Parts, map[string]job.PartDone{"raise": {Made: 1, Minutes: 180}}) {
			t.Errorf("%+v, %v", timed, err)
		}
		if err := s.RemoveJob(ctx, j.ID); err != nil {
			t.Fatal(err)
		}
		if m, err := s.Sums(ctx); err != nil || len(m) != 0 {
			t.Errorf("of a removed job there is still %+v, %v", m, err)
		}
	})
}

// TestOldWorkshopHasItsFigures: the records of a backup from before the sums were kept give the same figures.
func TestOldWorkshopHasItsFigures(t *testing.T) {
	ctx := t.Context()
	from := t.TempDir()
	s := open(t, from)
	figured(t, s)
	s.Close()
	n, err := Look(ctx, from)
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	old := map[string]Table{}
	var tables []Table
	for _, now := range n.Tables {
		switch now.Name {
		case "jobs":
			old[now.Name] = now
			now.Columns = append(slices.Clone(now.Columns), Column{Name: "worked_min", Type: "real"})
		case "captures", "marks":
			old[now.Name] = now
		default:
			continue
		}
		tables = append(tables, now)
	}
	dir := t.TempDir()
	err = Fill(ctx, dir, 6, tables, func(t Table, f func(row []any) error) error {
		return n.Rows(ctx, old[t.Name], func(row []any) error {
			if t.Name == "jobs" {
				row = append(row, 0.0)
			}
			return f(row)
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	sums(t, open(t, dir), job.Sum{Kind: "roof", Currency: "EUR", Jobs: 1})
}
