package payqr

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// spelled are letters that no accent is taken from, and the German umlauts, which German practice spells with an e.
var spelled = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "Ä", "Ae", "Ö", "Oe", "Ü", "Ue", "ß", "ss", "ẞ", "SS", "æ", "ae", "Æ", "AE", "œ", "oe", "Œ", "OE",
	"ø", "o", "Ø", "O", "ł", "l", "Ł", "L", "đ", "d", "Đ", "D", "ð", "d", "Ð", "D", "þ", "th", "Þ", "Th", "ı", "i", "’", "'", "–", "-")

// Plain spells a Latin text with the letters of ASCII: umlauts with an e, other accents dropped, anything else replaced by a dot, as
// the payment schemes' basic character set asks of banks (from memory).
func Plain(s string) string {
	var b strings.Builder
	for _, r := range norm.NFD.String(spelled.Replace(norm.NFC.String(s))) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case r >= ' ' && r <= '~':
			b.WriteRune(r)
		default:
			b.WriteByte('.')
		}
	}
	return b.String()
}

func ascii(s string) bool { return all(s, func(c byte) bool { return c < 0x80 }) }
