package job

import (
	"fmt"
	"sort"
	"time"
)

// What may be said of a planned hit. Open takes back what was said before.
const (
	Made    = "done"
	Skipped = "skipped"
	Open    = "open"
	Hard    = "hard" // felt harder than planned
)

// Bounds of a log: far over what a job holds, so that a broken device fills no disk.
const (
	maxHits  = 20000
	maxSpans = 2000
	maxKey   = 64
	// ahead is how far a device's clock may run before the workshop's.
	ahead = 24 * time.Hour
)

// HitPlace is the place of a hit in the plans of a job: the plan of a capture, and the number of the hit in it.
type HitPlace struct {
	Capture string
	N       int
}

// Merge takes in what a device noted, perhaps long after it happened and perhaps not for the first time: a hit or a span with a key that
// is known already is the same one. Of a span the longer time holds, unless somebody has corrected it by hand. It tells whether
// anything changed.
func (w *Worklog) Merge(hits []HitDone, spans []Span, now time.Time) (bool, error) {
	for _, h := range hits {
		if err := h.check(now); err != nil {
			return false, err
		}
	}
	at := map[string]int{}
	for i, s := range w.Spans {
		at[s.Key] = i
	}
	for _, s := range spans {
		if i, ok := at[s.Key]; ok && s.Start.After(w.Spans[i].Start) {
			s.Start = w.Spans[i].Start // what the longer time would come to
		}
		if err := s.check(now); err != nil {
			return false, err
		}
	}
	changed := false
	known := map[string]bool{}
	for _, h := range w.Hits {
		known[h.Key] = true
	}
	for _, h := range hits {
		if !known[h.Key] {
			known[h.Key], changed = true, true
			w.Hits = append(w.Hits, h)
		}
	}
	for _, s := range spans {
		i, ok := at[s.Key]
		switch {
		case !ok:
			at[s.Key], changed = len(w.Spans), true
			w.Spans = append(w.Spans, s)
		case !w.Spans[i].ByHand && s.End.After(w.Spans[i].End):
			w.Spans[i].End, changed = s.End, true
		}
	}
	if len(w.Hits) > maxHits || len(w.Spans) > maxSpans {
		return false, &FieldError{"work", "This job holds more hits or times than one panel can have: start a new job for the next panel."}
	}
	if changed {
		sort.SliceStable(w.Hits, func(i, j int) bool { return w.Hits[i].At.Before(w.Hits[j].At) })
		sort.SliceStable(w.Spans, func(i, j int) bool { return w.Spans[i].Start.Before(w.Spans[j].Start) })
	}
	return changed, nil
}

func (h HitDone) check(now time.Time) error {
	switch {
	case h.Key == "" || len(h.Key) > maxKey:
		return &FieldError{"key", "A hit came without its key; reload the page and note it again."}
	case h.Capture == "" || h.N < 1:
		return &FieldError{"n", "A hit came that belongs to no plan; reload the page and note it again."}
	case h.Did != Made && h.Did != Skipped && h.Did != Open:
		return &FieldError{"did", fmt.Sprintf("A hit is done, skipped or open, not %q.", h.Did)}
	case len(h.Part) > maxKey:
		return &FieldError{"part", "A hit came that belongs to no part of the work; reload the page and note it again."}
	case h.Felt != "" && h.Felt != Hard:
		return &FieldError{"felt", fmt.Sprintf("A hit feels as planned or hard, not %q.", h.Felt)}
	case h.At.IsZero() || h.At.After(now.Add(ahead)):
		return &FieldError{"at", "The clock of this device is wrong; set it and note the hit again."}
	}
	return nil
}

func (s Span) check(now time.Time) error {
	switch {
	case s.Key == "" || len(s.Key) > maxKey || s.Part == "" || len(s.Part) > maxKey:
		return &FieldError{"key", "A time came without its key or part; reload the page."}
	case s.Start.IsZero() || s.Start.After(now.Add(ahead)):
		return &FieldError{"start", "Give the day and time when it began; it cannot lie in the future."}
	case s.End.Before(s.Start):
		return &FieldError{"end", "The end lies before the beginning."}
	case s.End.Sub(s.Start) > 24*time.Hour:
		return &FieldError{"end", "One stretch of work is not longer than a day: put it in as several."}
	}
	return nil
}

// Correct puts a span right by hand, adding it where its key is new. A span of no length is one taken out: it stays in the record so
// that a device that still sends it does not bring it back.
func (w *Worklog) Correct(s Span, now time.Time) error {
	if err := s.check(now); err != nil {
		return err
	}
	s.ByHand = true
	for i := range w.Spans {
		if w.Spans[i].Key == s.Key {
			w.Spans[i] = s
			return nil
		}
	}
	w.Spans = append(w.Spans, s)
	sort.SliceStable(w.Spans, func(i, j int) bool { return w.Spans[i].Start.Before(w.Spans[j].Start) })
	return nil
}

// Said is what was last said of each hit.
func (w Worklog) Said() map[HitPlace]HitDone {
	out := map[HitPlace]HitDone{}
	for _, h := range w.Hits {
		p := HitPlace{h.Capture, h.N}
		if h.Did == Open {
			delete(out, p)
			continue
		}
		out[p] = h
	}
	return out
}

// Sum of the minutes of all parts.
func (w Worklog) Sum() float64 {
	sum := 0.0
	for _, m := range w.Minutes() {
		sum += m
	}
	return sum
}

// PartDone is how many hits of a part of the work were made, and the minutes it took.
type PartDone struct {
	Made    int     `json:"made,omitempty"`
	Minutes float64 `json:"minutes,omitempty"`
}

// Parts tells of each part of the work how much was made in how long.
func (w Worklog) Parts() map[string]PartDone {
	out := map[string]PartDone{}
	for _, h := range w.Said() {
		if h.Did == Made && h.Part != "" {
			out[h.Part] = PartDone{Made: out[h.Part].Made + 1}
		}
	}
	for part, m := range w.Minutes() {
		out[part] = PartDone{out[part].Made, m}
	}
	return out
}

// Minutes of each part of the work.
func (w Worklog) Minutes() map[string]float64 {
	out := map[string]float64{}
	for _, s := range w.Spans {
		if m := s.End.Sub(s.Start).Minutes(); m > 0 {
			out[s.Part] += m
		}
	}
	return out
}
