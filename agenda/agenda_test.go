package agenda

import (
	"errors"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the same zones on every machine
	"unicode/utf8"
)

var errNoZone = errors.New("no such zone")

func berlin(t testing.TB) *time.Location {
	t.Helper()
	l, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func events(t testing.TB) []Event {
	l := berlin(t)
	now := time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)
	return []Event{
		{UID: UID("job", "17", "workshop.example"), Stamp: now, Start: time.Date(2026, 10, 23, 8, 0, 0, 0, l), End: time.Date(2026, 10, 26, 17, 30, 0, 0, l), Summary: "Van 07, door; \"sliding\"",
			Description: "Zeile eins\nline two \\ with a stroke, a comma; and a long tail of words so that it folds: größer größer größer größer größer größer größer", Location: "Lane 1, Small Town", Sequence: 2},
		{UID: UID("job", "18/ä", "workshop.example"), Stamp: now, Start: time.Date(2026, 7, 1, 6, 0, 0, 0, time.UTC), Summary: "Hail day", Cancelled: true},
		{UID: UID("day", "2026-12-24", "workshop.example"), Stamp: now, Start: time.Date(2026, 12, 24, 0, 0, 0, 0, time.UTC), End: time.Date(2026, 12, 27, 0, 0, 0, 0, time.UTC), AllDay: true, Summary: "Closed"},
	}
}

// TestCalendarText is checked line by line against RFC 5545: escaping of 3.3.11, the zone's two offsets around its change.
func TestCalendarText(t *testing.T) {
	data, err := Calendar("Workshop, bench", events(t))
	if err != nil {
		t.Fatal(err)
	}
	want := `BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Fairmetal//Workshop//EN
CALSCALE:GREGORIAN
X-WR-CALNAME:Workshop\, bench
BEGIN:VTIMEZONE
TZID:Europe/Berlin
BEGIN:DAYLIGHT
DTSTART:20260329T020000
TZOFFSETFROM:+0100
TZOFFSETTO:+0200
TZNAME:CEST
END:DAYLIGHT
BEGIN:STANDARD
DTSTART:20261025T030000
TZOFFSETFROM:+0200
TZOFFSETTO:+0100
TZNAME:CET
END:STANDARD
END:VTIMEZONE
BEGIN:VEVENT
UID:job-17@workshop.example
DTSTAMP:20261125T093000Z
DTSTART;TZID=Europe/Berlin:20261023T080000
DTEND;TZID=Europe/Berlin:20261026T173000
SUMMARY:Van 07\, door\; "sliding"
DESCRIPTION:Zeile eins\nline two \\ with a stroke\, a comma\; and a long ta
 il of words so that it folds: größer größer größer größer größer
  größer größer
LOCATION:Lane 1\, Small Town
SEQUENCE:2
END:VEVENT
BEGIN:VEVENT
UID:job-18_2f__e4_@workshop.example
DTSTAMP:20261125T093000Z
DTSTART:20260701T060000Z
SUMMARY:Hail day
STATUS:CANCELLED
END:VEVENT
BEGIN:VEVENT
UID:day-2026-12-24@workshop.example
DTSTAMP:20261125T093000Z
DTSTART;VALUE=DATE:20261224
DTEND;VALUE=DATE:20261227
SUMMARY:Closed
END:VEVENT
END:VCALENDAR
`
	if got := strings.ReplaceAll(string(data), "\r\n", "\n"); got != want {
		t.Errorf("got:\n%s", got)
	}
}

// TestFolding: no line over 75 octets, no character cut, every line ended by CR LF, and joined they are the text again.
func TestFolding(t *testing.T) {
	for _, s := range []string{strings.Repeat("a", 500), strings.Repeat("ß", 200), strings.Repeat("𝄞", 100), "a" + strings.Repeat("€", 150), strings.Repeat(" ", 160) + "."} {
		w := &writer{}
		w.text("NOTE", s)
		out := w.b.String()
		for _, l := range strings.SplitAfter(out, "\r\n") {
			if len(strings.TrimSuffix(l, "\r\n")) > 75 || !utf8.ValidString(l) || l != "" && !strings.HasSuffix(l, "\r\n") {
				t.Errorf("line %q of %d octets", l, len(l)-2)
			}
		}
		if back := strings.TrimSuffix(strings.ReplaceAll(out, "\r\n ", ""), "\r\n"); back != "NOTE:"+s {
			t.Errorf("unfolds to %q", back)
		}
	}
}

func TestEscaping(t *testing.T) {
	for _, s := range []string{"", "a,b;c\\d\ne", `\n`, `\\n`, "tab\there", `\,;`, "ends with \\"} {
		if got := unescape(escape(s)); got != s {
			t.Errorf("%q comes back as %q", s, got)
		}
	}
	if got := escape("a\r\nb\rc\a\x7fd\xff"); got != `a\nb\ncd`+"\uFFFD" {
		t.Errorf("%q", got)
	}
}

func TestCalendarRoundTrip(t *testing.T) {
	in := events(t)
	data, err := Calendar("Workshop", in)
	if err != nil {
		t.Fatal(err)
	}
	got, notes, err := ReadCalendar(data, time.UTC, time.LoadLocation)
	if err != nil || len(notes) != 0 || len(got) != len(in) {
		t.Fatalf("%d events, %v, %v", len(got), notes, err)
	}
	for i := range in {
		if !got[i].Start.Equal(in[i].Start) || !got[i].End.Equal(in[i].End) || !got[i].Stamp.Equal(in[i].Stamp) {
			t.Errorf("%+v comes back as %+v", in[i], got[i])
		}
		a, b := in[i], got[i]
		a.Start, a.End, a.Stamp, b.Start, b.End, b.Stamp = time.Time{}, time.Time{}, time.Time{}, time.Time{}, time.Time{}, time.Time{}
		if a != b {
			t.Errorf("%+v comes back as %+v", a, b)
		}
	}
}

// TestForeignCalendar has what other programs write: LF ends, folds by a tab, alarms, a duration, floating times, a repetition.
func TestForeignCalendar(t *testing.T) {
	file := "\uFEFFBEGIN:VCALENDAR\nVERSION:2.0\nBEGIN:VTIMEZONE\nTZID:Europe/Berlin\nEND:VTIMEZONE\nBEGIN:VEVENT\nuid:1\nDTSTAMP:20260101T000000Z\n" +
		"DTSTART;X-A=\"b;c:d\",e;TZID=\"Europe/Berlin\":20260701T090000\nDURATION:PT1H30M\nSUMMARY;LANGUAGE=en:Long\n\t er\nBEGIN:VALARM\nTRIGGER:-PT15M\nSUMMARY:not this\nEND:VALARM\nRRULE:FREQ=DAILY\nEND:VEVENT\n" +
		"BEGIN:VEVENT\nUID:2\nDTSTAMP:20260101T000000Z\nDTSTART:20260115T100000\nEND:VEVENT\nEND:VCALENDAR"
	got, notes, err := ReadCalendar([]byte(file), berlin(t), time.LoadLocation)
	if err != nil || len(got) != 2 {
		t.Fatalf("%v, %v", got, err)
	}
	if e := got[0]; e.Summary != "Long er" || !e.Start.Equal(time.Date(2026, 7, 1, 7, 0, 0, 0, time.UTC)) || e.End.Sub(e.Start) != 90*time.Minute {
		t.Errorf("%+v", e)
	}
	if !got[1].Start.Equal(time.Date(2026, 1, 15, 9, 0, 0, 0, time.UTC)) {
		t.Errorf("floating time %v", got[1].Start)
	}
	if len(notes) != 1 || !strings.Contains(notes[0], "repeats") {
		t.Errorf("notes %v", notes)
	}
}

func TestDurations(t *testing.T) {
	for s, want := range map[string]time.Duration{"PT1H30M": 90 * time.Minute, "P1W": 168 * time.Hour, "P1DT2H": 26 * time.Hour, "+PT45S": 45 * time.Second, "P2D": 48 * time.Hour} {
		if got, err := parseDuration(s); err != nil || got != want {
			t.Errorf("%s is %v, %v", s, got, err)
		}
	}
	for _, bad := range []string{"", "P", "PT", "1H", "PT1", "P1H", "PT1D", "-PT1H", "PT999999H", "PTT1H", "P-1D"} {
		if got, err := parseDuration(bad); err == nil {
			t.Errorf("%q is %v", bad, got)
		}
	}
}

func TestRefusedEvents(t *testing.T) {
	for says, change := range map[string]func(*Event){
		"no identifier":       func(e *Event) { e.UID = " " },
		"time stamp":          func(e *Event) { e.Stamp = time.Time{} },
		"ends before":         func(e *Event) { e.End = e.Start.Add(-time.Second) },
		"year 10000":          func(e *Event) { e.Start = e.Start.AddDate(7974, 0, 0) },
		"the sequence -1":     func(e *Event) { e.Sequence = -1 },
		"have the identifier": func(e *Event) { e.UID = "day-2026-12-24@workshop.example" },
		"one whole day":       func(e *Event) { e.AllDay, e.End = true, e.Start },
	} {
		list := events(t)
		change(&list[0])
		if _, err := Calendar("", list); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v", says, err)
		}
	}
}

func TestDamagedFiles(t *testing.T) {
	load := func(string) (*time.Location, error) { return nil, errNoZone }
	for says, file := range map[string]string{
		"no calendar file":   "BEGIN:VCARD\nEND:VCARD",
		"breaks off":         "BEGIN:VCALENDAR\nBEGIN:VEVENT\nUID:1",
		"was not begun":      "BEGIN:VCALENDAR\nEND:VEVENT",
		"nests 8":            "BEGIN:VCALENDAR\n" + strings.Repeat("BEGIN:X\n", 8),
		"no property":        "BEGIN:VCALENDAR\nwhat\nEND:VCALENDAR",
		"zone is not known":  "BEGIN:VCALENDAR\nBEGIN:VEVENT\nDTSTART;TZID=Mars:20260101T000000\nEND:VEVENT\nEND:VCALENDAR",
		"cannot be read":     "BEGIN:VCALENDAR\nBEGIN:VEVENT\nDTSTART:tomorrow\nEND:VEVENT\nEND:VCALENDAR",
		"not in UTF-8":       "\xff",
		"at most 8 are read": strings.Repeat("x", maxBytes+1),
		"over 200000 lines":  "BEGIN:VCALENDAR\n" + strings.Repeat("X:\n", maxLines+1),
	} {
		if _, _, err := ReadCalendar([]byte(file), time.UTC, load); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v", says, err)
		}
	}
	for says, file := range map[string]string{
		"version \"2.1\"":  "BEGIN:VCARD\nVERSION:2.1\nFN:x\nEND:VCARD",
		"outside":          "FN:x",
		"within a contact": "BEGIN:VCARD\nBEGIN:VCARD",
		"breaks off":       "BEGIN:VCARD\nFN:x",
		"has no name":      "BEGIN:VCARD\nVERSION:4.0\nEND:VCARD",
	} {
		if _, _, err := ReadCards([]byte(file)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v", says, err)
		}
	}
}

func FuzzReadCalendar(f *testing.F) {
	data, err := Calendar("Workshop", events(f))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte("BEGIN:VCALENDAR\nBEGIN:VEVENT\nUID:1\nDTSTAMP:20260101T000000Z\nDTSTART;VALUE=DATE:20260101\nDURATION:P1D\nEND:VEVENT\nEND:VCALENDAR"))
	b := berlin(f)
	load := func(name string) (*time.Location, error) {
		if name == "Europe/Berlin" {
			return b, nil
		}
		return nil, errNoZone
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		in, _, err := ReadCalendar(data, b, load)
		if err != nil {
			return
		}
		out, err := Calendar("", in)
		if err != nil {
			if strings.Contains(err.Error(), "two events") {
				return
			}
			t.Fatalf("%+v cannot be written: %v", in, err)
		}
		again, _, err := ReadCalendar(out, b, load)
		if err != nil || len(again) != len(in) {
			t.Fatalf("%s\ncomes back as %d of %d, %v", out, len(again), len(in), err)
		}
		for i := range in {
			if !again[i].Start.Equal(in[i].Start) || !again[i].End.Equal(in[i].End) || again[i].Summary != in[i].Summary || again[i].UID != in[i].UID {
				t.Fatalf("%+v comes back as %+v", in[i], again[i])
			}
		}
	})
}
