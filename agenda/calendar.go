package agenda

import (
	"fmt"
	"sort"
	"strings"
	"time"
)

// Event is one appointment.
type Event struct {
	UID         string    `json:"uid"`   // the same for ever: an import of a newer file replaces the older event
	Stamp       time.Time `json:"stamp"` // when this state was written
	Start       time.Time `json:"start"`
	End         time.Time `json:"end"` // not part of the event any more; zero: as long as its start
	AllDay      bool      `json:"all_day"`
	Summary     string    `json:"summary"`
	Description string    `json:"description"`
	Location    string    `json:"location"`
	Cancelled   bool      `json:"cancelled"`
	Sequence    int       `json:"sequence"` // counts the changes of time or place
}

const (
	stamp    = "20060102T150405"
	stampUTC = stamp + "Z"
	day      = "20060102"
)

// UID makes a stable identifier of a record: job-17@workshop.example. What is no letter, digit, dot or dash is written as _ and its
// number in hexadecimal, so that two records never share one.
func UID(kind, id, house string) string {
	safe := func(s string) string {
		var b strings.Builder
		for _, r := range s {
			if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '.' || r == '-' {
				b.WriteRune(r)
			} else {
				fmt.Fprintf(&b, "_%x_", r)
			}
		}
		return b.String()
	}
	return safe(kind) + "-" + safe(id) + "@" + safe(house)
}

// Calendar writes events as one file. Its name is shown by some programs.
func Calendar(name string, events []Event) ([]byte, error) {
	if len(events) > maxItems {
		return nil, fmt.Errorf("%d events are too many for one file; at most %d", len(events), maxItems)
	}
	w := &writer{}
	w.raw("BEGIN", "VCALENDAR")
	w.raw("VERSION", "2.0")
	w.raw("PRODID", "-//Fairmetal//Workshop//EN")
	w.raw("CALSCALE", "GREGORIAN")
	w.text("X-WR-CALNAME", name)
	for _, z := range zones(events) {
		z.write(w)
	}
	seen := map[string]bool{}
	for _, e := range events {
		if err := e.check(); err != nil {
			return nil, err
		}
		if seen[e.UID] {
			return nil, fmt.Errorf("two events have the identifier %q; give each its own", clip(e.UID))
		}
		seen[e.UID] = true
		w.raw("BEGIN", "VEVENT")
		w.text("UID", e.UID)
		w.raw("DTSTAMP", e.Stamp.UTC().Format(stampUTC))
		e.when(w, "DTSTART", e.Start)
		if !e.End.IsZero() {
			e.when(w, "DTEND", e.End)
		}
		w.text("SUMMARY", e.Summary)
		w.text("DESCRIPTION", e.Description)
		w.text("LOCATION", e.Location)
		if e.Cancelled {
			w.raw("STATUS", "CANCELLED")
		}
		if e.Sequence > 0 {
			w.raw("SEQUENCE", fmt.Sprint(e.Sequence))
		}
		w.raw("END", "VEVENT")
	}
	w.raw("END", "VCALENDAR")
	return w.b.Bytes(), nil
}

func (e Event) when(w *writer, name string, t time.Time) {
	switch {
	case e.AllDay:
		w.raw(name+";VALUE=DATE", t.Format(day))
	case zoneName(t) == "":
		w.raw(name, t.UTC().Format(stampUTC))
	default:
		w.raw(name+";TZID="+zoneName(t), t.Format(stamp))
	}
}

func (e Event) check() error {
	if strings.TrimSpace(e.UID) == "" || len(e.UID) > 255 || clean(e.UID) != e.UID {
		return fmt.Errorf("the event %q has no identifier of 1 to 255 letters; make one with UID", clip(e.Summary))
	}
	for _, t := range []time.Time{e.Stamp, e.Start, e.End} {
		if y := t.Year(); !t.IsZero() && (y < 1 || y > 9999) {
			return fmt.Errorf("the event %q is in the year %d; check its date", clip(e.Summary), y)
		}
	}
	switch {
	case e.Stamp.IsZero() || e.Start.IsZero():
		return fmt.Errorf("the event %q has no time stamp or no start; give both", clip(e.Summary))
	case !e.End.IsZero() && !e.AllDay && e.End.Before(e.Start), !e.End.IsZero() && e.AllDay && e.End.Format(day) <= e.Start.Format(day):
		return fmt.Errorf("the event %q ends before it starts; an event of one whole day ends on the next", clip(e.Summary))
	case e.Sequence < 0:
		return fmt.Errorf("the event %q has the sequence %d; count from 0", clip(e.Summary), e.Sequence)
	}
	return nil
}

// zoneName is the name of a location that readers can know, "" for UTC and for a location without one.
func zoneName(t time.Time) string {
	n := t.Location().String()
	if n == "UTC" || n == "Local" || n == "" || strings.Trim(n, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789/_+-") != "" {
		return ""
	}
	return n
}

// zone is a VTIMEZONE: the offset at its beginning and each change till its end.
type zone struct {
	name     string
	from, to time.Time
}

// zones lists the locations of the events with the time that they must cover, by name.
func zones(events []Event) []zone {
	at := map[string]*zone{}
	for _, e := range events {
		for _, t := range []time.Time{e.Start, e.End} {
			n := zoneName(t)
			if n == "" || t.IsZero() || e.AllDay {
				continue
			}
			z := at[n]
			if z == nil {
				z = &zone{n, t, t}
				at[n] = z
			}
			if t.Before(z.from) {
				z.from = t
			}
			if t.After(z.to) {
				z.to = t
			}
		}
	}
	out := []zone{}
	for _, z := range at {
		out = append(out, *z)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].name < out[j].name })
	return out
}

// maxChanges bounds the changes that are written: two a year for a hundred years.
const maxChanges = 200

// write lists one STANDARD or DAYLIGHT part for each stretch of one offset. The onset is told in the local time before the change
// (RFC 5545, 3.6.5).
func (z zone) write(w *writer) {
	w.raw("BEGIN", "VTIMEZONE")
	w.raw("TZID", z.name)
	t := z.from
	for range maxChanges {
		start, end := t.ZoneBounds()
		_, offset := t.Zone()
		before := offset
		onset := "19700101T000000" // no change before it
		if !start.IsZero() {
			last := start.Add(-time.Second)
			_, before = last.Zone()
			onset = start.In(time.FixedZone("", before)).Format(stamp)
		}
		part := "STANDARD"
		if t.IsDST() {
			part = "DAYLIGHT"
		}
		name, _ := t.Zone()
		w.raw("BEGIN", part)
		w.raw("DTSTART", onset)
		w.raw("TZOFFSETFROM", offsetText(before))
		w.raw("TZOFFSETTO", offsetText(offset))
		w.text("TZNAME", name)
		w.raw("END", part)
		if end.IsZero() || end.After(z.to) {
			break
		}
		t = end
	}
	w.raw("END", "VTIMEZONE")
}

// offsetText writes seconds east of Greenwich as +hhmm, with seconds where there are some.
func offsetText(s int) string {
	sign := '+'
	if s < 0 {
		sign, s = '-', -s
	}
	out := fmt.Sprintf("%c%02d%02d", sign, s/3600, s/60%60)
	if s%60 != 0 {
		out += fmt.Sprintf("%02d", s%60)
	}
	return out
}
