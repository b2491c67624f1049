package vin

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Length of a number in ISO 3779.
const Length = 17

// maxTyped bounds what is looked at: 17 characters with a separator between any two, and room for slips.
const maxTyped = 64

// Region of the maker's registration, by the first character (ISO 3780, from memory).
type Region string

const (
	Africa       Region = "Africa"
	Asia         Region = "Asia"
	Europe       Region = "Europe"
	NorthAmerica Region = "North America"
	Oceania      Region = "Oceania"
	SouthAmerica Region = "South America"
	Unassigned   Region = ""
)

// Check says how the digit at position 9 compares.
type Check string

const (
	Fits     Check = "fits"
	Differs  Check = "differs"   // in North America: one character at least is wrong
	NotAsked Check = "not asked" // does not fit, and need not
)

// Number is a readable vehicle identification number.
type Number struct {
	Text   string   `json:"text"` // 17 capitals and digits
	Region Region   `json:"region"`
	Check  Check    `json:"check"`
	Wanted string   `json:"wanted"` // the check digit of the other sixteen, 0 to 9 or X
	Years  []int    `json:"years"`  // model years that position 10 may mean, earliest first; none where it means nothing
	Notes  []string `json:"notes"`
}

// Error names the place of what is wrong.
type Error struct {
	Position int // 1 to 17; 0 for the whole
	Text     string
}

func (e *Error) Error() string { return e.Text }

// Clean takes out what people put between groups and capitalises.
func Clean(typed string) string {
	return strings.ToUpper(strings.NewReplacer(" ", "", "-", "", ".", "", "\t", "", "\u00a0", "").Replace(strings.TrimSpace(typed)))
}

// Read checks a number as typed.
func Read(typed string) (Number, error) {
	if len(typed) > maxTyped || !utf8.ValidString(typed) {
		return Number{}, &Error{0, fmt.Sprintf("that is no vehicle identification number; it has %d letters and digits", Length)}
	}
	s := Clean(typed)
	for i, r := range []rune(s) {
		if i >= Length {
			break // the length is told below
		}
		switch {
		case r == 'I' || r == 'O' || r == 'Q':
			digit := map[rune]string{'I': "1", 'O': "0", 'Q': "0"}[r]
			return Number{}, &Error{i + 1, fmt.Sprintf("position %d is the letter %c, which these numbers never hold; it is probably the digit %s", i+1, r, digit)}
		case value(r) < 0:
			return Number{}, &Error{i + 1, fmt.Sprintf("position %d is %q; only capital letters and digits stand there", i+1, r)}
		}
	}
	if n := utf8.RuneCountInString(s); n != Length {
		return Number{}, &Error{0, fmt.Sprintf("the number has %d characters, it should have %d; %s", n, Length, map[bool]string{true: "one is missing or it was read in part", false: "one was typed twice or belongs to something else"}[n < Length])}
	}
	// ISO 3779 leaves the last four places to digits.
	for i := Length - 4; i < Length; i++ {
		if s[i] < '0' || s[i] > '9' {
			return Number{}, &Error{i + 1, fmt.Sprintf("position %d is %c; the last four are always digits", i+1, s[i])}
		}
	}
	n := Number{Text: s, Region: region(s[0]), Wanted: string(digit(s)), Notes: []string{}}
	switch {
	case s[8] == n.Wanted[0]:
		n.Check = Fits
	case n.Region == NorthAmerica:
		n.Check = Differs
		n.Notes = append(n.Notes, fmt.Sprintf("the check digit at position 9 is %c and should be %s: at least one character is wrong, look again", s[8], n.Wanted))
	default:
		n.Check = NotAsked
		n.Notes = append(n.Notes, "position 9 is no check digit here; compare the number once more by eye")
	}
	n.Years = years(s, n.Region)
	if len(n.Years) > 1 {
		n.Notes = append(n.Notes, fmt.Sprintf("position 10 may mean %d or %d, and outside North America it need not be a year at all", n.Years[0], n.Years[1]))
	}
	if n.Region == Unassigned {
		n.Notes = append(n.Notes, fmt.Sprintf("no region is known for a first character %c", s[0]))
	}
	return n, nil
}

// value of a character in the sum, 49 CFR 565.15 table III; -1 for one that may not occur.
func value(r rune) int {
	switch {
	case r >= '0' && r <= '9':
		return int(r - '0')
	case r == 'I' || r == 'O' || r == 'Q':
		return -1
	case r >= 'A' && r <= 'H':
		return int(r-'A') + 1
	case r >= 'J' && r <= 'R':
		return int(r-'J') + 1
	case r >= 'S' && r <= 'Z':
		return int(r-'S') + 2
	}
	return -1
}

// weights of the positions, 49 CFR 565.15 table IV; the check digit itself weighs nothing.
var weights = [Length]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

// digit is the sum of value times weight, modulo 11, ten written X.
func digit(s string) byte {
	sum := 0
	for i := range Length {
		sum += value(rune(s[i])) * weights[i]
	}
	return "0123456789X"[sum%11]
}

func region(c byte) Region {
	switch {
	case c >= 'A' && c <= 'H':
		return Africa
	case c >= 'J' && c <= 'R':
		return Asia
	case c >= 'S' && c <= 'Z':
		return Europe
	case c >= '1' && c <= '5':
		return NorthAmerica
	case c == '6' || c == '7':
		return Oceania
	case c == '8' || c == '9':
		return SouthAmerica
	}
	return Unassigned
}

// yearCodes are the characters of position 10 from 1980 on, again from 2010 (49 CFR 565.15 table VII): no I, O, Q, U, Z, 0.
const yearCodes = "ABCDEFGHJKLMNPRSTVWXY123456789"

// years tells what position 10 may mean. In North America position 7 parts the two cycles for cars and light trucks: a digit before
// 2010, a letter since (49 CFR 565.15(d)(1)).
func years(s string, r Region) []int {
	i := strings.IndexByte(yearCodes, s[9])
	if i < 0 {
		return nil
	}
	early, late := 1980+i, 2010+i
	if r == NorthAmerica {
		if s[6] >= '0' && s[6] <= '9' {
			return []int{early}
		}
		return []int{late}
	}
	return []int{early, late}
}
