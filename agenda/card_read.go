package agenda

import (
	"sort"
	"strings"
	"time"
)

// maxReach bounds the numbers, mails and addresses of one contact.
const maxReach = 50

// property reads one line of a contact and tells whether it was taken.
func (c *Contact) property(l line) bool {
	switch l.name {
	case "UID":
		c.UID = unescape(l.value)
	case "FN":
		if c.Name != "" {
			return false // a second form of the name
		}
		c.Name = strings.TrimSpace(unescape(l.value))
	case "N":
		p := parts(l.value, 5)
		c.Family, c.Given, c.Middle, c.Prefix, c.Suffix = p[0], p[1], p[2], p[3], p[4]
	case "ORG":
		// Units of the firm follow it.
		c.Organisation = strings.Join(trimmed(split(l.value, ';')), ", ")
	case "TEL":
		v := strings.TrimPrefix(unescape(l.value), "tel:")
		if v == "" || len(c.Phones) >= maxReach {
			return false
		}
		c.Phones = append(c.Phones, Reach{kind(l), v})
	case "EMAIL":
		v := unescape(l.value)
		if v == "" || len(c.Emails) >= maxReach {
			return false
		}
		c.Emails = append(c.Emails, Reach{kind(l), v})
	case "ADR":
		p := parts(l.value, 7)
		a := Address{kind(l), p[2], p[1], p[3], p[4], p[5], p[6]}
		if p[0] != "" { // a post box has no field of its own
			a.Extra = strings.TrimPrefix(a.Extra+", "+p[0], ", ")
		}
		if a == (Address{Kind: a.Kind}) || len(c.Addresses) >= maxReach {
			return false
		}
		c.Addresses = append(c.Addresses, a)
	case "NOTE":
		c.Note = unescape(l.value)
	case "REV":
		for _, layout := range []string{stampUTC, "2006-01-02T15:04:05Z"} {
			if t, err := time.Parse(layout, l.value); err == nil && t.Year() >= 1 {
				c.Stamp = t
				return true
			}
		}
		return false
	case "PRODID", "KIND":
	default:
		return false
	}
	return true
}

// kind is the first of home, work, cell among the types, else the first that is a word.
func kind(l line) string {
	first := ""
	for _, group := range l.params["TYPE"] {
		for _, k := range strings.Split(strings.ToLower(group), ",") {
			if k == "home" || k == "work" || k == "cell" {
				return k
			}
			if first == "" && isKind(k) {
				first = k
			}
		}
	}
	return first
}

// parts cuts a structured value into n texts; several in one part are joined by blanks.
func parts(value string, n int) []string {
	out := make([]string, n)
	for i, p := range split(value, ';') {
		if i < n {
			out[i] = strings.Join(trimmed(split(p, ',')), " ")
		}
	}
	return out
}

// trimmed unescapes texts and drops the empty ones.
func trimmed(texts []string) []string {
	var out []string
	for _, s := range texts {
		if s = strings.TrimSpace(unescape(s)); s != "" {
			out = append(out, s)
		}
	}
	return out
}

func sorted(m map[string]int) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
