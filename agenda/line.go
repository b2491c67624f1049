package agenda

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Bounds of what is read.
const (
	maxBytes = 8 << 20
	maxLines = 200_000
	maxItems = 20_000
)

// foldAt is the longest line in octets, line end not counted (RFC 5545, 3.1; RFC 6350, 3.2).
const foldAt = 75

// line is one content line: name;param=value:value. Names are in capitals.
type line struct {
	name   string
	params map[string][]string
	value  string
}

// param is the first value of a parameter.
func (l line) param(name string) string {
	if v := l.params[name]; len(v) > 0 {
		return v[0]
	}
	return ""
}

// writer folds lines into a buffer.
type writer struct{ b bytes.Buffer }

// raw writes a line whose value is in its final form; nothing for an empty value.
func (w *writer) raw(head, value string) {
	if value == "" {
		return
	}
	s, room := head+":"+value, foldAt
	for len(s) > room {
		n := room
		for !utf8.RuneStart(s[n]) {
			n--
		}
		w.b.WriteString(s[:n] + "\r\n ")
		s, room = s[n:], foldAt-1 // the blank that marks the fold counts
	}
	w.b.WriteString(s + "\r\n")
}

// text writes an escaped text.
func (w *writer) text(head, value string) { w.raw(head, escape(value)) }

// clean makes a text fit for a content line: line ends as \n, no other control characters, valid UTF-8.
func clean(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\r':
			return '\n'
		case r == '\n' || r == '\t':
			return r
		case r < ' ' || r == 0x7F:
			return -1
		}
		return r
	}, s)
}

var escaper = strings.NewReplacer("\\", "\\\\", ";", "\\;", ",", "\\,", "\n", "\\n")

func escape(s string) string { return escaper.Replace(clean(s)) }

// unescape is the inverse of escape; an unknown escape stands for its character.
func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] != '\\' || i+1 == len(s) {
			b.WriteByte(s[i])
			continue
		}
		i++
		if s[i] == 'n' || s[i] == 'N' {
			b.WriteByte('\n')
		} else {
			b.WriteByte(s[i])
		}
	}
	return clean(b.String())
}

// split cuts a value at a separator that is not escaped.
func split(s string, sep byte) []string {
	var out []string
	from := 0
	for i := 0; i < len(s); i++ {
		switch s[i] {
		case '\\':
			i++
		case sep:
			out = append(out, s[from:i])
			from = i + 1
		}
	}
	return append(out, s[from:])
}

// lines unfolds and takes apart a file. Lone LF line ends are read too, as many programs write them.
func lines(data []byte) ([]line, error) {
	if len(data) > maxBytes {
		return nil, fmt.Errorf("the file is %d MB; at most %d are read", len(data)>>20, maxBytes>>20)
	}
	if !utf8.Valid(data) {
		return nil, fmt.Errorf("the file is not in UTF-8; export it again in that encoding")
	}
	s := strings.TrimPrefix(string(data), "\uFEFF")
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n")
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\n ", ""), "\n\t", "")
	var out []line
	for n, text := range strings.Split(s, "\n") {
		if strings.TrimSpace(text) == "" {
			continue
		}
		if len(out) >= maxLines {
			return nil, fmt.Errorf("the file has over %d lines; split it", maxLines)
		}
		l, ok := parse(text)
		if !ok {
			return nil, fmt.Errorf("line %d of the file, unfolded, is %q, which is no property with a value; it is damaged or of another kind", n+1, clip(text))
		}
		out = append(out, l)
	}
	return out, nil
}

// parse takes a content line apart. A parameter's value may be quoted.
func parse(s string) (line, bool) {
	end := strings.IndexAny(s, ";:")
	if end < 1 {
		return line{}, false
	}
	l := line{name: strings.ToUpper(s[:end]), params: map[string][]string{}}
	// A group before the name (item1.TEL) only ties lines together.
	if i := strings.LastIndexByte(l.name, '.'); i >= 0 {
		l.name = l.name[i+1:]
	}
	if l.name == "" || strings.Trim(l.name, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-") != "" {
		return line{}, false
	}
	for s = s[end:]; s != "" && s[0] == ';'; {
		eq := strings.IndexAny(s, "=:")
		if eq < 2 || s[eq] == ':' {
			return line{}, false
		}
		key := strings.ToUpper(s[1:eq])
		for s = s[eq:]; s != "" && (s[0] == '=' || s[0] == ','); {
			s = s[1:]
			var v string
			if strings.HasPrefix(s, `"`) {
				q := strings.IndexByte(s[1:], '"')
				if q < 0 {
					return line{}, false
				}
				v, s = s[1:q+1], s[q+2:]
			} else {
				e := strings.IndexAny(s, ",;:")
				if e < 0 {
					return line{}, false
				}
				v, s = s[:e], s[e:]
			}
			l.params[key] = append(l.params[key], v)
		}
	}
	if s == "" || s[0] != ':' {
		return line{}, false
	}
	l.value = s[1:]
	return l, true
}

func clip(s string) string {
	if len(s) > 40 {
		return strings.ToValidUTF8(s[:40], "") + "..."
	}
	return s
}
