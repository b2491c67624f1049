package agenda

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// ReadCalendar reads the events of a file. Times without a zone are in the location given; named zones are looked up by load, as
// time.LoadLocation does, and the file's own VTIMEZONE is passed over. Repeating events are read once, which a note tells.
func ReadCalendar(data []byte, local *time.Location, load func(name string) (*time.Location, error)) (events []Event, notes []string, err error) {
	all, err := lines(data)
	if err != nil {
		return nil, nil, err
	}
	if len(all) == 0 || all[0].name != "BEGIN" || !strings.EqualFold(all[0].value, "VCALENDAR") {
		return nil, nil, fmt.Errorf("this is no calendar file; it begins with BEGIN:VCALENDAR")
	}
	r := calendarReader{local: local, load: load, zones: map[string]*time.Location{}}
	var open []string // components around the line
	var e *Event
	var duration time.Duration
	for _, l := range all {
		inEvent := e != nil && open[len(open)-1] == "VEVENT"
		switch {
		case l.name == "BEGIN":
			if len(open) >= 8 {
				return nil, nil, fmt.Errorf("the calendar file nests %d parts; it is damaged", len(open))
			}
			open = append(open, strings.ToUpper(l.value))
			if len(open) == 2 && open[1] == "VEVENT" {
				e, duration = &Event{}, 0
			}
		case l.name == "END":
			if len(open) == 0 || open[len(open)-1] != strings.ToUpper(l.value) {
				return nil, nil, fmt.Errorf("the calendar file ends %q where it was not begun; it is damaged", clip(l.value))
			}
			if inEvent {
				if duration > 0 && e.End.IsZero() {
					e.End = e.Start.Add(duration)
				}
				if err := e.check(); err != nil {
					return nil, nil, err
				}
				if len(events) >= maxItems {
					return nil, nil, fmt.Errorf("the calendar file has over %d events; split it", maxItems)
				}
				events, e = append(events, *e), nil
			}
			open = open[:len(open)-1]
		case inEvent:
			if l.name == "RRULE" || l.name == "RDATE" {
				notes = append(notes, fmt.Sprintf("the event %q repeats; only its first time is read", clip(e.Summary)))
			} else if duration, err = r.property(e, l, duration); err != nil {
				return nil, nil, err
			}
		}
	}
	if len(open) != 0 {
		return nil, nil, fmt.Errorf("the calendar file breaks off within %s; fetch it again", clip(open[len(open)-1]))
	}
	return events, notes, nil
}

type calendarReader struct {
	local *time.Location
	load  func(string) (*time.Location, error)
	zones map[string]*time.Location
}

func (r calendarReader) property(e *Event, l line, duration time.Duration) (time.Duration, error) {
	var err error
	switch l.name {
	case "UID":
		e.UID = unescape(l.value)
	case "DTSTAMP":
		e.Stamp, _, err = r.time(l)
	case "DTSTART":
		e.Start, e.AllDay, err = r.time(l)
	case "DTEND":
		e.End, _, err = r.time(l)
	case "DURATION":
		duration, err = parseDuration(l.value)
	case "SUMMARY":
		e.Summary = unescape(l.value)
	case "DESCRIPTION":
		e.Description = unescape(l.value)
	case "LOCATION":
		e.Location = unescape(l.value)
	case "STATUS":
		e.Cancelled = strings.EqualFold(l.value, "CANCELLED")
	case "SEQUENCE":
		e.Sequence, err = strconv.Atoi(l.value)
	}
	if err != nil {
		return 0, fmt.Errorf("the event %q has the %s %q, which cannot be read: %w", clip(e.Summary), l.name, clip(l.value), err)
	}
	return duration, nil
}

// time reads a date, a time in UTC, in a named zone or in the local one.
func (r calendarReader) time(l line) (t time.Time, allDay bool, err error) {
	if l.param("VALUE") == "DATE" || len(l.value) == len(day) {
		t, err = time.ParseInLocation(day, l.value, time.UTC)
		return t, true, err
	}
	if strings.HasSuffix(l.value, "Z") {
		t, err = time.Parse(stampUTC, l.value)
		return t, false, err
	}
	loc := r.local
	if name := l.param("TZID"); name != "" {
		if loc = r.zones[name]; loc == nil {
			if loc, err = r.load(name); err != nil {
				return t, false, fmt.Errorf("the zone is not known here; export in UTC or in a zone such as Europe/Berlin")
			}
			r.zones[name] = loc
		}
	}
	t, err = time.ParseInLocation(stamp, l.value, loc)
	return t, false, err
}

// parseDuration reads P1W, P1DT2H30M and the like (RFC 5545, 3.3.6). Days are of 24 hours.
func parseDuration(s string) (time.Duration, error) {
	bad := fmt.Errorf("a duration is written PT1H30M or P1D")
	rest, ok := strings.CutPrefix(strings.TrimPrefix(s, "+"), "P")
	if !ok || rest == "" || rest == "T" {
		return 0, bad
	}
	var sum time.Duration
	units, inTime := map[byte]time.Duration{'W': 7 * 24 * time.Hour, 'D': 24 * time.Hour}, false
	for rest != "" {
		if rest[0] == 'T' && !inTime {
			inTime, rest = true, rest[1:]
			units = map[byte]time.Duration{'H': time.Hour, 'M': time.Minute, 'S': time.Second}
			continue
		}
		n := len(rest) - len(strings.TrimLeft(rest, "0123456789"))
		if n == 0 || n > 5 || n == len(rest) {
			return 0, bad
		}
		v, _ := strconv.Atoi(rest[:n]) // up to five digits
		u, ok := units[rest[n]]
		if !ok {
			return 0, bad
		}
		sum, rest = sum+time.Duration(v)*u, rest[n+1:]
	}
	return sum, nil
}
