package agenda

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"testing"
	"time"
)

// python runs a script on a file and reads what it prints as JSON. Debian's modules are installed for its own interpreter.
func python(t *testing.T, module, script string, data []byte) any {
	t.Helper()
	const exe = "/usr/bin/python3"
	if err := exec.Command(exe, "-c", "import "+module).Run(); err != nil {
		t.Skipf("%s has no module %s (package python3-%s)", exe, module, module)
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, data, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe, "-c", script, file)
	cmd.Env = append(os.Environ(), "PYTHONIOENCODING=utf-8")
	out, err := cmd.Output()
	if err != nil {
		if e, ok := err.(*exec.ExitError); ok {
			t.Fatalf("%v: %s", err, e.Stderr)
		}
		t.Fatal(err)
	}
	var v any
	if err := json.Unmarshal(out, &v); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	return v
}

// wanted is what both readers shall find in the events: identifier, start and end in UTC or as a date, texts.
func wanted(list []Event) any {
	var out []any
	for _, e := range list {
		layout := time.RFC3339
		if e.AllDay {
			layout = time.DateOnly
		}
		end := any(nil)
		if !e.End.IsZero() {
			end = e.End.UTC().Format(layout)
		}
		or := func(s string) any {
			if s == "" {
				return nil
			}
			return s
		}
		out = append(out, []any{e.UID, e.Start.UTC().Format(layout), end, e.Stamp.UTC().Format(time.RFC3339), or(e.Summary), or(e.Description), or(e.Location)})
	}
	return out
}

// odd is a zone that no reader knows by name, so that they must take it from the file: half an hour off, with a change in between.
func odd(t *testing.T) []Event {
	t.Helper()
	l, err := time.LoadLocation("Australia/Lord_Howe")
	if err != nil {
		t.Fatal(err)
	}
	list := events(t)
	list[0].Start, list[0].End = time.Date(2026, 4, 3, 9, 0, 0, 0, l), time.Date(2026, 4, 7, 9, 0, 0, 0, l)
	return list
}

const icalScript = `
import sys, json, datetime, icalendar
def t(p):
    if p is None: return None
    v = p.dt
    if not isinstance(v, datetime.datetime): return v.isoformat()
    return v.astimezone(datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
s = lambda v: None if v is None else str(v)
c = icalendar.Calendar.from_ical(open(sys.argv[1], "rb").read())
print(json.dumps([[s(e.get("UID")), t(e.get("DTSTART")), t(e.get("DTEND")), t(e.get("DTSTAMP")), s(e.get("SUMMARY")), s(e.get("DESCRIPTION")), s(e.get("LOCATION"))] for e in c.walk("VEVENT")]))`

const vobjectScript = `
import sys, json, datetime, vobject
def t(p):
    if p is None: return None
    v = p.value
    if not isinstance(v, datetime.datetime): return v.isoformat()
    return v.astimezone(datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
c = vobject.readOne(open(sys.argv[1], encoding="utf-8", newline="").read())
c.validate()
g = lambda e, n: getattr(e, n, None)
s = lambda e, n: None if g(e, n) is None else g(e, n).value
print(json.dumps([[s(e, "uid"), t(g(e, "dtstart")), t(g(e, "dtend")), t(g(e, "dtstamp")), s(e, "summary"), s(e, "description"), s(e, "location")] for e in c.vevent_list]))`

// TestIndependentCalendarReaders: both read the same events, the second takes the zone from the file.
func TestIndependentCalendarReaders(t *testing.T) {
	for module, script := range map[string]string{"icalendar": icalScript, "vobject": vobjectScript} {
		t.Run(module, func(t *testing.T) {
			for _, list := range [][]Event{events(t), odd(t)} {
				data, err := Calendar("Workshop", list)
				if err != nil {
					t.Fatal(err)
				}
				if got := python(t, module, script, data); !reflect.DeepEqual(got, wanted(list)) {
					t.Errorf("\n got %v\nwant %v", got, wanted(list))
				}
			}
		})
	}
}

const cardScript = `
import sys, json, vobject
out = []
for c in vobject.readComponents(open(sys.argv[1], encoding="utf-8", newline="").read()):
    l = lambda n: [[v.params.get("TYPE", [""])[0], v.value] for v in c.contents.get(n, [])]
    n = c.n.value if hasattr(c, "n") else None
    a = [[x.params.get("TYPE", [""])[0], x.value.street, x.value.extended, x.value.city, x.value.region, x.value.code, x.value.country] for x in c.contents.get("adr", [])]
    out.append([c.fn.value, [n.family, n.given, n.additional, n.prefix, n.suffix] if n else None, l("tel"), l("email"), a, c.note.value if hasattr(c, "note") else ""])
print(json.dumps(out))`

func TestIndependentCardReader(t *testing.T) {
	data, err := Cards(contacts())
	if err != nil {
		t.Fatal(err)
	}
	got := python(t, "vobject", cardScript, data)
	want := []any{
		[]any{"Dr. Mara Übung, jun.", []any{"Übung", "Mara", "Li", "Dr.", "jun."}, []any{[]any{"cell", "+49 151 000000"}, []any{"", "030 000"}}, []any{[]any{"work", "mara@vans.example"}},
			[]any{[]any{"work", "Road 2, Gate 3", "Yard; left", "Big Town", "North", "54321", "Germany"}}, "likes calls before 9\nnever, ever after"},
		[]any{"Fleet desk", nil, []any{}, []any{}, []any{}, ""},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("\n got %v\nwant %v", got, want)
	}
}
