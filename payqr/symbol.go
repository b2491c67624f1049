package payqr

import (
	"fmt"
	"image"
	"image/color"
	"strings"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode/decoder"
	"github.com/makiuchi-d/gozxing/qrcode/encoder"
)

// Quiet is the light border of a QR symbol, in modules (ISO/IEC 18004).
const Quiet = 4

// Symbol is a square of modules, quiet zone included.
type Symbol struct {
	Size    int // modules a side
	Version int // 1 to 13
	dark    []bool
}

// Encode makes the symbol of a payload.
func Encode(payload string) (Symbol, error) {
	if payload == "" || len(payload) > MaxBytes {
		return Symbol{}, fmt.Errorf("a payment code holds 1 to %d bytes, not %d", MaxBytes, len(payload))
	}
	// Letters beyond ASCII get the header that says UTF-8 (ECI 26), as readers guess wrong without it: one took the bytes of a u umlaut
	// for a Chinese sign. The header costs 12 bits; where they do not fit the symbol goes without, the payload's third line says it too.
	var hints map[gozxing.EncodeHintType]any
	if !ascii(payload) {
		hints = map[gozxing.EncodeHintType]any{gozxing.EncodeHintType_CHARACTER_SET: "UTF-8"}
	}
	code, err := encoder.Encoder_encode(payload, decoder.ErrorCorrectionLevel_M, hints)
	if err == nil && hints != nil && code.GetVersion().GetVersionNumber() > maxVersionQR {
		code, err = encoder.Encoder_encode(payload, decoder.ErrorCorrectionLevel_M, nil)
	}
	if err != nil {
		return Symbol{}, fmt.Errorf("the payment code cannot be drawn: %w", err)
	}
	v, m := code.GetVersion().GetVersionNumber(), code.GetMatrix()
	if v > maxVersionQR {
		return Symbol{}, fmt.Errorf("the payment code needs a symbol of version %d, banks read up to %d; shorten the text", v, maxVersionQR)
	}
	s := Symbol{Size: m.GetWidth() + 2*Quiet, Version: v}
	s.dark = make([]bool, s.Size*s.Size)
	for y := range m.GetHeight() {
		for x := range m.GetWidth() {
			s.dark[(y+Quiet)*s.Size+x+Quiet] = m.Get(x, y) == 1
		}
	}
	return s, nil
}

// Dark tells a module; outside the square all is light.
func (s Symbol) Dark(x, y int) bool {
	return x >= 0 && y >= 0 && x < s.Size && y < s.Size && s.dark[y*s.Size+x]
}

// Image draws each module as scale x scale pixels.
func (s Symbol) Image(scale int) *image.Gray {
	scale = max(1, scale)
	m := image.NewGray(image.Rect(0, 0, s.Size*scale, s.Size*scale))
	for y := range m.Rect.Dy() {
		for x := range m.Rect.Dx() {
			if !s.Dark(x/scale, y/scale) {
				m.SetGray(x, y, color.Gray{Y: 255})
			}
		}
	}
	return m
}

// Path is the dark area as SVG path data in units of modules, one bar for each run in a row.
func (s Symbol) Path() string {
	var b strings.Builder
	for y := range s.Size {
		for x := 0; x < s.Size; x++ {
			n := 0
			for s.Dark(x+n, y) {
				n++
			}
			if n > 0 {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", x, y, n, n)
				x += n
			}
		}
	}
	return b.String()
}
