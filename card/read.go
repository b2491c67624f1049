package card

import (
	"errors"

	"github.com/makiuchi-d/gozxing/qrcode/decoder"

	"fairmetal/photo"
)

var errUnread = errors.New("card: the symbol cannot be decoded")

// bilinear returns the luminance at (x, y) px from the corner of the picture.
func bilinear(img *photo.Image, x, y float64) float64 {
	x, y = x-0.5, y-0.5
	x, y = min(max(x, 0), float64(img.W-1)), min(max(y, 0), float64(img.H-1))
	ix, iy := min(int(x), img.W-2), min(int(y), img.H-2)
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	p := img.Pix[iy*img.W+ix:]
	q := p[img.W:]
	a, b := p[0]+fx*(p[1]-p[0]), q[0]+fx*(q[1]-q[0])
	return float64(a + fy*(b-a))
}

// middle returns the symbol coordinate of the middle of module i.
func middle(i int) float64 { return float64(i) - (Modules-1)/2 }

// darkness samples the middle of every module, 0 at the paper's white, 1 at the ink's black.
func (f *model) darkness(img *photo.Image) modules {
	var m modules
	for j := range Modules {
		for i := range Modules {
			sum := 0.0
			for _, dv := range [3]float64{-0.2, 0, 0.2} {
				for _, du := range [3]float64{-0.2, 0, 0.2} {
					x, y := apply(f.x[:8], middle(i)+du, middle(j)+dv)
					sum += bilinear(img, x+f.ox, y+f.oy)
				}
			}
			x, y := apply(f.x[:8], middle(i), middle(j))
			white, contrast := f.light(x, y)
			black := white - contrast
			m[j][i] = (min(white, 1) - sum/9) / (min(white, 1) - black)
		}
	}
	return m
}

// light returns white and contrast at a pixel counted from the model's origin.
func (f *model) light(x, y float64) (white, contrast float64) {
	x, y = x/f.scale, y/f.scale
	w, k := f.x[iWhite:], f.x[iDark:]
	return w[0] + w[1]*x + w[2]*y, k[0] + k[1]*x + k[2]*y
}

// sharpen undoes the blur's mixing of neighbouring modules by a few fixed-point rounds (Van Cittert), each module kept between
// light and dark.
func (f *model) sharpen(seen modules) modules {
	m, ok := f.mapping()
	if !ok {
		return seen
	}
	est := seen
	for range 6 {
		for j := range Modules {
			for i := range Modules {
				est[j][i] = min(max(est[j][i], 0), 1)
			}
		}
		p := newPattern(&est)
		next := est
		for j := range Modules {
			for i := range Modules {
				x, y := apply(f.x[:8], middle(i), middle(j))
				k := f.view(&m, x, y)
				cuu, cuv, cvv := f.blur(&k)
				l := p.at(float64(i)+0.5, float64(j)+0.5, cuu, cuv, cvv, f.rule, &f.ax, &f.ay)
				next[j][i] += seen[j][i] - l.d
			}
		}
		est = next
	}
	return est
}

// read decodes the symbol and returns all its modules as printed.
func read(dark *modules) (letter string, sideMM float64, printed *modules, err error) {
	grid := make([][]bool, Modules)
	for y := range grid {
		grid[y] = make([]bool, Modules)
		for x := range grid[y] {
			grid[y][x] = dark[y][x] > 0.5
		}
	}
	res, err := decoder.NewDecoder().DecodeBoolMapWithoutHint(grid)
	if err != nil {
		return "", 0, nil, errUnread
	}
	if meta, ok := res.GetOther().(*decoder.QRCodeDecoderMetaData); ok && meta.IsMirrored() {
		return "", 0, nil, errUnread // seen in a mirror: not the card itself
	}
	letter, sideMM, err = Parse(res.GetText())
	if err != nil {
		return "", 0, nil, err
	}
	printed, err = reprint(res.GetText(), res.GetECLevel(), grid)
	return letter, sideMM, printed, err
}

// maxWrong is the number of modules that may differ between what was sampled and what was printed: the correction of level H
// mends 8 of 26 codewords, 64 of 441 modules at best.
const maxWrong = 64

// levels are the error correction levels by the letter that the decoder reports.
var levels = map[string]decoder.ErrorCorrectionLevel{
	"L": decoder.ErrorCorrectionLevel_L, "M": decoder.ErrorCorrectionLevel_M,
	"Q": decoder.ErrorCorrectionLevel_Q, "H": decoder.ErrorCorrectionLevel_H,
}

// reprint makes the symbol again with every mask and returns the one closest to the sampled grid.
func reprint(text, level string, grid [][]bool) (*modules, error) {
	lv, ok := levels[level]
	if !ok {
		return nil, errUnread
	}
	var best *modules
	bestWrong := maxWrong + 1
	for mask := range 8 {
		m, err := encode(text, lv, mask)
		if err != nil {
			return nil, err
		}
		wrong := 0
		for y := range Modules {
			for x := range Modules {
				if (m[y][x] > 0) != grid[y][x] {
					wrong++
				}
			}
		}
		if wrong < bestWrong {
			best, bestWrong = m, wrong
		}
	}
	if best == nil {
		return nil, errUnread
	}
	return best, nil
}
