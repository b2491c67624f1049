package inspection

import (
	"bytes"
	"context"
	"image"
	"image/jpeg"
	"io/fs"
	"os"
	"slices"
	"testing"

	"golang.org/x/image/draw"

	"fairmetal/capture"
	"fairmetal/internal/memfs"
	"fairmetal/scene"
)

// BenchmarkShifted runs a shifted set of sixteen 2-megapixel photos from files to rendered results.
func BenchmarkShifted(b *testing.B) {
	benchmark(b, "../../shared/scenes/s03-four-neighbours", capture.Shifted)
}

// BenchmarkSingle runs a pair of single 12-megapixel photos from files to rendered results.
func BenchmarkSingle(b *testing.B) {
	benchmark(b, "../../shared/scenes/s02-hail-roof", capture.Single)
}

// BenchmarkCrossed runs one 12-megapixel photo of crossed stripes from its file to rendered results.
func BenchmarkCrossed(b *testing.B) {
	s := scene.Gentle(103, 4000)
	s.Sets = []scene.Set{{Kind: "single", Profile: "square", FineMM: 14, Crossed: true}}
	_, folder, c := captured(b, s)
	measureAgain(b, folder, c)
}

// BenchmarkPixels runs the same shifted set at a quarter of its pixels and at all of them: the time a pixel takes does not grow.
func BenchmarkPixels(b *testing.B) {
	const dir = "../../shared/scenes/s01-single-ding"
	for _, size := range []struct {
		name   string
		halves int
	}{{"quarter", 1}, {"all", 0}} {
		b.Run(size.name, func(b *testing.B) {
			folder, c := reference(b, dir, capture.Shifted)
			small, px := memfs.FS{}, 0
			for _, f := range c.Sets[0].Frames {
				data, err := fs.ReadFile(folder, f.File)
				if err != nil {
					b.Fatal(err)
				}
				var n int
				small[f.File], n = halved(b, data, size.halves)
				px += n
			}
			measureAgain(b, small, c)
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(px), "ns/px")
		})
	}
}

// halved is a photo shrunk to half its width and height so many times, and how many pixels that leaves.
func halved(b *testing.B, data []byte, times int) ([]byte, int) {
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		b.Fatal(err)
	}
	r := image.Rect(0, 0, img.Bounds().Dx()>>times, img.Bounds().Dy()>>times)
	small := image.NewRGBA(r)
	draw.ApproxBiLinear.Scale(small, r, img, img.Bounds(), draw.Src, nil)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, small, &jpeg.Options{Quality: 92}); err != nil {
		b.Fatal(err)
	}
	return out.Bytes(), r.Dx() * r.Dy()
}

func benchmark(b *testing.B, dir, kind string) {
	folder, c := reference(b, dir, kind)
	measureAgain(b, folder, c)
}

// reference is a reference scene with its sets of one kind.
func reference(b *testing.B, dir, kind string) (fs.FS, capture.Capture) {
	folder := os.DirFS(dir)
	c, err := capture.ReadDir(folder)
	if err != nil {
		b.Skip("the reference scenes are not on this machine")
	}
	c.Sets = slices.DeleteFunc(c.Sets, func(s capture.Set) bool { return s.Kind != kind })
	return folder, c
}

func measureAgain(b *testing.B, folder fs.FS, c capture.Capture) {
	for b.Loop() {
		r, err := RunCapture(context.Background(), folder, c, nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := r.Files(); err != nil {
			b.Fatal(err)
		}
	}
}
