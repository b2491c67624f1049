package invoice

import (
	"fmt"
	"strconv"
	"strings"
)

// Series writes the numbers of one sequence: prefix, year, a dash, the count within the year with leading zeros. The caller counts,
// and books every number in the same transaction that stores the document, so that none is missing.
type Series struct {
	Prefix string `json:"prefix"` // "" or letters, digits and dashes: "R-"
	Digits int    `json:"digits"` // of the count, 1 to 9
}

func (s Series) check() error {
	for _, r := range s.Prefix {
		if !(r == '-' || r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z') {
			return fmt.Errorf("the prefix %q holds %q; letters, digits and dashes only", clip(s.Prefix), r)
		}
	}
	if len(s.Prefix) > 10 || s.Digits < 1 || s.Digits > 9 {
		return fmt.Errorf("invoice numbers take a prefix of at most 10 letters and a count of 1 to 9 digits")
	}
	return nil
}

// Number of the n-th document of a year: R-2026-0001.
func (s Series) Number(year, n int) (string, error) {
	if err := s.check(); err != nil {
		return "", err
	}
	if year < 1000 || year > 9999 || n < 1 || len(strconv.Itoa(n)) > s.Digits {
		return "", fmt.Errorf("document %d of %d has no number of %d digits; allow more digits", n, year, s.Digits)
	}
	return fmt.Sprintf("%s%04d-%0*d", s.Prefix, year, s.Digits, n), nil
}

// Parse is the inverse of Number.
func (s Series) Parse(number string) (year, n int, ok bool) {
	rest, ok := strings.CutPrefix(number, s.Prefix)
	y, c, dash := strings.Cut(rest, "-")
	if !ok || !dash {
		return 0, 0, false
	}
	year, errY := strconv.Atoi(y)
	n, errN := strconv.Atoi(c)
	if errY != nil || errN != nil {
		return 0, 0, false
	}
	again, err := s.Number(year, n)
	return year, n, err == nil && again == number
}

// Gaps lists the numbers of a year that are missing between 1 and the highest. Numbers of other series and years are passed over.
func (s Series) Gaps(year int, numbers []string) []string {
	have, top := map[int]bool{}, 0
	for _, x := range numbers {
		if y, n, ok := s.Parse(x); ok && y == year {
			have[n], top = true, max(top, n)
		}
	}
	const most = 1000 // one slip of a digit must not list millions
	out := []string{}
	for n := 1; n < top && len(out) < most; n++ {
		if !have[n] {
			// A number below one that has parsed can be written too.
			x, _ := s.Number(year, n)
			out = append(out, x)
		}
	}
	return out
}
