package photo

// Image is a picture in linear light: Pix holds H rows of W luminances, row-major, 0 (black) to 1 (sensor white), with the
// sRGB curve already undone. Pixel coordinates start at the corner of the picture: the first pixel's centre is (0.5, 0.5).
type Image struct {
	W, H int
	Pix  []float32
}

// NewImage returns a black picture of w x h pixels.
func NewImage(w, h int) *Image {
	return &Image{W: w, H: h, Pix: make([]float32, w*h)}
}

// At returns the luminance of the pixel in column x, row y.
func (m *Image) At(x, y int) float32 { return m.Pix[y*m.W+x] }
