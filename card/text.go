package card

import (
	"fmt"
	"strconv"
	"strings"
)

const (
	scheme = "FM1"
	// MinSideMM and MaxSideMM bound the symbol's side. Below 10 mm a module is under half a millimetre, which neither an office
	// printer nor a photo of a whole panel area resolves; 200 mm is what an A4 sheet (210 mm wide) carries.
	MinSideMM = 10
	MaxSideMM = 200
	// maxText is what version 1, level H holds in alphanumeric mode: ISO/IEC 18004, table of data capacities.
	maxText = 10
)

// Text returns the text of the card's symbol, such as "FM1 A 40". Sides are written in mm with at most one decimal.
func Text(letter string, sideMM float64) string {
	return scheme + " " + letter + " " + strconv.FormatFloat(roundTenth(sideMM), 'f', -1, 64)
}

// Parse reads the text of a symbol. It is strict: exactly what Text writes for one letter A to Z and a side of 10 to 200 mm,
// in tenths of a mm below 100 mm and whole mm from there on (more does not fit the symbol).
func Parse(text string) (letter string, sideMM float64, err error) {
	if len(text) > maxText {
		return "", 0, fmt.Errorf("the symbol's text is longer than a scale card's; use a card printed with fairmetal card")
	}
	part := strings.Split(text, " ")
	if len(part) != 3 || part[0] != scheme {
		return "", 0, fmt.Errorf("%q is not the text of a scale card (like %q); use a card printed with fairmetal card", text, "FM1 A 40")
	}
	letter = part[1]
	if len(letter) != 1 || letter[0] < 'A' || letter[0] > 'Z' {
		return "", 0, fmt.Errorf("scale card letter %q is not one of A to Z; use a card printed with fairmetal card", letter)
	}
	sideMM, err = strconv.ParseFloat(part[2], 64)
	if err != nil || !(sideMM >= MinSideMM && sideMM <= MaxSideMM) {
		return "", 0, fmt.Errorf("scale card %s: side %q is not a length of %d to %d mm; use a card printed with fairmetal card",
			letter, part[2], MinSideMM, MaxSideMM)
	}
	if Text(letter, sideMM) != text {
		return "", 0, fmt.Errorf("scale card %s: side %q is not written in plain mm with at most one decimal; use a card printed with fairmetal card",
			letter, part[2])
	}
	return letter, sideMM, nil
}

func roundTenth(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 1, 64), 64)
	if err != nil {
		return v
	}
	return r
}
