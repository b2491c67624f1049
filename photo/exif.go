package photo

import (
	"bytes"
	"math"
	"time"

	"github.com/bep/imagemeta"
)

// Info is what EXIF tells that measuring and the records need.
type Info struct {
	Orientation     int     // 1 to 8; 1 where missing
	FocalLength35MM float64 // equivalent on 36 x 24 mm film; 0 where missing
	Taken           time.Time
	HasGPS          bool
}

// film35 is the diagonal of 36 x 24 mm film, mm.
const film35 = 43.27

// FocalPX is the focal length in pixels for a photo of w x h pixels; 0 where EXIF does not tell.
//
//	focal = FocalLengthIn35mmFilm x diagonal / 43.27 mm
func (i Info) FocalPX(w, h int) float64 {
	return i.FocalLength35MM * math.Hypot(float64(w), float64(h)) / film35
}

// readInfo reads EXIF; whatever is broken there counts as missing.
func readInfo(data []byte, format string) (info Info) {
	info.Orientation = 1
	defer func() {
		if recover() != nil && info.Orientation == 0 {
			info.Orientation = 1
		}
	}()
	f := map[string]imagemeta.ImageFormat{"jpeg": imagemeta.JPEG, "png": imagemeta.PNG, "heic": imagemeta.HEIF}[format]
	imagemeta.Decode(imagemeta.Options{
		R:               bytes.NewReader(data),
		ImageFormat:     f,
		Sources:         imagemeta.EXIF,
		Timeout:         2 * time.Second,
		ShouldHandleTag: func(imagemeta.TagInfo) bool { return true },
		HandleTag: func(t imagemeta.TagInfo) error {
			switch t.Tag {
			case "Orientation":
				if t.Namespace == "IFD0" {
					if v := number(t.Value); v >= 1 && v <= 8 {
						info.Orientation = int(v)
					}
				}
			case "FocalLengthIn35mmFormat", "FocalLengthIn35mmFilm":
				if v := number(t.Value); v > 4 && v < 2000 {
					info.FocalLength35MM = v
				}
			case "DateTimeOriginal":
				if s, ok := t.Value.(string); ok {
					if at, err := time.Parse("2006:01:02 15:04:05", s); err == nil {
						info.Taken = at
					}
				}
			case "GPSLatitude", "GPSLongitude":
				info.HasGPS = true
			}
			return nil
		},
	})
	return info
}

// number converts what an EXIF value may be to float64; NaN for anything else.
func number(v any) float64 {
	switch n := v.(type) {
	case uint8:
		return float64(n)
	case uint16:
		return float64(n)
	case uint32:
		return float64(n)
	case int16:
		return float64(n)
	case int32:
		return float64(n)
	case int:
		return float64(n)
	case float32:
		return float64(n)
	case float64:
		return n
	case interface{ Float64() float64 }:
		return n.Float64()
	}
	return math.NaN()
}
