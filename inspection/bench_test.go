package inspection

import (
	"context"
	"io/fs"
	"os"
	"slices"
	"testing"

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
	made, err := scene.Render(s, nil)
	if err != nil {
		b.Fatal(err)
	}
	folder := memfs.FS(made.Files)
	c, err := capture.ReadDir(folder)
	if err != nil {
		b.Fatal(err)
	}
	repeat(b, folder, c)
}

func benchmark(b *testing.B, dir, kind string) {
	folder := os.DirFS(dir)
	c, err := capture.ReadDir(folder)
	if err != nil {
		b.Skip("the reference scenes are not on this machine")
	}
	c.Sets = slices.DeleteFunc(c.Sets, func(s capture.Set) bool { return s.Kind != kind })
	repeat(b, folder, c)
}

func repeat(b *testing.B, folder fs.FS, c capture.Capture) {
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
