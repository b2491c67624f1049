package job

import (
	"encoding/json"
	"errors"
	"testing"
	"time"
)

// FuzzSign reads drawn signatures: an error for people, or strokes within the pad that are written and read the same.
func FuzzSign(f *testing.F) {
	f.Add("Jo Doe", "[[[1,2],[3,4.04]],[]]")
	f.Add("Jo Doe", "[[[1e999,2]]]")
	f.Add("", "null")
	f.Fuzz(func(t *testing.T, name, strokes string) {
		s, err := Sign("I accept.", name, strokes, time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC))
		if err != nil {
			var field *FieldError
			if !errors.As(err, &field) {
				t.Fatalf("%v", err)
			}
			return
		}
		for _, line := range s.Strokes {
			for _, p := range line {
				if !(p[0] >= -50 && p[0] <= 150 && p[1] >= -50 && p[1] <= 150) {
					t.Fatalf("%v lies off the pad", p)
				}
			}
		}
		if _, err := json.Marshal(s); err != nil {
			t.Fatal(err)
		}
	})
}

// FuzzLink reads codes of customer links: none opens a link but its own.
func FuzzLink(f *testing.F) {
	code, link := NewLink(7, time.Now())
	f.Add("7-abc")
	f.Add("9223372036854775808-x")
	f.Add("-1-x")
	f.Fuzz(func(t *testing.T, s string) {
		if n := LinkNumber(s); n < 0 {
			t.Fatalf("%q is about job %d", s, n)
		}
		if link.Opens(s) != (s == code) || (Link{}).Opens(s) {
			t.Fatalf("%q opens it", s)
		}
	})
}

// FuzzWork takes in what a device noted while it was out of reach: what is kept is within bounds, and taking it in again changes nothing.
func FuzzWork(f *testing.F) {
	f.Add([]byte(`{"hits":[{"key":"a","capture":"c","n":1,"did":"made","part":"raise","at":"2026-11-03T09:00:00Z"}],"spans":[{"key":"s","part":"raise","start":"2026-11-03T09:00:00Z","end":"2026-11-03T10:00:00Z"}]}`))
	f.Add([]byte(`{"spans":[{"key":"s","part":"raise","start":"2026-11-01T09:00:00Z","end":"2026-11-01T10:00:00Z"},{"key":"s","part":"raise","start":"2026-11-03T09:00:00Z","end":"2026-11-03T10:00:00Z"}]}`))
	f.Add([]byte(`{"hits":[{"key":"a","n":-1},{"key":"a","n":2}],"spans":[{"key":"s","start":"9999-12-31T23:59:59Z","end":"0001-01-01T00:00:00Z"}]}`))
	now := time.Date(2026, 11, 3, 12, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, data []byte) {
		var in struct {
			Hits  []HitDone
			Spans []Span
		}
		if json.Unmarshal(data, &in) != nil {
			return
		}
		var w Worklog
		take := func() (changed bool) {
			for _, h := range in.Hits {
				c, _ := w.Merge([]HitDone{h}, nil, now)
				changed = changed || c
			}
			for _, s := range in.Spans {
				c, _ := w.Merge(nil, []Span{s}, now)
				changed = changed || c
			}
			return changed
		}
		take()
		kept, err := json.Marshal(w)
		if err != nil {
			t.Fatalf("kept and cannot be written: %v", err)
		}
		for _, s := range w.Spans {
			if err := s.check(now); err != nil {
				t.Fatalf("kept: %+v, %v", s, err)
			}
		}
		if take() {
			again, _ := json.Marshal(w)
			t.Fatalf("%s\ncame to\n%s", kept, again)
		}
	})
}
