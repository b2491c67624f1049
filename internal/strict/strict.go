// Package strict reads the small JSON files that a technician edits by hand.
package strict

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// File says what a file is, for the words of its errors: "the <What> is 900 kB; it should <Holds> only", "... cannot be read; <Mend>".
type File struct {
	What, Holds, Mend string
	MaxBytes          int
}

// Decode reads one JSON document: names that are not known are slips of the pen that would otherwise be ignored, and what goes on after
// the document's end is refused.
func (f File) Decode(data []byte, to any) error {
	if len(data) > f.MaxBytes {
		return fmt.Errorf("the %s is %d kB; it should %s only", f.What, len(data)>>10, f.Holds)
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(to); err != nil {
		return fmt.Errorf("the %s cannot be read (%w); %s", f.What, err, f.Mend)
	}
	if err := d.Decode(new(any)); !errors.Is(err, io.EOF) {
		return fmt.Errorf("the %s goes on after its end; leave one document in it", f.What)
	}
	return nil
}
