// Package trim lists what must come off to get behind a panel, and how long off and back on take.
//
// In: an editable list as JSON, read strictly. Out: minutes with a range for a kind of panel, told part by part, with what to mind.
// The default figures are our own, from memory of the trade; put in your own.
package trim
