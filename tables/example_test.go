package tables_test

import (
	"fmt"
	"strings"

	"fairmetal/tables"
)

type person struct {
	Name      string
	OwedMinor int64
}

func Example() {
	columns := []tables.Column[person]{tables.Text("name", func(p *person) *string { return &p.Name }), tables.Fixed("owed", 2, func(p *person) *int64 { return &p.OwedMinor })}
	csv := tables.Export(columns, []person{{"Fleet desk", 35352}, {"=cmd()", -100}}).CSV(',')
	fmt.Print(strings.ReplaceAll(string(csv), "\r\n", "\n")) // lines end in CR LF
	t, _ := tables.ReadCSV(csv)
	people, _, _ := tables.Import(columns, t)
	fmt.Println(people)
	// Output:
	// "name","owed"
	// "Fleet desk","353.52"
	// "'=cmd()","-1.00"
	// [{Fleet desk 35352} {=cmd() -100}]
}
