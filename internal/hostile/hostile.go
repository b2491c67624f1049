// Package hostile makes files that mean harm, for tests: what strangers may send in the place of a photo.
package hostile

import (
	"archive/zip"
	"bytes"
	"compress/zlib"
	"embed"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"strings"
)

// JPEG is an honest small photo.
func JPEG() []byte {
	m := image.NewGray(image.Rect(0, 0, 160, 120))
	for i := range m.Pix {
		m.Pix[i] = uint8(60 + i%97)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		panic(err) // into memory
	}
	return b.Bytes()
}

//go:embed heic/*.heic
var heics embed.FS

// HEICs are honest small photos by name: colour, alpha, full (colour at full size), turned (with EXIF). heif-enc made them.
func HEICs() map[string][]byte {
	list, err := heics.ReadDir("heic")
	if err != nil {
		panic(err) // part of the program
	}
	out := map[string][]byte{}
	for _, e := range list {
		if out[strings.TrimSuffix(e.Name(), ".heic")], err = heics.ReadFile("heic/" + e.Name()); err != nil {
			panic(err)
		}
	}
	return out
}

// Promise changes the sizes that the head of a HEIC promises (ISO/IEC 14496-12, ispe); what is packed inside stays.
func Promise(heic []byte, w, h uint32) []byte {
	out := bytes.Clone(heic)
	for i := range len(out) - 16 {
		if string(out[i:i+4]) == "ispe" {
			binary.BigEndian.PutUint32(out[i+8:], w)
			binary.BigEndian.PutUint32(out[i+12:], h)
		}
	}
	return out
}

// archive is a ZIP of one file whose name leads out of its folder.
func archive() []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	f, err := w.Create("../../x.jpg")
	if err == nil {
		_, err = f.Write(JPEG())
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		panic(err) // into memory
	}
	return b.Bytes()
}

// Photos are files that must be refused as photos, by name; each with the code of the refusal.
func Photos() map[string]File {
	good := JPEG()
	half := good[:len(good)/2]
	heic := HEICs()["colour"]
	return map[string]File{
		"empty.jpg":             {nil, "not-image"},
		"text.jpg":              {[]byte("this is no photo, whatever its name says"), "not-image"},
		"page.jpg":              {[]byte("<!doctype html><script>alert(1)</script>"), "not-image"},
		"drawing.svg":           {[]byte(`<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>`), "not-image"},
		"program.jpg":           {append([]byte("\x7fELF\x02\x01\x01"), good...), "not-image"},
		"archive.jpg":           {append([]byte("PK\x03\x04"), good...), "not-image"},
		"archive.png":           {archive(), "not-image"},
		"raw.dng":               {append([]byte("II*\x00\x08\x00\x00\x00"), good...), "not-image"},
		"big-endian.jpg":        {append([]byte("MM\x00*\x00\x00\x00\x08"), good...), "not-image"},
		"web.jpg":               {append([]byte("RIFF\x00\x10\x00\x00WEBPVP8 "), good...), "not-image"},
		"film.heic":             {append([]byte("\x00\x00\x00\x18ftypisom\x00\x00\x00\x00isomiso2"), good...), "not-image"},
		"paper.jpg":             {append([]byte("%PDF-1.7\n"), good...), "not-image"},
		"space.svg":             {append([]byte("\xef\xbb\xbf<?xml version=\"1.0\"?><svg xmlns=\"http://www.w3.org/2000/svg\">"), good...), "not-image"},
		"wide.heic":             {Promise(heic, 60000, 60000), "too-large"},
		"line.heic":             {Promise(heic, 1<<20, 16), "too-large"},
		"large.heic":            {Promise(heic, 9000, 9000), "too-large"},
		"most.heic":             {Promise(heic, 1<<32-1, 1<<32-1), "damaged"},
		"half.heic":             {heic[:len(heic)-40], "damaged"},
		"head-only.heic":        {heic[:32], "damaged"},
		"moving.gif":            {[]byte("GIF89a\x40\x1f\x40\x1f\xf7\x00\x00"), "not-image"},
		"head-only.jpg":         {[]byte{0xff, 0xd8, 0xff, 0xe0}, "truncated"},
		"half.jpg":              {half, "truncated"},
		"wide.png":              {png(60000, 60000, 8, 2, nil), "too-large"},
		"tall.png":              {png(1, 1<<30, 8, 0, nil), "too-small"},
		"deep.png":              {png(8000, 7000, 16, 6, nil), "too-large"},
		"overflow.png":          {png(1<<31-1, 1<<31-1, 8, 2, nil), "damaged"},
		"cut.png":               {png(64, 64, 8, 0, deflate(10)), "damaged"},
		"more-than-it-says.png": {png(64, 64, 8, 0, deflate(200<<20)), "damaged"},
		"no-data.png":           {png(64, 64, 8, 0, nil), "damaged"},
		"huge.jpg":              {resize(good, 65500, 65500), "too-large"},
		"passes.jpg":            {passes(5000, 4000), "unsupported"},
		"passes-large.jpg":      {passes(7000, 10), "too-large"},
		"box.heic":              {append([]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), bytes.Repeat([]byte("\xff\xff\xff\xffmeta"), 100)...), "damaged"},
		"nested.heic":           {append([]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), bytes.Repeat([]byte("\x00\x00\x10\x00meta\x00\x00\x00\x00"), 2000)...), "damaged"},
	}
}

// File is a hostile file and the code of the refusal that it must meet.
type File struct {
	Data []byte
	Code string
}

// Names are file names that try to leave their folder, or to be something else.
var Names = []string{"../../etc/passwd", "..\\..\\windows\\x.jpg", "/etc/passwd", "C:\\x.jpg", "a/b.jpg", "..", ".", "", ".htaccess", "x\x00.jpg", "x\r\nSet-Cookie: a=b.jpg", strings.Repeat("x", 5000) + ".jpg",
	"\u202egpj.exe", "-rf.jpg", "con.jpg", "%2e%2e%2fx.jpg", "<script>.jpg", "\"><img src=x>.jpg", "capture.json/../x.jpg", "…/x.jpg"}

// Captures are files that must be refused as capture.json.
func Captures() map[string][]byte {
	return map[string][]byte{
		"empty":       nil,
		"deep arrays": bytes.Repeat([]byte("["), 500_000),
		"deep object": bytes.Repeat([]byte(`{"sets":`), 100_000),
		"long number": []byte(`{"format":` + strings.Repeat("9", 500_000) + `}`),
		"long text":   []byte(`{"format":1,"name":"` + strings.Repeat("x", 900_000) + `"}`),
		"too large":   append([]byte(`{"format":1}`), bytes.Repeat([]byte(" "), 2<<20)...),
		"not a fact":  []byte(`{"format":1,"board":{"distance_mm":1e999}}`),
		"a path":      []byte(`{"format":1,"board":{"distance_mm":500,"width_mm":800,"height_mm":600},"cards":{"scheme":"FM1"},"sets":[{"kind":"single","frames":[{"file":"../../etc/passwd","stripes":"u","pitch_mm":16,"profile":"sine"},{"file":"v.jpg","stripes":"v","pitch_mm":16,"profile":"sine"}]}]}`),
		"two bytes":   {0xff, 0xfe},
	}
}

func chunk(kind string, data []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	body := append([]byte(kind), data...)
	return binary.BigEndian.AppendUint32(append(b, body...), crc32.ChecksumIEEE(body))
}

// png is a PNG whose head promises w x h pixels of a depth and colour type, whatever its data hold.
func png(w, h uint32, depth, kind byte, data []byte) []byte {
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, w), h)
	out := append([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(head, depth, kind, 0, 0, 0))...)
	if data != nil {
		out = append(out, chunk("IDAT", data)...)
	}
	return append(out, chunk("IEND", nil)...)
}

// deflate packs n zero bytes.
func deflate(n int) []byte {
	var b bytes.Buffer
	w := zlib.NewWriter(&b)
	zero := make([]byte, 1<<20)
	for ; n > 0; n -= len(zero) {
		w.Write(zero[:min(n, len(zero))])
	}
	w.Close()
	return b.Bytes()
}

// resize changes what the head of a JPEG promises.
func resize(jpg []byte, w, h uint16) []byte {
	out := bytes.Clone(jpg)
	i := bytes.Index(out, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint16(out[i+5:], h)
	binary.BigEndian.PutUint16(out[i+7:], w)
	return out
}

// passes is a progressive JPEG of side x side pixels whose few bytes make a decoder walk over all of it n times: each scan says "nothing
// here" for 32767 blocks at once.
func passes(side uint16, n int) []byte {
	b := []byte{0xff, 0xd8, 0xff, 0xdb, 0, 67, 0}
	b = append(b, bytes.Repeat([]byte{1}, 64)...)
	b = append(b, 0xff, 0xc2, 0, 11, 8, byte(side>>8), byte(side), byte(side>>8), byte(side), 1, 1, 0x11, 0)
	b = append(b, 0xff, 0xc4, 0, 20, 0x10, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xe0)
	for range n {
		b = append(b, 0xff, 0xda, 0, 8, 1, 1, 0, 1, 63, 0)
		b = append(b, bytes.Repeat([]byte{0}, 60)...)
	}
	return append(b, 0xff, 0xd9)
}

// WithPlace puts an EXIF segment into a JPEG that tells where it was taken (GPSLatitude 48.2 north, GPSLongitude 16.4 east) and by
// what, with the text PLACE-OF-HOME as its description.
func WithPlace(jpg []byte) []byte {
	le := binary.LittleEndian
	var t []byte
	t = append(t, "II*\x00\x08\x00\x00\x00"...)
	entry := func(tag, kind uint16, count, value uint32) {
		t = le.AppendUint16(t, tag)
		t = le.AppendUint16(t, kind)
		t = le.AppendUint32(t, count)
		t = le.AppendUint32(t, value)
	}
	const gps, data = 8 + 2 + 2*12 + 4, 8 + 2 + 2*12 + 4 + 2 + 4*12 + 4
	t = le.AppendUint16(t, 2)
	entry(0x010e, 2, 14, data+48)
	entry(0x8825, 4, 1, gps)
	t = le.AppendUint32(t, 0)
	t = le.AppendUint16(t, 4)
	entry(1, 2, 2, 'N')
	entry(2, 5, 3, data)
	entry(3, 2, 2, 'E')
	entry(4, 5, 3, data+24)
	t = le.AppendUint32(t, 0)
	for _, v := range []uint32{48, 12, 0, 16, 24, 0} {
		t = le.AppendUint32(le.AppendUint32(t, v), 1)
	}
	t = append(t, "PLACE-OF-HOME\x00"...)
	seg := append([]byte("Exif\x00\x00"), t...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(seg)+2))...)
	return append(append(out, seg...), jpg[2:]...)
}
