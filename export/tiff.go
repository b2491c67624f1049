package export

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"fairmetal/surface"
)

// ErrLarge says that a surface does not fit a file's 32-bit offsets.
var ErrLarge = errors.New("the surface is too large for a TIFF; export it as X3P")

// Tags and types of TIFF 6.0 [TIFF6] and of GeoTIFF 1.1 [GeoTIFF] that a float raster needs.
const (
	tiffShort, tiffLong, tiffASCII, tiffDouble = 3, 4, 2, 12

	tagWidth, tagHeight, tagBits, tagCompression, tagPhotometric = 256, 257, 258, 259, 262
	tagDescription, tagStripOffsets, tagSamples, tagStripRows    = 270, 273, 277, 278
	tagStripBytes, tagPlanar, tagSoftware, tagSampleFormat       = 279, 284, 305, 339
	tagPixelScale, tagTiePoint, tagGeoKeys, tagNoData            = 33550, 33922, 34735, 42113
)

// TIFF writes the heights, um, as one strip of 32-bit floats, NaN where not measured, the top row first (largest y) as pictures have it.
// Place and pitch, mm of the panel frame, stand in the tags of GeoTIFF for a raster whose values belong to the middles of its cells.
func TIFF(w io.Writer, s *surface.Surface, program string) error {
	if s.Len() > (1<<32-1<<16)/4 {
		return ErrLarge
	}
	le := binary.LittleEndian
	type entry struct {
		tag, kind uint16
		count     uint32
		data      []byte
	}
	var entries []entry
	short := func(tag uint16, v ...uint16) {
		e := entry{tag: tag, kind: tiffShort, count: uint32(len(v))}
		for _, n := range v {
			e.data = le.AppendUint16(e.data, n)
		}
		entries = append(entries, e)
	}
	long := func(tag uint16, v uint32) {
		entries = append(entries, entry{tag, tiffLong, 1, le.AppendUint32(nil, v)})
	}
	ascii := func(tag uint16, text string) {
		text = strings.Map(func(r rune) rune {
			if r < ' ' || r > '~' {
				return '?'
			}
			return r
		}, text) + "\x00"
		entries = append(entries, entry{tag, tiffASCII, uint32(len(text)), []byte(text)})
	}
	doubles := func(tag uint16, v ...float64) {
		e := entry{tag: tag, kind: tiffDouble, count: uint32(len(v))}
		for _, n := range v {
			e.data = le.AppendUint64(e.data, math.Float64bits(n))
		}
		entries = append(entries, e)
	}
	_, top := s.XY(0, s.Rows-1)
	long(tagWidth, uint32(s.Cols))
	long(tagHeight, uint32(s.Rows))
	short(tagBits, 32)
	short(tagCompression, 1)
	short(tagPhotometric, 1)
	ascii(tagDescription, fmt.Sprintf("deviation from the undamaged form, um; cells of %g mm, first cell at x %g mm, y %g mm of the panel frame, rows along -y", s.PitchMM, s.X0MM, top))
	long(tagStripOffsets, 0) // set below
	short(tagSamples, 1)
	long(tagStripRows, uint32(s.Rows))
	long(tagStripBytes, uint32(4*s.Len()))
	short(tagPlanar, 1)
	ascii(tagSoftware, program)
	short(tagSampleFormat, 3)
	doubles(tagPixelScale, s.PitchMM, s.PitchMM, 0)
	doubles(tagTiePoint, 0, 0, 0, s.X0MM, top, 0)
	// Version 1.1.1, one key: GTRasterType is PixelIsPoint. No coordinate system: these are millimetres on a panel.
	short(tagGeoKeys, 1, 1, 1, 1, 1025, 0, 1, 2)
	ascii(tagNoData, "nan")

	const head = 8
	at := uint32(head + 2 + 12*len(entries) + 4)
	var extra []byte
	place := make([]uint32, len(entries))
	for i, e := range entries {
		if len(e.data) > 4 {
			place[i] = at + uint32(len(extra))
			extra = append(extra, e.data...)
			for len(extra)%8 != 0 {
				extra = append(extra, 0)
			}
		}
	}
	data := at + uint32(len(extra))
	b := bufio.NewWriter(w)
	b.WriteString("II*\x00")
	b.Write(le.AppendUint32(nil, head))
	b.Write(le.AppendUint16(nil, uint16(len(entries))))
	for i, e := range entries {
		b.Write(le.AppendUint16(le.AppendUint16(nil, e.tag), e.kind))
		b.Write(le.AppendUint32(nil, e.count))
		var value [4]byte
		switch {
		case e.tag == tagStripOffsets:
			le.PutUint32(value[:], data)
		case place[i] != 0:
			le.PutUint32(value[:], place[i])
		default:
			copy(value[:], e.data)
		}
		b.Write(value[:])
	}
	b.Write(make([]byte, 4)) // no further picture
	b.Write(extra)
	var cell [4]byte
	for r := s.Rows - 1; r >= 0; r-- {
		for _, h := range s.Height[r*s.Cols : (r+1)*s.Cols] {
			le.PutUint32(cell[:], math.Float32bits(1000*h))
			b.Write(cell[:])
		}
	}
	return b.Flush()
}
