package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"math"

	"fairmetal/internal/heif"
	"fairmetal/internal/rows"
)

// Limits bound what is decoded. Zero fields take the defaults.
type Limits struct {
	MaxBytes  int64 // of the file; DefaultMaxBytes
	MaxPixels int   // DefaultMaxPixels
	// WorkPixels is the size over which a photo is halved until it has no more pixels; 0: none is.
	WorkPixels int
}

// Defaults of Limits: the largest phone photos are 50 megapixels and 25 MB.
const (
	DefaultMaxBytes  = 60 << 20
	DefaultMaxPixels = 64_000_000
)

func (l Limits) orDefault() Limits {
	if l.MaxBytes == 0 {
		l.MaxBytes = DefaultMaxBytes
	}
	if l.MaxPixels == 0 {
		l.MaxPixels = DefaultMaxPixels
	}
	return l
}

// Photo is one decoded photo.
type Photo struct {
	*Image           // halved as the limits ask for
	FullW, FullH int // as it was taken, upright
	EXIF         Info
	Format       string // jpeg, png or heic
	// ClippedFraction is the share of pixels at the sensor's white.
	ClippedFraction float64
	// Step is the grey levels in which a JPEG keeps waves of some pixels; 0 where that is not known.
	Step float64
}

// clippedAt is the 8-bit value that counts as white: JPEG rounding and ringing leave 255 a step or two lower.
const clippedAt = 253

// Sniff names the format of a file by its first bytes: "jpeg", "png", "heic" or "".
func Sniff(data []byte) string {
	switch {
	case len(data) > 3 && data[0] == 0xff && data[1] == 0xd8 && data[2] == 0xff:
		return "jpeg"
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return "png"
	case len(data) > 12 && string(data[4:8]) == "ftyp" && heicBrand(string(data[8:12])):
		return "heic"
	}
	return ""
}

func heicBrand(b string) bool {
	switch b {
	case "heic", "heix", "heim", "heis", "hevc", "hevx", "mif1", "msf1":
		return true
	}
	return false
}

// Decode reads a photo. Its errors are of type *Error.
func Decode(data []byte, lim Limits) (*Photo, error) {
	img, format, err := decodeRaw(data, lim)
	if err != nil {
		return nil, err
	}
	info := readInfo(data, format)
	p := &Photo{EXIF: info, Format: format}
	if format == "jpeg" {
		p.Step = jpegStep(data)
	}
	b := img.Bounds()
	p.FullW, p.FullH = b.Dx(), b.Dy()
	over := func(w, h int) bool { return lim.WorkPixels > 0 && w*h > lim.WorkPixels }
	p.Image, p.ClippedFraction = linear(img, over(p.FullW, p.FullH) && p.FullW%2 == 0 && p.FullH%2 == 0)
	// The HEIC decoder has turned the picture already by the container's own rotation.
	if format != "heic" {
		p.Image = orient(p.Image, info.Orientation)
		if info.Orientation >= 5 && info.Orientation <= 8 {
			p.FullW, p.FullH = p.FullH, p.FullW
		}
	}
	for over(p.W, p.H) {
		p.Image = Halve(p.Image)
	}
	return p, nil
}

// decodeRaw decodes without turning, after checking size and format.
func decodeRaw(data []byte, lim Limits) (image.Image, string, error) {
	lim = lim.orDefault()
	format, err := check(data, lim)
	if err != nil {
		return nil, format, err
	}
	var img image.Image
	switch format {
	case "jpeg":
		if img, err = jpeg.Decode(bytes.NewReader(data)); err == nil && !endsJPEG(data) {
			err = io.ErrUnexpectedEOF
		}
	case "png":
		img, err = png.Decode(bytes.NewReader(data))
	case "heic":
		img, err = heif.Decode(data, lim.MaxPixels)
	}
	if err != nil {
		return nil, format, damaged(err)
	}
	return img, format, nil
}

// endsJPEG tells whether an end-of-image marker is near the file's end: decoders stop at the last block and miss cut trailers.
func endsJPEG(data []byte) bool {
	return bytes.LastIndex(data, []byte{0xff, 0xd9}) > 0
}

// damaged turns a decoder's error into words.
func damaged(err error) *Error {
	var bad jpeg.FormatError
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return truncated()
	case errors.As(err, &bad) && (string(bad) == "short Huffman data" || string(bad) == "short segment length"):
		return truncated()
	}
	var unsupported jpeg.UnsupportedError
	if errors.As(err, &unsupported) {
		return &Error{"unsupported", fmt.Sprintf("is a kind of JPEG that cannot be read (%s)", string(unsupported)), "save it as an ordinary JPEG"}
	}
	return &Error{"damaged", fmt.Sprintf("cannot be read (%v)", err), "copy it again from the camera"}
}

// fromSRGB undoes the sRGB curve for 8-bit values, IEC 61966-2-1.
var fromSRGB = func() (t [256]float32) {
	for i := range t {
		t[i] = float32(Linear(float64(i) / 255))
	}
	return t
}()

// Linear undoes the sRGB curve: v and the result in 0..1.
func Linear(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// SRGB applies the sRGB curve: v and the result in 0..1.
func SRGB(v float64) float64 {
	if v <= 0.0031308 {
		return v * 12.92
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// linear converts any decoded picture to linear luminance, at half its size if asked to, and counts the clipped pixels.
func linear(img image.Image, halve bool) (*Image, float64) {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	out := &Image{W: w, H: h}
	if halve {
		out.W, out.H = w/2, h/2
	}
	out.Pix = make([]float32, out.W*out.H)
	clipped := make([]int, out.H)
	rows.Do(out.H, func(y0, y1 int) {
		var a, c []float32
		if halve {
			a, c = make([]float32, w), make([]float32, w)
		}
		for y := y0; y < y1; y++ {
			dst := out.Pix[y*out.W : (y+1)*out.W]
			if !halve {
				clipped[y] = linearRow(img, dst, b.Min.X, b.Min.Y+y)
				continue
			}
			clipped[y] = linearRow(img, a, b.Min.X, b.Min.Y+2*y) + linearRow(img, c, b.Min.X, b.Min.Y+2*y+1)
			meanOfFour(dst, a, c)
		}
	})
	n := 0
	for _, c := range clipped {
		n += c
	}
	return out, float64(n) / float64(w*h)
}

func linearRow(img image.Image, dst []float32, x0, y int) (clipped int) {
	switch m := img.(type) {
	case *image.YCbCr:
		o := m.YOffset(x0, y)
		for x, v := range m.Y[o : o+len(dst)] {
			dst[x] = fromSRGB[v]
			if v >= clippedAt {
				clipped++
			}
		}
	case *image.Gray:
		o := m.PixOffset(x0, y)
		for x, v := range m.Pix[o : o+len(dst)] {
			dst[x] = fromSRGB[v]
			if v >= clippedAt {
				clipped++
			}
		}
	default:
		for x := range dst {
			c := color.NRGBA64Model.Convert(img.At(x0+x, y)).(color.NRGBA64)
			// Rec. 709 weights of linear light.
			l := 0.2126*Linear(float64(c.R)/65535) + 0.7152*Linear(float64(c.G)/65535) + 0.0722*Linear(float64(c.B)/65535)
			dst[x] = float32(l)
			if c.R >= clippedAt<<8 && c.G >= clippedAt<<8 && c.B >= clippedAt<<8 {
				clipped++
			}
		}
	}
	return clipped
}

// orient turns a picture upright by its EXIF orientation, 1 to 8 (JEITA CP-3451, tag 0x0112): what the tag says of the stored
// first row and column.
func orient(m *Image, o int) *Image {
	if o < 2 || o > 8 {
		return m
	}
	w, h := m.W, m.H
	if o >= 5 {
		w, h = h, w
	}
	out := NewImage(w, h)
	rows.Do(h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range w {
				sx, sy := stored(o, x, y, w, h)
				out.Pix[y*w+x] = m.Pix[sy*m.W+sx]
			}
		}
	})
	return out
}

// stored returns where the upright pixel (x, y) of a w x h picture lies in the stored one.
func stored(o, x, y, w, h int) (sx, sy int) {
	switch o {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return y, w - 1 - x
	case 7:
		return h - 1 - y, w - 1 - x
	case 8:
		return h - 1 - y, x
	}
	return x, y
}
