package agenda

import (
	"fmt"
	"strings"
	"time"
)

// Contact is one person or firm.
type Contact struct {
	UID          string    `json:"uid"`
	Stamp        time.Time `json:"stamp"` // when this state was written; zero: not told
	Name         string    `json:"name"`  // as shown
	Family       string    `json:"family"`
	Given        string    `json:"given"`
	Middle       string    `json:"middle"`
	Prefix       string    `json:"prefix"`
	Suffix       string    `json:"suffix"`
	Organisation string    `json:"organisation"`
	Phones       []Reach   `json:"phones"`
	Emails       []Reach   `json:"emails"`
	Addresses    []Address `json:"addresses"`
	Note         string    `json:"note"`
}

// Reach is a number or mail address with its kind: "", home, work, cell.
type Reach struct {
	Kind  string `json:"kind"`
	Value string `json:"value"`
}

// Address by its parts.
type Address struct {
	Kind     string `json:"kind"`
	Street   string `json:"street"`
	Extra    string `json:"extra"`
	City     string `json:"city"`
	Region   string `json:"region"`
	Postcode string `json:"postcode"`
	Country  string `json:"country"`
}

// Cards writes contacts as vCard 4.0, one after another.
func Cards(contacts []Contact) ([]byte, error) {
	if len(contacts) > maxItems {
		return nil, fmt.Errorf("%d contacts are too many for one file; at most %d", len(contacts), maxItems)
	}
	w := &writer{}
	for _, c := range contacts {
		if strings.TrimSpace(clean(c.Name)) == "" {
			return nil, fmt.Errorf("a contact (%q) has no name to show; give one", clip(c.Organisation+c.Family))
		}
		w.raw("BEGIN", "VCARD")
		w.raw("VERSION", "4.0")
		w.text("UID;VALUE=text", c.UID)
		w.text("FN", c.Name)
		w.structured("N", c.Family, c.Given, c.Middle, c.Prefix, c.Suffix)
		w.text("ORG", c.Organisation)
		for _, p := range c.Phones {
			if err := w.reach("TEL", p); err != nil {
				return nil, err
			}
		}
		for _, m := range c.Emails {
			if err := w.reach("EMAIL", m); err != nil {
				return nil, err
			}
		}
		for _, a := range c.Addresses {
			kind, err := kindOf(a.Kind)
			if err != nil {
				return nil, err
			}
			w.structured("ADR"+kind, "", a.Extra, a.Street, a.City, a.Region, a.Postcode, a.Country)
		}
		w.text("NOTE", c.Note)
		if y := c.Stamp.Year(); !c.Stamp.IsZero() && y >= 1 && y <= 9999 {
			w.raw("REV", c.Stamp.UTC().Format(stampUTC))
		}
		w.raw("END", "VCARD")
	}
	return w.b.Bytes(), nil
}

// structured writes parts between semicolons, nothing when all are empty.
func (w *writer) structured(head string, parts ...string) {
	some := false
	for i, p := range parts {
		parts[i] = escape(p)
		some = some || parts[i] != ""
	}
	if some {
		w.raw(head, strings.Join(parts, ";"))
	}
}

func (w *writer) reach(name string, r Reach) error {
	kind, err := kindOf(r.Kind)
	if err == nil {
		w.text(name+kind, r.Value)
	}
	return err
}

func kindOf(kind string) (string, error) {
	if kind == "" {
		return "", nil
	}
	if !isKind(kind) {
		return "", fmt.Errorf("the kind %q is no small word such as home, work or cell", clip(kind))
	}
	return ";TYPE=" + kind, nil
}

func isKind(s string) bool {
	return s != "" && len(s) <= 20 && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz-") == ""
}

// ReadCards reads contacts of vCard 4.0 and 3.0. What the struct does not hold (pictures, birthdays ...) is left out.
func ReadCards(data []byte) (contacts []Contact, notes []string, err error) {
	all, err := lines(data)
	if err != nil {
		return nil, nil, err
	}
	var c *Contact
	left := map[string]int{}
	for i, l := range all {
		switch {
		case l.name == "BEGIN":
			if c != nil || !strings.EqualFold(l.value, "VCARD") {
				return nil, nil, fmt.Errorf("the contacts file begins %q within a contact or is of another kind; it is damaged", clip(l.value))
			}
			if len(contacts) >= maxItems {
				return nil, nil, fmt.Errorf("the contacts file has over %d contacts; split it", maxItems)
			}
			c = &Contact{}
		case c == nil:
			return nil, nil, fmt.Errorf("line %d of the contacts file stands outside of a contact; it begins with BEGIN:VCARD", i+1)
		case l.name == "END":
			if c.Name == "" {
				c.Name = strings.TrimSpace(c.Given + " " + c.Family)
			}
			if c.Name == "" {
				c.Name = strings.TrimSpace(c.Organisation)
			}
			if c.Name == "" {
				return nil, nil, fmt.Errorf("contact %d of the file has no name; give it one and export again", len(contacts)+1)
			}
			contacts, c = append(contacts, *c), nil
		case l.name == "VERSION":
			if l.value != "4.0" && l.value != "3.0" {
				return nil, nil, fmt.Errorf("the contacts are of version %q; export them as vCard 3.0 or 4.0", clip(l.value))
			}
		default:
			if !c.property(l) {
				left[l.name]++
			}
		}
	}
	if c != nil {
		return nil, nil, fmt.Errorf("the contacts file breaks off within a contact; fetch it again")
	}
	for _, name := range sorted(left) {
		notes = append(notes, fmt.Sprintf("%s was left out %d times", name, left[name]))
	}
	return contacts, notes, nil
}
