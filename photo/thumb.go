package photo

import (
	"bytes"
	"image"
	"image/jpeg"

	"golang.org/x/image/draw"
)

// Thumbnail returns the photo upright, in colour, as a JPEG of at most maxSide pixels on its longer side. Nothing of the
// original's metadata is kept: no place, no camera, no time.
func Thumbnail(data []byte, maxSide int, lim Limits) ([]byte, error) {
	img, format, err := decodeRaw(data, lim)
	if err != nil {
		return nil, err
	}
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	if m := max(w, h); m > maxSide {
		w, h = max(1, w*maxSide/m), max(1, h*maxSide/m)
	}
	small := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.ApproxBiLinear.Scale(small, small.Bounds(), img, b, draw.Src, nil)
	upright := small
	if o := readInfo(data, format).Orientation; format != "heic" && o > 1 {
		uw, uh := w, h
		if o >= 5 {
			uw, uh = h, w
		}
		upright = image.NewRGBA(image.Rect(0, 0, uw, uh))
		for y := range uh {
			for x := range uw {
				sx, sy := stored(o, x, y, uw, uh)
				copy(upright.Pix[upright.PixOffset(x, y):][:4], small.Pix[small.PixOffset(sx, sy):][:4])
			}
		}
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, upright, &jpeg.Options{Quality: 82}); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}
