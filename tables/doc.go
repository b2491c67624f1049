// Package tables writes lists of records as CSV (RFC 4180) and as JSON lines, and reads them back.
//
// In: records and a list of columns. Out: UTF-8 with CR LF, every cell quoted, the heading first. A cell that a spreadsheet would take
// for a formula gets an apostrophe in front when written, and loses it when read, so that a list comes back as it went. Reading is
// bounded, finds out whether commas, semicolons or tabs part the cells, goes by the names of the columns in any order, and tells row and
// column of what is wrong.
//
//	cols := []tables.Column[Person]{tables.Text("name", func(p *Person) *string { return &p.Name }), tables.Fixed("owed", 2, func(p *Person) *int64 { return &p.OwedMinor })}
//	csv := tables.Export(cols, people).CSV(',')
//	t, err := tables.ReadCSV(csv)
//	people, notes, err := tables.Import(cols, t)
package tables
