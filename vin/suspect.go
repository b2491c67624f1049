package vin

import "strings"

// Suspect is one slip of the eye or hand that would explain a check digit that differs.
type Suspect struct {
	Position int    // 1 to 17, of the character that would change
	Text     string // the number with the slip put right
}

// alike are characters that are taken for one another on a worn plate. Common practice, no source.
var alike = []string{"5S", "8B", "2Z", "0D", "6G", "1L", "1T", "7T", "4A", "UV", "VY", "MN", "MW", "3B", "38", "CG", "EF", "PR", "KX", "17"}

// Suspects lists the numbers that one look-alike character or one swap of two neighbours makes fit, by position. It is meant for a
// number whose check digit differs; one that fits has none.
func Suspects(n Number) []Suspect {
	out := []Suspect{}
	if n.Check == Fits || len(n.Text) != Length {
		return out
	}
	try := func(position int, s string) {
		if m, err := Read(s); err == nil && m.Check == Fits && m.Region == n.Region {
			out = append(out, Suspect{position, s})
		}
	}
	for i := range Length {
		for _, pair := range alike {
			if k := strings.IndexByte(pair, n.Text[i]); k >= 0 {
				try(i+1, n.Text[:i]+string(pair[1-k])+n.Text[i+1:])
			}
		}
		if i+1 < Length && n.Text[i] != n.Text[i+1] {
			try(i+1, n.Text[:i]+string(n.Text[i+1])+string(n.Text[i])+n.Text[i+2:])
		}
	}
	return out
}
