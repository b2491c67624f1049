package books

import (
	"strings"
	"time"

	"fairmetal/agenda"
	"fairmetal/job"
)

// visitHours is how long a vehicle that comes is put down for. Common practice, no source.
const visitHours = 1

// Calendar writes the appointments of jobs as iCalendar. house names the calendar and, without blanks, its identifiers; summary says what
// comes.
func Calendar(jobs []job.Job, house string, summary func(j job.Job) string) ([]byte, error) {
	var events []agenda.Event
	for _, j := range jobs {
		if d := j.Record.Arrival.Due; !d.IsZero() {
			events = append(events, agenda.Event{UID: agenda.UID("job", j.ID, domain(house)), Stamp: j.Updated.UTC().Truncate(time.Second), Start: d.UTC(), End: d.UTC().Add(visitHours * time.Hour), Summary: summary(j), Sequence: int(j.Rev)})
		}
	}
	return agenda.Calendar(house, events)
}

// Contacts writes people as vCard.
func Contacts(people []job.Person, house string) ([]byte, error) {
	var out []agenda.Contact
	for _, p := range people {
		given, family := "", p.Name
		if i := strings.LastIndexByte(p.Name, ' '); i > 0 {
			given, family = p.Name[:i], p.Name[i+1:]
		}
		c := agenda.Contact{UID: agenda.UID("person", p.ID, domain(house)), Stamp: p.Updated.UTC().Truncate(time.Second), Name: p.Title(), Family: family, Given: given, Organisation: p.Company}
		if p.Phone != "" {
			c.Phones = []agenda.Reach{{Kind: "work", Value: p.Phone}}
		}
		if p.Email != "" {
			c.Emails = []agenda.Reach{{Kind: "work", Value: p.Email}}
		}
		if p.Street != "" || p.City != "" {
			c.Addresses = []agenda.Address{{Kind: "work", Street: p.Street, City: p.City, Postcode: p.Postcode, Country: p.Country}}
		}
		out = append(out, c)
	}
	return agenda.Cards(out)
}

// domain makes a name for identifiers of a house's own.
func domain(house string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(house) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
		}
	}
	return b.String() + ".fairmetal.invalid"
}
