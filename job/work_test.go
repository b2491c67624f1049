package job

import (
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"
)

var nine = time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)

func hitAt(key string, n int, did string, minute int) HitDone {
	return HitDone{Key: key, Capture: "c1", N: n, Did: did, At: nine.Add(time.Duration(minute) * time.Minute)}
}

// TestMergeInAnyOrder: batches that arrive torn, repeated and out of order end in the same log.
func TestMergeInAnyOrder(t *testing.T) {
	var hits []HitDone
	for i := range 40 {
		hits = append(hits, hitAt(string(rune('a'+i%26))+string(rune('a'+i/26)), i+1, Made, i))
	}
	span := func(min int) Span {
		return Span{Key: "s", Part: "raise", Start: nine, End: nine.Add(time.Duration(min) * time.Minute)}
	}
	var want Worklog
	if _, err := want.Merge(hits, []Span{span(40)}, nine); err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 1))
		var got Worklog
		for range 200 {
			i, j := r.IntN(len(hits)), r.IntN(len(hits))
			if _, err := got.Merge(hits[min(i, j):max(i, j)], []Span{span(r.IntN(40))}, nine); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := got.Merge(hits, []Span{span(40)}, nine); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("seed %d: %d hits, %v", seed, len(got.Hits), got.Spans)
		}
		if changed, err := got.Merge(hits, []Span{span(30)}, nine); changed || err != nil {
			t.Errorf("a repeat changed the log: %v", err)
		}
	}
}

func TestLastWordHolds(t *testing.T) {
	var w Worklog
	_, err := w.Merge([]HitDone{hitAt("a", 1, Made, 1), hitAt("b", 2, Made, 2), hitAt("c", 1, Open, 3), hitAt("d", 2, Skipped, 4)}, nil, nine)
	if err != nil {
		t.Fatal(err)
	}
	said := w.Said()
	if len(said) != 1 || said[HitPlace{"c1", 2}].Did != Skipped {
		t.Errorf("said %v", said)
	}
}

// TestCorrectedSpanStays: what a person corrected or took out is not brought back by a device that sends it again.
func TestCorrectedSpanStays(t *testing.T) {
	s := Span{Key: "s", Part: "raise", Start: nine, End: nine.Add(30 * time.Minute)}
	var w Worklog
	if _, err := w.Merge(nil, []Span{s}, nine); err != nil {
		t.Fatal(err)
	}
	out := s
	out.End = s.Start
	if err := w.Correct(out, nine); err != nil {
		t.Fatal(err)
	}
	s.End = s.End.Add(time.Hour)
	if changed, err := w.Merge(nil, []Span{s}, nine); changed || err != nil {
		t.Errorf("changed %v, %v", changed, err)
	}
	if m := w.Minutes()["raise"]; m != 0 {
		t.Errorf("%g minutes of a span that was taken out", m)
	}
}

func TestStrangeLogIsRefused(t *testing.T) {
	good := hitAt("k", 1, Made, 0)
	for name, f := range map[string]func(h *HitDone, s *Span){
		"no key":           func(h *HitDone, s *Span) { h.Key = "" },
		"hit 0":            func(h *HitDone, s *Span) { h.N = 0 },
		"a word":           func(h *HitDone, s *Span) { h.Did = "broken" },
		"a feeling":        func(h *HitDone, s *Span) { h.Felt = "great" },
		"tomorrow's clock": func(h *HitDone, s *Span) { h.At = nine.AddDate(0, 0, 2) },
		"backwards":        func(h *HitDone, s *Span) { s.End = s.Start.Add(-time.Second) },
		"a long day":       func(h *HitDone, s *Span) { s.End = s.Start.Add(25 * time.Hour) },
		"no part":          func(h *HitDone, s *Span) { s.Part = "" },
	} {
		h, s := good, Span{Key: "s", Part: "raise", Start: nine, End: nine}
		f(&h, &s)
		var w Worklog
		if changed, err := w.Merge([]HitDone{good, h}, []Span{s}, nine); err == nil || changed || len(w.Hits) != 0 {
			t.Errorf("%s: taken in", name)
		}
	}
}

// TestOldRecords reads a record as the first version wrote it.
func TestOldRecords(t *testing.T) {
	var r Record
	err := json.Unmarshal([]byte(`{"arrival":{"consent":{}},"deal":{"accepted":{}},"work":{"hits":[{"key":"k","capture":"c","round":0,"n":3,"did":"done","felt":"","at":"2026-11-03T09:00:00Z"}]},"departure":{"received":{}}}`), &r)
	if err != nil || r.Work.Said()[HitPlace{"c", 3}].Did != Made || !r.Arrival.Due.IsZero() {
		t.Errorf("%+v, %v", r, err)
	}
}

// TestInvoiceTakenBackIsNeededAgain: a paper that was taken back does not count as made.
func TestInvoiceTakenBackIsNeededAgain(t *testing.T) {
	for state, want := range map[string]bool{"sent": false, "taken back": true} {
		if got := slices.Contains((Job{}).Needs(nil, []Paper{{Kind: "invoice", State: state}})[HandOver], "an invoice"); got != want {
			t.Errorf("%s: needs an invoice: %v", state, got)
		}
	}
}
