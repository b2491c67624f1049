package tables

import (
	"encoding/csv"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

type part struct {
	Name  string `json:"name"`
	Cents int64  `json:"cents"`
	Done  bool   `json:"done"`
}

var columns = []Column[part]{
	Text("name", func(p *part) *string { return &p.Name }),
	Fixed("price", 2, func(p *part) *int64 { return &p.Cents }),
	Bool("done", func(p *part) *bool { return &p.Done }),
	{Name: "label", Get: func(p part) string { return "part " + p.Name }},
}

func parts() []part {
	return []part{{"tab, round", 123456, true}, {"tip \"8 mm\"", -5, false}, {"=1+1", 0, false}, {"two\r\nlines; one cell\tmore", 7, true}, {"", 0, false}}
}

// TestText: RFC 4180, section 2: CR LF, doubled quotes, heading; formulas with an apostrophe, negative figures without.
func TestText(t *testing.T) {
	want := "\"name\",\"price\",\"done\",\"label\"\r\n" +
		"\"tab, round\",\"1234.56\",\"true\",\"part tab, round\"\r\n" +
		"\"tip \"\"8 mm\"\"\",\"-0.05\",\"false\",\"part tip \"\"8 mm\"\"\"\r\n" +
		"\"'=1+1\",\"0.00\",\"false\",\"part =1+1\"\r\n" +
		"\"two\r\nlines; one cell\tmore\",\"0.07\",\"true\",\"part two\r\nlines; one cell\tmore\"\r\n" +
		"\"\",\"0.00\",\"false\",\"part \"\r\n"
	if got := string(Export(columns, parts()).CSV(',')); got != want {
		t.Errorf("got %q", got)
	}
}

func TestRoundTrip(t *testing.T) {
	for _, comma := range []byte{',', ';', '\t'} {
		table, err := ReadCSV(Export(columns, parts()).CSV(comma))
		if err != nil {
			t.Fatal(err)
		}
		got, notes, err := Import(columns, table)
		if err != nil || !reflect.DeepEqual(got, parts()) {
			t.Errorf("%q: %+v, %v", comma, got, err)
		}
		if len(notes) != 1 || !strings.Contains(notes[0], "label") {
			t.Errorf("notes %q", notes)
		}
	}
	data, err := Lines(parts())
	if err != nil {
		t.Fatal(err)
	}
	if got, err := ReadLines[part](data); err != nil || !reflect.DeepEqual(got, parts()) {
		t.Errorf("%+v, %v", got, err)
	}
}

// TestFormulas: what is guarded, what is not, and what comes back.
func TestFormulas(t *testing.T) {
	for s, want := range map[string]string{"=SUM(A1)": "'=SUM(A1)", "+49 30": "'+49 30", "@x": "'@x", "-1+2": "'-1+2", "-": "'-", "-1.2.3": "'-1.2.3", "-1.": "'-1.", "\t=1": "'\t=1", "\r=1": "'\r=1",
		"\n=1": "'\n=1", "＝1": "'＝1", "'=1": "''=1", "''=1": "'''=1", "-12.50": "-12.50", "-12,50": "-12,50", "-3": "-3", "'tis": "'tis", "'": "'", "": "", "a=1": "a=1", "'-3": "'-3", "  =1": "'  =1", "\u00a0@x": "'\u00a0@x", " -3": " -3", "' =1": "'' =1"} {
		if got := guard(s); got != want || bare(got) != s {
			t.Errorf("%q is written %q (want %q) and read %q", s, got, want, bare(got))
		}
	}
}

// TestForeignTables: unquoted, with semicolons, a byte order mark, LF, blank lines, columns in another order, one missing, one unknown.
func TestForeignTables(t *testing.T) {
	table, err := ReadCSV([]byte("\uFEFFprice;colour;name\n\n12.5;red;tab\n;;\"a;b\"\n\n"))
	if err != nil {
		t.Fatal(err)
	}
	got, notes, err := Import(columns, table)
	if err != nil || !reflect.DeepEqual(got, []part{{"tab", 1250, false}, {"a;b", 0, false}}) {
		t.Errorf("%+v, %v", got, err)
	}
	if len(notes) != 2 || !strings.Contains(notes[0], "done") || !strings.Contains(notes[1], "colour") {
		t.Errorf("%q", notes)
	}
	one, err := ReadCSV([]byte("name\r\n\"\"\r\nx"))
	if err != nil || !reflect.DeepEqual(one.Rows, [][]string{{""}, {"x"}}) {
		t.Errorf("%q, %v", one.Rows, err)
	}
}

func TestRefused(t *testing.T) {
	for says, file := range map[string]string{
		"empty":                    "\n",
		"not in UTF-8":             "name\n\xff",
		"row 2 of the table has 2": "name,price,x\na,b\n",
		"no name or one":           "name,name\n",
		"column 2 of the table":    "name,\n",
		"never closed":             "name\n\"x",
		"double the quotes":        "name\n\"x\"y",
		"over 200 cells":           strings.Repeat("a,", 300),
		"at most 64 are read":      strings.Repeat("x", maxBytes+1),
		"over 500000 rows":         "n\n" + strings.Repeat("x\n", maxRows+1),
	} {
		if _, err := ReadCSV([]byte(file)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v", says, err)
		}
	}
	for says, table := range map[string]Table{
		"row 3, column \"price\"": {[]string{"price"}, [][]string{{"1"}, {"a lot"}}},
		"neither true":            {[]string{"done"}, [][]string{{"yes"}}},
		"none of the columns":     {[]string{"x"}, nil},
		"row 2 has 0":             {[]string{"name"}, [][]string{{}}},
	} {
		if got, _, err := Import(columns, table); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v, %v", says, got, err)
		}
	}
	for says, file := range map[string]string{
		"line 2 cannot":  "{\"name\":\"a\"}\n{\"name\":",
		"unknown field":  "{\"nmae\":\"a\"}",
		"goes on":        "{\"name\":\"a\"} {\"name\":\"b\"}",
		"over 4 MB":      strings.Repeat("x", maxLine+1),
		"at most 64 are": strings.Repeat("\n", maxBytes+1),
	} {
		if got, err := ReadLines[part]([]byte(file)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v, %v", says, got, err)
		}
	}
}

// TestStandardReader: the standard library reads the same cells, line ends within them made one.
func TestStandardReader(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	alphabet := []rune("ab,;\"'\n=-+@ \tü")
	for range 500 {
		table := Table{Columns: []string{"a", "b", "c"}}
		for range 1 + rng.IntN(5) {
			row := make([]string, 3)
			for i := range row {
				for range rng.IntN(8) {
					row[i] += string(alphabet[rng.IntN(len(alphabet))])
				}
			}
			table.Rows = append(table.Rows, row)
		}
		r := csv.NewReader(strings.NewReader(string(table.CSV(','))))
		all, err := r.ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range table.Rows {
			for k, cell := range row {
				if got := all[i+1][k]; got != guard(cell) {
					t.Fatalf("%q is read as %q", guard(cell), got)
				}
				if c := all[i+1][k]; c != "" && strings.ContainsRune("=+@\t\n", rune(c[0])) {
					t.Fatalf("a spreadsheet may calculate %q", c)
				}
			}
		}
		if got, err := ReadCSV(table.CSV(',')); err != nil || !reflect.DeepEqual(got, table) {
			t.Fatalf("%q comes back as %q, %v", table, got, err)
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add(Export(columns, parts()).CSV(';'))
	f.Add([]byte("a\tb\n'=1\t\"\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		in, err := ReadCSV(data)
		if err != nil {
			return
		}
		for _, comma := range []byte{',', ';', '\t'} {
			out, err := ReadCSV(in.CSV(comma))
			if err != nil || !reflect.DeepEqual(in, out) {
				t.Fatalf("%q comes back as %q, %v", in, out, err)
			}
		}
	})
}

func FuzzReadLines(f *testing.F) {
	f.Add([]byte("{\"name\":\"a\",\"cents\":1,\"done\":true}\n\n{}\r\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		in, err := ReadLines[part](data)
		if err != nil {
			return
		}
		out, err := Lines(in)
		if err != nil {
			t.Fatal(err)
		}
		again, err := ReadLines[part](out)
		if err != nil || !reflect.DeepEqual(in, again) {
			t.Fatalf("%+v comes back as %+v, %v", in, again, err)
		}
	})
}
