package card

import (
	"errors"
	"fmt"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode/decoder"
	"github.com/makiuchi-d/gozxing/qrcode/encoder"
)

const (
	// Modules is the number of modules along a side of the symbol: version 1 of ISO/IEC 18004.
	Modules = 21
	// QuietModules is the width of the white rim that the symbol needs around it: ISO/IEC 18004.
	QuietModules = 4
	// LabelMM is the height of the strip for words below the quiet zone of printed cards.
	LabelMM = 9.0
)

// modules is the symbol, row by row from the top, 1 where dark.
type modules [Modules][Modules]float64

// Symbol returns the modules of a card's symbol, rows from the top, true where dark: 21 x 21, level H. The print adds a quiet
// zone of QuietModules on all sides.
func Symbol(letter string, sideMM float64) ([][]bool, error) {
	text := Text(letter, sideMM)
	if _, side, err := Parse(text); err != nil {
		return nil, err
	} else if side != sideMM {
		return nil, fmt.Errorf("scale card %s: the side of %v mm cannot be written on the card; choose whole tenths of a mm", letter, sideMM)
	}
	m, err := encode(text, decoder.ErrorCorrectionLevel_H, -1)
	if err != nil {
		return nil, err
	}
	out := make([][]bool, Modules)
	for y := range out {
		out[y] = make([]bool, Modules)
		for x := range out[y] {
			out[y][x] = m[y][x] > 0
		}
	}
	return out, nil
}

// encode makes a version 1 symbol; mask -1 leaves the choice of the mask to the encoder.
func encode(text string, level decoder.ErrorCorrectionLevel, mask int) (*modules, error) {
	hints := map[gozxing.EncodeHintType]any{gozxing.EncodeHintType_QR_VERSION: 1}
	if mask >= 0 {
		hints[gozxing.EncodeHintType_QR_MASK_PATTERN] = mask
	}
	code, err := encoder.Encoder_encode(text, level, hints)
	if err != nil {
		return nil, fmt.Errorf("the symbol for %q could not be made: %w", text, err)
	}
	b := code.GetMatrix()
	if b.GetWidth() != Modules || b.GetHeight() != Modules {
		return nil, errors.New("card: the encoder made a symbol that is not of version 1")
	}
	var m modules
	for y := range Modules {
		for x := range Modules {
			m[y][x] = float64(b.Get(x, y))
		}
	}
	return &m, nil
}

// knownParts returns what is the same on every card (finders, separators, timing, the dark module) and which modules that is.
// Positions: ISO/IEC 18004, function patterns of version 1.
func knownParts() (m modules, known [Modules][Modules]bool) {
	finder := func(x0, y0 int) {
		for y := -1; y <= 7; y++ {
			for x := -1; x <= 7; x++ {
				cx, cy := x0+x, y0+y
				if cx < 0 || cy < 0 || cx >= Modules || cy >= Modules {
					continue
				}
				known[cy][cx] = true
				r := max(abs(x-3), abs(y-3)) // rings around the finder's middle: 0,1 dark, 2 light, 3 dark, 4 separator
				if r == 0 || r == 1 || r == 3 {
					m[cy][cx] = 1
				}
			}
		}
	}
	finder(0, 0)
	finder(Modules-7, 0)
	finder(0, Modules-7)
	for i := 8; i < Modules-8; i++ {
		dark := float64((i + 1) % 2)
		m[6][i], m[i][6] = dark, dark
		known[6][i], known[i][6] = true, true
	}
	m[Modules-8][8], known[Modules-8][8] = 1, true
	return m, known
}

func abs(i int) int {
	if i < 0 {
		return -i
	}
	return i
}
