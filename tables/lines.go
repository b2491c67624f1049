package tables

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// maxLine bounds one record of JSON lines, in bytes.
const maxLine = 4 << 20

// Lines writes records as JSON, one a line.
func Lines[T any](records []T) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	for i, r := range records {
		if err := e.Encode(r); err != nil {
			return nil, fmt.Errorf("record %d cannot be written: %w", i+1, err)
		}
	}
	return b.Bytes(), nil
}

// ReadLines reads records from JSON lines, strictly: names that are not known are slips or of a newer version, and both would lose
// something. Blank lines are passed over.
func ReadLines[T any](data []byte) ([]T, error) {
	if len(data) > maxBytes {
		return nil, fmt.Errorf("the file is %d MB; at most %d are read", len(data)>>20, maxBytes>>20)
	}
	data = bytes.TrimPrefix(data, []byte(Mark))
	var out []T
	for n := 1; len(data) > 0; n++ {
		line, rest, _ := bytes.Cut(data, []byte("\n"))
		data = rest
		if line = bytes.TrimSpace(line); len(line) == 0 {
			continue
		}
		if len(line) > maxLine || len(out) >= maxRows {
			return nil, fmt.Errorf("line %d is over %d MB long or beyond %d records; split the file", n, maxLine>>20, maxRows)
		}
		d := json.NewDecoder(bytes.NewReader(line))
		d.DisallowUnknownFields()
		var r T
		if err := d.Decode(&r); err != nil {
			return nil, fmt.Errorf("line %d cannot be read (%w); it should hold one record in JSON", n, err)
		}
		if err := d.Decode(new(json.RawMessage)); !errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("line %d goes on after its record; put each on a line of its own", n)
		}
		out = append(out, r)
	}
	return out, nil
}
