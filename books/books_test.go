package books

import (
	"math"
	"strings"
	"testing"
	"time"

	"fairmetal/agenda"
	"fairmetal/job"
	"fairmetal/rates"
	"fairmetal/tables"
)

var nine = time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)

// TestFigures by hand: two timed doors, 3 h and 5 h worked for 4 h forecast each, one of them outside of 3.5 to 5.5 h; a declined roof.
func TestFigures(t *testing.T) {
	door := job.Worked{Kind: "door", Step: job.Done, Hours: 4, HoursLow: 3.5, HoursHigh: 5.5, TotalMinor: 40000, Currency: "EUR", Minutes: 180}
	slow := door
	slow.Minutes = 300
	open := door
	open.Step = job.Work
	var sums []job.Sum
	for _, w := range []job.Worked{door, slow, open, {Kind: "roof", Step: job.Done, Declined: true, Currency: "EUR"}} {
		sums = append(sums, w.Sum())
	}
	rows := Figures(sums, "EUR")
	if len(rows) != 3 || rows[0].Jobs != 4 || rows[0].DeclinedShare() != 0.25 || rows[1].Kind != "door" {
		t.Fatalf("%+v", rows)
	}
	if r := rows[1]; r.Timed != 2 || r.Forecast != 8 || r.Worked != 8 || r.InsideShare() != 0.5 || r.PerHourMinor() != 10000 || r.Over() != 1 {
		t.Errorf("%+v", r)
	}
}

// worked is a job of n hits of a part in so many minutes.
func worked(number int64, part rates.Part, n int, minutes float64) job.Timed {
	var w job.Worklog
	for i := range n {
		w.Hits = append(w.Hits, job.HitDone{Key: string(rune('a' + i)), Capture: "c", N: i + 1, Did: job.Made, Part: string(part), At: nine})
	}
	w.Spans = []job.Span{{Key: "s", Part: string(part), Start: nine, End: nine.Add(time.Duration(minutes * float64(time.Minute)))}}
	return job.Timed{Number: number, Vehicle: "Van", Panel: "Door", Parts: w.Parts()}
}

// TestLessonFollowsTheJobs: who takes twice the usual minutes in twenty jobs is told so, within a tenth: the prior still counts a little.
func TestLessonFollowsTheJobs(t *testing.T) {
	usual := rates.DefaultPrior().Minutes[rates.Raise]
	var jobs []job.Timed
	for i := range int64(20) {
		jobs = append(jobs, worked(i, rates.Raise, 20, 2*usual*20))
	}
	jobs = append(jobs, job.Timed{Number: 99}) // says nothing
	l, err := Learn(jobs)
	if err != nil || !l.Enough() || l.Jobs != 20 || math.Abs(l.Pace-2) > 0.2 {
		t.Errorf("%+v, %v", l, err)
	}
	if l, err := Learn(jobs[:1]); err != nil || l.Enough() {
		t.Errorf("one job is enough: %+v, %v", l, err)
	}
}

// TestListsComeBack as they went, and tell what would change.
func TestListsComeBack(t *testing.T) {
	people := []job.Person{{ID: "p1", Rev: 3, Name: "Ada Example", Phone: "0000 1", Notes: "=1+1"}, {ID: "p2", Company: "Lindenhof Parcels"}}
	id := func(p *job.Person) *string { return &p.ID }
	csv := tables.Export(People(), people).CSV(',')
	read := func(data []byte) tables.Table {
		t.Helper()
		tab, err := tables.ReadCSV(data)
		if err != nil {
			t.Fatal(err)
		}
		return tab
	}
	if c, _, err := Changes(People(), read(csv), people, id); err != nil || len(c) != 0 {
		t.Errorf("an unchanged list changes %+v, %v", c, err)
	}
	edited := strings.Replace(string(csv), "0000 1", "0000 2", 1) + "\"\",\"Ben Example\",\"\",\"\",\"\",\"\",\"DE\",\"\",\"\",\"\",\"\",\"\"\r\n"
	c, _, err := Changes(People(), read([]byte(edited)), people, id)
	if err != nil || len(c) != 2 || c[0].Add || c[0].Row != 2 || c[0].Record.Rev != 3 || strings.Join(c[0].Fields, " ") != "phone" || !c[1].Add || c[1].Record.Name != "Ben Example" {
		t.Errorf("%+v, %v", c, err)
	}
	// A list of two columns leaves the others as they are.
	c, _, err = Changes(People(), read([]byte("id,city\r\np2,Musterstadt\r\n")), people, id)
	if err != nil || len(c) != 1 || c[0].Record.Company != "Lindenhof Parcels" || c[0].Record.City != "Musterstadt" {
		t.Errorf("%+v, %v", c, err)
	}
	if _, _, err := Changes(Vehicles(), read([]byte("vehicle,year\r\nVan 07,soon\r\n")), nil, func(v *job.Vehicle) *string { return &v.ID }); err == nil || !strings.Contains(err.Error(), "soon") {
		t.Errorf("a year in words: %v", err)
	}
}

func TestCalendarAndContacts(t *testing.T) {
	j := job.Job{ID: "j1", Rev: 2, Vehicle: "Van 07", Updated: nine, Record: job.Record{Arrival: job.Arrival{Due: nine.AddDate(0, 0, 3)}}}
	ics, err := Calendar([]job.Job{j, {ID: "j2"}}, "Fennel Yard Dents", func(j job.Job) string { return j.Vehicle })
	if err != nil {
		t.Fatal(err)
	}
	events, _, err := agenda.ReadCalendar(ics, time.UTC, time.LoadLocation)
	if err != nil || len(events) != 1 || !events[0].Start.Equal(nine.AddDate(0, 0, 3)) || events[0].UID != "job-j1@fennelyarddents.fairmetal.invalid" || events[0].Sequence != 2 {
		t.Errorf("%+v, %v", events, err)
	}
	vcf, err := Contacts([]job.Person{{ID: "p", Name: "Ada Example", Company: "Lindenhof Parcels", Phone: "0000 1", City: "Musterstadt"}}, "Fennel Yard Dents")
	if err != nil {
		t.Fatal(err)
	}
	cards, _, err := agenda.ReadCards(vcf)
	if err != nil || len(cards) != 1 || cards[0].Family != "Example" || cards[0].Given != "Ada" || cards[0].Organisation != "Lindenhof Parcels" || cards[0].Addresses[0].City != "Musterstadt" {
		t.Errorf("%+v, %v", cards, err)
	}
}
