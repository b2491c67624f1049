// Package photo decodes one upload into linear light and judges it.
//
// In: the bytes of a JPEG, PNG or HEIC file, hostile until checked. Out: luminance in linear light (Image), turned upright by the
// EXIF orientation, with the few EXIF facts that measuring needs. Sizes are checked from the header before anything is decoded.
//
//	p, err := photo.Decode(data, photo.Limits{})
//	focal := p.EXIF.FocalPX(p.W, p.H)
//
// The transfer curve is that of sRGB (IEC 61966-2-1). For JPEG and HEIC the curve is undone on the luma plane, which is exact for
// grey and within a few per cent for the muted colours of paint; stripes are grey on any paint.
package photo
