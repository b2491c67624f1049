package scene

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// develop turns light into the camera's file: blur, exposure, shot noise, sRGB, orientation, JPEG, EXIF.
func (g *rig) develop(p picture, e exposure, serial uint64) ([]byte, error) {
	c := g.spec.Camera
	if c.BlurPX > 0 {
		for ch := range 3 {
			plane := make([]float32, c.W*c.H)
			for i := range plane {
				plane[i] = p.rgb[3*i+ch]
			}
			plane = blurred(plane, c.W, c.H, c.BlurPX)
			for i, v := range plane {
				p.rgb[3*i+ch] = v
			}
		}
	}
	expose := orElse(c.Exposure, g.metered()) * e.gain
	well := orElse(c.FullWell, 40000)
	rnd := rand.New(rand.NewPCG(g.spec.Seed, 0x5e2508^serial))
	img := image.NewRGBA(image.Rect(0, 0, c.W, c.H))
	for i := range c.W * c.H {
		for ch := range 3 {
			v := float64(p.rgb[3*i+ch]) * expose
			v += math.Sqrt(max(v, 0)/well) * rnd.NormFloat64()
			img.Pix[4*i+ch] = encode(v)
		}
		img.Pix[4*i+3] = 255
	}
	o := max(1, c.Orientation)
	stored := turned(img, o)
	var b bytes.Buffer
	q := c.Quality
	if q == 0 {
		q = 92
	}
	if err := jpeg.Encode(&b, stored, &jpeg.Options{Quality: q}); err != nil {
		return nil, err
	}
	return withEXIF(b.Bytes(), o, orElse(c.ToldFocalPX, c.FocalPX)*43.27/math.Hypot(float64(c.W), float64(c.H))), nil
}

// metered is an exposure that keeps paper and the brightest stripe under three quarters of white.
func (g *rig) metered() float64 {
	p := g.spec.Paint
	cos := math.Cos(rad(g.spec.Camera.TiltDeg))
	light := g.daylight(r3.Vec{}, r3.Vec{Z: 1})
	bright := fresnel(cos, p.Index) + light*max(p.Albedo[0], p.Albedo[1], p.Albedo[2])
	return 0.72 / max(bright, 0.82*light)
}

// encode applies the sRGB curve (IEC 61966-2-1) and rounds to 8 bits.
func encode(v float64) uint8 {
	switch {
	case v <= 0:
		return 0
	case v >= 1:
		return 255
	case v <= 0.0031308:
		v *= 12.92
	default:
		v = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return uint8(255*v + 0.5)
}

// turned stores an upright picture so that a reader who applies the EXIF orientation gets it back.
func turned(m *image.RGBA, o int) *image.RGBA {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	if o == 1 {
		return m
	}
	sw, sh := w, h
	if o >= 5 {
		sw, sh = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, sw, sh))
	for y := range h {
		for x := range w {
			var sx, sy int
			switch o {
			case 2:
				sx, sy = w-1-x, y
			case 3:
				sx, sy = w-1-x, h-1-y
			case 4:
				sx, sy = x, h-1-y
			case 5:
				sx, sy = y, x
			case 6:
				sx, sy = y, w-1-x
			case 7:
				sx, sy = h-1-y, w-1-x
			case 8:
				sx, sy = h-1-y, x
			}
			copy(out.Pix[out.PixOffset(sx, sy):][:4], m.Pix[m.PixOffset(x, y):][:4])
		}
	}
	return out
}

// withEXIF puts an APP1 segment with a made-up camera behind the start of a JPEG (JEITA CP-3451).
func withEXIF(jpg []byte, orientation int, focal35 float64) []byte {
	be := binary.BigEndian
	maker, model := "Fennel Works\x00", "Pocket Camera 3\x00"
	const entries, exifEntries = 4, 1
	ifd := 8
	text := ifd + 2 + 12*entries + 4
	exif := text + len(maker) + len(model)
	exif += exif % 2
	t := make([]byte, exif+2+12*exifEntries+4)
	copy(t, "MM\x00*")
	be.PutUint32(t[4:], uint32(ifd))
	put := func(at int, tag, typ uint16, n, v uint32) {
		be.PutUint16(t[at:], tag)
		be.PutUint16(t[at+2:], typ)
		be.PutUint32(t[at+4:], n)
		if typ == 3 {
			be.PutUint16(t[at+8:], uint16(v))
			return
		}
		be.PutUint32(t[at+8:], v)
	}
	be.PutUint16(t[ifd:], entries)
	put(ifd+2, 0x010f, 2, uint32(len(maker)), uint32(text))
	put(ifd+14, 0x0110, 2, uint32(len(model)), uint32(text+len(maker)))
	put(ifd+26, 0x0112, 3, 1, uint32(orientation))
	put(ifd+38, 0x8769, 4, 1, uint32(exif))
	copy(t[text:], maker+model)
	be.PutUint16(t[exif:], exifEntries)
	put(exif+2, 0xa405, 3, 1, uint32(math.Round(focal35)))
	seg := append([]byte("Exif\x00\x00"), t...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1, byte((len(seg) + 2) >> 8), byte(len(seg) + 2)}, seg...)
	return append(out, jpg[2:]...)
}
