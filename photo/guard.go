package photo

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"

	"fairmetal/internal/heif"
)

// maxDecoded bounds the memory of a decoded picture before it becomes linear light: 64 megapixels in 8-bit colour.
const maxDecoded = 4 * DefaultMaxPixels

// maxScans bounds the passes of a progressive JPEG: encoders write about ten, and each may cost as much time as the whole picture.
const maxScans = 64

// Check tells from the first bytes whether a file is a photo of a size that can be decoded in bounded memory and time. Its errors are
// of type *Error.
func Check(data []byte, lim Limits) error {
	_, err := check(data, lim.orDefault())
	return err
}

func check(data []byte, lim Limits) (format string, err error) {
	if int64(len(data)) > lim.MaxBytes {
		return "", &Error{"too-large", fmt.Sprintf("is a file of %d MB", len(data)>>20), fmt.Sprintf("send photos of at most %d MB", lim.MaxBytes>>20)}
	}
	format = Sniff(data)
	var cfg image.Config
	switch format {
	case "jpeg":
		cfg, err = jpeg.DecodeConfig(bytes.NewReader(data))
	case "png":
		cfg, err = png.DecodeConfig(bytes.NewReader(data))
	case "heic":
		cfg, err = heif.Config(data)
	default:
		return "", &Error{"not-image", "is not a photo", "send JPEG, PNG or HEIC files from the camera"}
	}
	if err != nil {
		return format, damaged(err)
	}
	pixels, each, passes := int64(cfg.Width)*int64(cfg.Height), bytesPerPixel(cfg.ColorModel), 0
	if format == "jpeg" {
		progressive := false
		if passes, progressive = scans(data); progressive {
			each = 8 // all coefficients are kept until the last pass, 4 bytes each
		}
	}
	switch {
	case cfg.Width < 16 || cfg.Height < 16:
		return format, &Error{"too-small", fmt.Sprintf("is only %d x %d pixels", cfg.Width, cfg.Height), "send the photo at full size"}
	case pixels > int64(lim.MaxPixels) || cfg.Width > 65535 || cfg.Height > 65535:
		return format, &Error{"too-large", fmt.Sprintf("is %d x %d pixels", cfg.Width, cfg.Height), fmt.Sprintf("send photos of at most %d megapixels", lim.MaxPixels/1_000_000)}
	case pixels*each > maxDecoded:
		return format, &Error{"too-large", fmt.Sprintf("is %d x %d pixels that take %d bytes each to decode", cfg.Width, cfg.Height, each), "save it smaller, as an ordinary JPEG"}
	case passes > maxScans:
		return format, &Error{"unsupported", "is a JPEG of more passes than any camera writes", "save it as an ordinary JPEG"}
	}
	return format, nil
}

func bytesPerPixel(m color.Model) int64 {
	switch m {
	case color.GrayModel:
		return 1
	case color.Gray16Model:
		return 2
	case color.YCbCrModel:
		return 3
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	if _, ok := m.(color.Palette); ok {
		return 1
	}
	return 4
}

// scans counts the scans of a JPEG (ISO/IEC 10918-1, annex B): segments are stepped over by their length, so that pictures inside the
// metadata do not count, nor does what follows the end of the picture. It tells a progressive one too.
func scans(data []byte) (n int, progressive bool) {
	for i := 2; i+1 < len(data); {
		if data[i] != 0xff {
			i++ // inside a scan
			continue
		}
		switch m := data[i+1]; {
		case m == 0xff:
			i++
		case m == 0 || m == 1 || m >= 0xd0 && m <= 0xd8:
			i += 2
		case m == 0xd9:
			return n, progressive
		default:
			switch m {
			case 0xda:
				n++
			case 0xc2:
				progressive = true
			}
			if i+3 >= len(data) {
				return n, progressive
			}
			i += 2 + max(2, int(data[i+2])<<8|int(data[i+3]))
		}
	}
	return n, progressive
}
