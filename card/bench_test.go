package card

import (
	"path/filepath"
	"testing"

	"fairmetal/photo"
)

func BenchmarkFindShifted(b *testing.B) {
	needScenes(b)
	img := readPhoto(b, filepath.Join(scenesDir, "s01-single-ding", "u016-00.jpg"))
	for b.Loop() {
		if c, err := Find(img); err != nil || len(c) != 2 {
			b.Fatal(c, err)
		}
	}
}

func BenchmarkFindSingle(b *testing.B) {
	needScenes(b)
	img := readPhoto(b, filepath.Join(scenesDir, "s01-single-ding", "single-u.jpg"))
	for b.Loop() {
		if c, err := Find(img); err != nil || len(c) != 2 {
			b.Fatal(c, err)
		}
	}
}

func BenchmarkFindNone(b *testing.B) {
	img := photo.NewImage(1600, 1200)
	for i := range img.Pix {
		img.Pix[i] = float32(i*2654435761%1000) / 1000
	}
	for b.Loop() {
		if c, err := Find(img); err != nil || len(c) != 0 {
			b.Fatal(c, err)
		}
	}
}
