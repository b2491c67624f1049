package inspection

import (
	"context"
	"os"
	"slices"
	"testing"

	"fairmetal/capture"
)

// BenchmarkShifted runs a shifted set of sixteen 2-megapixel photos from files to rendered results.
func BenchmarkShifted(b *testing.B) {
	benchmark(b, "../../shared/scenes/s03-four-neighbours", capture.Shifted)
}

// BenchmarkSingle runs a pair of single 12-megapixel photos from files to rendered results.
func BenchmarkSingle(b *testing.B) {
	benchmark(b, "../../shared/scenes/s02-hail-roof", capture.Single)
}

func benchmark(b *testing.B, dir, kind string) {
	folder := os.DirFS(dir)
	c, err := capture.ReadDir(folder)
	if err != nil {
		b.Skip("the reference scenes are not on this machine")
	}
	c.Sets = slices.DeleteFunc(c.Sets, func(s capture.Set) bool { return s.Kind != kind })
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
