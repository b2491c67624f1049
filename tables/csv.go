package tables

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Table is a heading and rows of as many cells.
type Table struct {
	Columns []string
	Rows    [][]string
}

// Bounds of what is read.
const (
	maxBytes   = 64 << 20
	maxColumns = 200
	maxRows    = 500_000
)

// Mark in front of the bytes makes some spreadsheets see that a file is in UTF-8. ReadCSV passes over it.
const Mark = "\uFEFF"

// CSV writes the table; comma is ',' (RFC 4180), ';' where the spreadsheet's language writes decimals with a comma, or a tab. The guard
// against formulas holds for a spreadsheet that parts the cells where this does: give its user the comma of the language.
func (t Table) CSV(comma byte) []byte {
	var b bytes.Buffer
	row := func(cells []string) {
		for i, c := range cells {
			if i > 0 {
				b.WriteByte(comma)
			}
			b.WriteByte('"')
			b.WriteString(strings.ReplaceAll(guard(strings.ToValidUTF8(c, "\uFFFD")), `"`, `""`))
			b.WriteByte('"')
		}
		b.WriteString("\r\n")
	}
	row(t.Columns)
	for _, r := range t.Rows {
		row(r)
	}
	return b.Bytes()
}

// risky are first characters that spreadsheets take for the beginning of a formula, with their full-width forms; tab and line ends are
// skipped by some on the way to one. Common practice of web security, no source.
const risky = "=+-@\t\r\n\uFF1D\uFF0B\uFF0D\uFF20"

// formula tells whether a spreadsheet may calculate a cell, blanks before it passed over. A plain negative figure is a figure.
func formula(s string) bool {
	s = strings.TrimLeft(s, " \u00a0")
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || !strings.ContainsRune(risky, r) {
		return false
	}
	if s[0] != '-' {
		return true
	}
	whole, frac, point := strings.Cut(strings.Replace(s[1:], ",", ".", 1), ".")
	return whole == "" || point && frac == "" || strings.Trim(whole+frac, "0123456789") != ""
}

// guard puts an apostrophe before a formula, and before apostrophes that stand before one, so that bare can take exactly one away.
func guard(s string) string {
	if formula(strings.TrimLeft(s, "'")) {
		return "'" + s
	}
	return s
}

// bare is the inverse of guard.
func bare(s string) string {
	if strings.HasPrefix(s, "'") && formula(strings.TrimLeft(s, "'")) {
		return s[1:]
	}
	return s
}

// ReadCSV reads a table. Quoted cells keep their line ends as they are.
func ReadCSV(data []byte) (Table, error) {
	if len(data) > maxBytes {
		return Table{}, fmt.Errorf("the table is %d MB; at most %d are read", len(data)>>20, maxBytes>>20)
	}
	if !utf8.Valid(data) {
		return Table{}, fmt.Errorf("the table is not in UTF-8; save it again as \"CSV UTF-8\"")
	}
	s := strings.TrimPrefix(string(data), Mark)
	comma := delimiter(s)
	var t Table
	seen := map[string]bool{}
	for row := 1; s != ""; row++ {
		cells, rest, err := record(s, comma)
		if err != nil {
			return Table{}, fmt.Errorf("row %d of the table %w", row, err)
		}
		s = rest
		switch {
		case len(cells) == 1 && cells[0] == "" && len(t.Columns) != 1:
			continue // a blank line
		case t.Columns == nil:
			for i, c := range cells {
				c = strings.TrimSpace(c)
				if c == "" || seen[c] {
					return Table{}, fmt.Errorf("column %d of the table has no name or one that was there before (%q); give each its own", i+1, clip(c))
				}
				seen[c], cells[i] = true, c
			}
			t.Columns = cells
		case len(cells) != len(t.Columns):
			return Table{}, fmt.Errorf("row %d of the table has %d cells, the heading has %d; mend the row", row, len(cells), len(t.Columns))
		case len(t.Rows) >= maxRows:
			return Table{}, fmt.Errorf("the table has over %d rows; split it", maxRows)
		default:
			t.Rows = append(t.Rows, cells)
		}
	}
	if t.Columns == nil {
		return Table{}, fmt.Errorf("the table is empty; its first row names the columns")
	}
	return t, nil
}

// delimiter is what stands most often in the first row outside of quotes, the comma when nothing does.
func delimiter(s string) byte {
	count := map[byte]int{}
	quoted := false
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '\n' || c == '\r':
			i = len(s)
		case c == ',' || c == ';' || c == '\t':
			count[c]++
		}
	}
	best := byte(',')
	for _, c := range []byte{';', '\t'} {
		if count[c] > count[best] {
			best = c
		}
	}
	return best
}

// record takes one row off the text.
func record(s string, comma byte) (cells []string, rest string, err error) {
	for {
		if len(cells) >= maxColumns {
			return nil, "", fmt.Errorf("has over %d cells; is it a table?", maxColumns)
		}
		var cell string
		if strings.HasPrefix(s, `"`) {
			var b strings.Builder
			for s = s[1:]; ; {
				q := strings.IndexByte(s, '"')
				if q < 0 {
					return nil, "", fmt.Errorf("has a quote that is never closed; mend it")
				}
				b.WriteString(s[:q])
				s = s[q+1:]
				if !strings.HasPrefix(s, `"`) {
					break
				}
				b.WriteByte('"')
				s = s[1:]
			}
			cell = b.String()
			if s != "" && s[0] != comma && s[0] != '\r' && s[0] != '\n' {
				return nil, "", fmt.Errorf("goes on after a closing quote with %q; double the quotes within a cell", clip(s))
			}
		} else {
			e := strings.IndexAny(s, string(rune(comma))+"\r\n")
			if e < 0 {
				e = len(s)
			}
			cell, s = s[:e], s[e:]
		}
		cells = append(cells, bare(cell))
		switch {
		case s == "":
			return cells, "", nil
		case s[0] == comma:
			s = s[1:]
		default:
			s = strings.TrimPrefix(s, "\r")
			return cells, strings.TrimPrefix(s, "\n"), nil
		}
	}
}

func clip(s string) string {
	if len(s) > 40 {
		return strings.ToValidUTF8(s[:40], "") + "..."
	}
	return s
}
