package inspection

import (
	"context"
	"os"
	"testing"
)

// BenchmarkShifted runs a shifted set of sixteen 2-megapixel photos from files to rendered results.
func BenchmarkShifted(b *testing.B) { benchmark(b, "../../shared/scenes/s03-four-neighbours") }

func benchmark(b *testing.B, dir string) {
	if _, err := os.Stat(dir); err != nil {
		b.Skip("the reference scenes are not on this machine")
	}
	for b.Loop() {
		r, err := Run(context.Background(), os.DirFS(dir), nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := r.Files(); err != nil {
			b.Fatal(err)
		}
	}
}
