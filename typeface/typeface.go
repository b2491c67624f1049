// Package typeface embeds the fonts of our PDFs: DejaVu Sans (free licence, see LICENSE-DejaVu.txt), which covers Latin, Greek and
// Cyrillic. A PDF holds the subset that it uses.
package typeface

import (
	_ "embed"

	"codeberg.org/go-pdf/fpdf"
)

//go:embed DejaVuSans.ttf
var regular []byte

//go:embed DejaVuSans-Bold.ttf
var bold []byte

// Family is the name to select.
const Family = "sans"

// Use registers the family with a document, regular and bold.
func Use(pdf *fpdf.Fpdf) {
	pdf.AddUTF8FontFromBytes(Family, "", regular)
	pdf.AddUTF8FontFromBytes(Family, "B", bold)
}
