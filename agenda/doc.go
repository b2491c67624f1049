// Package agenda writes and reads appointments as iCalendar (RFC 5545) and contacts as vCard 4.0 (RFC 6350).
//
// In: events and contacts as plain structs, the time stamp as an argument. Out: files whose lines end in CR LF and are folded at 75
// octets between whole characters. Times in UTC are written with Z; others with TZID and a VTIMEZONE made of the location's own changes,
// so that the file explains itself. Reading takes vCard 3.0 too, is bounded, and names in notes what it left out. Times have whole
// seconds.
//
//	ics, err := agenda.Calendar("Workshop", []agenda.Event{{UID: agenda.UID("job", "17", "workshop.example"), Stamp: now, Start: start, End: end, Summary: "Van 07, door"}})
//	events, notes, err := agenda.ReadCalendar(ics, berlin, time.LoadLocation)
package agenda
