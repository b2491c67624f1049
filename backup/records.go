package backup

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"

	"fairmetal/store"
)

// maxRecord bounds one line: texts are short, settings and logos a few hundred kB.
const maxRecord = 32 << 20

// binary is how bytes stand in a record.
type binary struct {
	Base64 []byte `json:"base64"`
}

// appendRecord writes a record as one line.
func appendRecord(b *bytes.Buffer, row []any) error {
	out := make([]any, len(row))
	for i, v := range row {
		out[i] = v
		switch v := v.(type) {
		case []byte:
			out[i] = binary{v}
		case string:
			if !utf8.ValidString(v) {
				return errors.New("a record holds a text that is not UTF-8")
			}
		}
	}
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false)
	return e.Encode(out)
}

// readRecords tells the records of a table.
func readRecords(r io.Reader, t store.Table, f func(row []any) error) error {
	s := bufio.NewScanner(r)
	s.Buffer(nil, maxRecord)
	for n := 1; s.Scan(); n++ {
		row, err := parseRecord(s.Bytes(), t)
		if err != nil {
			return fmt.Errorf("%s, record %d: %w", t.Name, n, err)
		}
		if err := f(row); err != nil {
			return fmt.Errorf("%s, record %d: %w", t.Name, n, err)
		}
	}
	return s.Err()
}

func parseRecord(line []byte, t store.Table) ([]any, error) {
	var raw []json.RawMessage
	if err := json.Unmarshal(line, &raw); err != nil {
		return nil, err
	}
	if len(raw) != len(t.Columns) {
		return nil, fmt.Errorf("%d values for %d columns", len(raw), len(t.Columns))
	}
	row := make([]any, len(raw))
	for i, c := range t.Columns {
		if string(raw[i]) == "null" {
			continue
		}
		var err error
		switch c.Type {
		case "text":
			row[i], err = value[string](raw[i])
		case "integer":
			row[i], err = value[int64](raw[i])
		case "real":
			row[i], err = value[float64](raw[i])
		case "blob":
			var b binary
			b, err = value[binary](raw[i])
			row[i] = b.Base64
			if b.Base64 == nil {
				row[i] = []byte{}
			}
		default:
			err = fmt.Errorf("a column of type %q is not known", c.Type)
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.Name, err)
		}
	}
	return row, nil
}

func value[T any](raw json.RawMessage) (v T, err error) {
	return v, json.Unmarshal(raw, &v)
}
