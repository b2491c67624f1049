package agenda_test

import (
	"fmt"
	"time"

	"fairmetal/agenda"
)

func Example() {
	at := time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC)
	ics, _ := agenda.Calendar("Bench", []agenda.Event{{UID: agenda.UID("job", "17", "workshop.example"), Stamp: at, Start: at, End: at.Add(3 * time.Hour), Summary: "Van 07, door"}})
	events, _, _ := agenda.ReadCalendar(ics, time.UTC, time.LoadLocation)
	fmt.Println(events[0].UID, events[0].Summary, events[0].End.Format(time.Kitchen))
	vcf, _ := agenda.Cards([]agenda.Contact{{Name: "Fleet desk", Phones: []agenda.Reach{{Kind: "work", Value: "030 000"}}}})
	people, _, _ := agenda.ReadCards(vcf)
	fmt.Println(people[0].Name, people[0].Phones)
	// Output:
	// job-17@workshop.example Van 07, door 11:00AM
	// Fleet desk [{work 030 000}]
}
