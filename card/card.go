package card

// Card is one scale card seen in a photo.
type Card struct {
	Letter string  // "A", "B"
	SideMM float64 // side of the symbol without quiet zone, from its text

	// H is the homography from the card's plane to the photo, row-major with H[8] = 1: mm (origin at the symbol's centre, +x
	// right, +y up along the symbol's upright) to pixels counted from the corner of the picture.
	H [9]float64

	// SigmaPX is the standard uncertainty of a corner of the symbol in one coordinate (rms of the four), from the residual of
	// the fit and its correlation between neighbouring pixels. Bent cards and lens distortion are not in it.
	SigmaPX float64

	// BlurPX2 is the covariance of the blur of the card's edges, xx, xy and yy in px^2: lens, pixel and the camera's sharpening
	// together.
	BlurPX2 [3]float64

	// ModulePX is the length in pixels of a module along the symbol's shorter direction in the photo.
	ModulePX float64
}

// Project maps a point of the card's plane in mm to the photo in pixels.
func (c Card) Project(x, y float64) (px, py float64) {
	h := &c.H
	w := h[6]*x + h[7]*y + h[8]
	return (h[0]*x + h[1]*y + h[2]) / w, (h[3]*x + h[4]*y + h[5]) / w
}

// Corners returns the symbol's corners in the photo in pixels: top left, top right, bottom right, bottom left of the upright
// symbol, without quiet zone.
func (c Card) Corners() [4][2]float64 {
	s := c.SideMM / 2
	var out [4][2]float64
	for i, k := range [4][2]float64{{-s, s}, {s, s}, {s, -s}, {-s, -s}} {
		out[i][0], out[i][1] = c.Project(k[0], k[1])
	}
	return out
}
