package scene

import (
	"fmt"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/makiuchi-d/gozxing/qrcode/decoder"
)

// symbol is the QR symbol of a scale card: 21 rows of 21 modules, true where dark.
func symbol(letter string, sideMM float64) ([][]bool, error) {
	m, err := qrcode.NewQRCodeWriter().Encode(fmt.Sprintf("FM1 %s %g", letter, sideMM), gozxing.BarcodeFormat_QR_CODE, 21, 21,
		map[gozxing.EncodeHintType]any{gozxing.EncodeHintType_MARGIN: 0, gozxing.EncodeHintType_ERROR_CORRECTION: decoder.ErrorCorrectionLevel_H})
	if err != nil {
		return nil, err
	}
	if m.GetWidth() != 21 {
		return nil, fmt.Errorf("the card's symbol has %d modules instead of 21; use a shorter side", m.GetWidth())
	}
	out := make([][]bool, 21)
	for y := range out {
		out[y] = make([]bool, 21)
		for x := range out[y] {
			out[y][x] = m.Get(x, y)
		}
	}
	return out, nil
}
