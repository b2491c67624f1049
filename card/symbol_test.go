package card

import (
	"image"
	"image/color"
	"image/png"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

var someCards = []struct {
	letter string
	side   float64
}{{"A", 40}, {"B", 40}, {"A", 25}, {"B", 62.5}, {"Z", 200}, {"C", 10}}

// Function patterns as ISO/IEC 18004 draws them.
func TestSymbolPatterns(t *testing.T) {
	finder := []string{
		"1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111",
	}
	for _, c := range someCards {
		m, err := Symbol(c.letter, c.side)
		if err != nil {
			t.Fatal(err)
		}
		if len(m) != 21 || len(m[0]) != 21 {
			t.Fatalf("%v: %d x %d modules, want 21 x 21", c, len(m[0]), len(m))
		}
		for y, row := range finder {
			for x, r := range row {
				want := r == '1'
				if m[y][x] != want || m[y][14+x] != want || m[14+y][x] != want {
					t.Errorf("%v: finder patterns differ at %d, %d", c, x, y)
				}
			}
		}
		for i := range 8 {
			if m[7][i] || m[i][7] || m[7][20-i] || m[i][13] || m[13][i] || m[20-i][7] {
				t.Errorf("%v: separator is dark at %d", c, i)
			}
		}
		for i := 8; i < 13; i++ {
			if m[6][i] != (i%2 == 0) || m[i][6] != (i%2 == 0) {
				t.Errorf("%v: timing pattern wrong at %d", c, i)
			}
		}
		if !m[13][8] {
			t.Errorf("%v: the dark module is light", c)
		}
		// The first two format bits say the level: H is 10, and the mask over them begins with 10, which leaves 00.
		if got := [2]bool{m[8][0], m[8][1]}; got != [2]bool{false, false} {
			t.Errorf("%v: format bits %v are not those of level H", c, got)
		}
	}
}

// The parts that the locator takes for known must be those of every card, under every mask.
func TestKnownParts(t *testing.T) {
	for _, c := range someCards {
		m, err := Symbol(c.letter, c.side)
		if err != nil {
			t.Fatal(err)
		}
		known, n := 0, 0
		for y := range Modules {
			for x := range Modules {
				if !isKnown[y][x] {
					continue
				}
				known++
				if (knownModules[y][x] > 0) == m[y][x] {
					n++
				}
			}
		}
		// Three finders with separators (8 x 8 each), two timing lines of five, one dark module.
		if known != 3*64+10+1 || n != known {
			t.Errorf("%v: %d of %d known modules agree", c, n, known)
		}
	}
}

func TestSymbolRefuses(t *testing.T) {
	for _, c := range []struct {
		letter string
		side   float64
	}{{"A", 9}, {"A", 300}, {"", 40}, {"AB", 40}, {"a", 40}, {"A", 40.25}, {"A", 100.5}, {"A", -1}} {
		if _, err := Symbol(c.letter, c.side); err == nil {
			t.Errorf("Symbol(%q, %v) gave no error", c.letter, c.side)
		}
	}
}

// zbar is an independent decoder: http://zbar.sourceforge.net, package zbar-tools.
func TestSymbolReadByZbar(t *testing.T) {
	zbar, err := exec.LookPath("zbarimg")
	if err != nil {
		t.Skip("zbarimg is not installed (package zbar-tools)")
	}
	for _, c := range someCards {
		m, err := Symbol(c.letter, c.side)
		if err != nil {
			t.Fatal(err)
		}
		const px = 6
		n := (Modules + 2*QuietModules) * px
		img := image.NewGray(image.Rect(0, 0, n, n))
		for y := range n {
			for x := range n {
				i, j := x/px-QuietModules, y/px-QuietModules
				v := uint8(255)
				if i >= 0 && j >= 0 && i < Modules && j < Modules && m[j][i] {
					v = 0
				}
				img.SetGray(x, y, color.Gray{Y: v})
			}
		}
		file := filepath.Join(t.TempDir(), "card.png")
		f, err := os.Create(file)
		if err != nil {
			t.Fatal(err)
		}
		if err := png.Encode(f, img); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(zbar, "--raw", "-q", file).Output()
		if got := strings.TrimSpace(string(out)); err != nil || got != Text(c.letter, c.side) {
			t.Errorf("zbarimg read %q (%v), want %q", got, err, Text(c.letter, c.side))
		}
	}
}

// Every mask of the same text is read and printed again as it was; up to a corrected number of wrong modules does not matter.
func TestReadEveryMask(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for mask := range 8 {
		m, err := encode("FM1 B 62.5", levels["H"], mask)
		if err != nil {
			t.Fatal(err)
		}
		seen := *m
		for range 6 {
			x, y := 9+rng.IntN(12), 9+rng.IntN(12)
			seen[y][x] = 1 - seen[y][x]
		}
		letter, side, printed, err := read(&seen)
		if err != nil || letter != "B" || side != 62.5 {
			t.Errorf("mask %d: read %q %v, %v", mask, letter, side, err)
			continue
		}
		if *printed != *m {
			t.Errorf("mask %d: printed again with another mask", mask)
		}
	}
}

// Random modules are no card, and do no harm.
func TestReadRandom(t *testing.T) {
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 3))
		m := knownModules
		for y := range Modules {
			for x := range Modules {
				if !isKnown[y][x] || seed%2 == 0 {
					m[y][x] = float64(rng.IntN(2))
				}
			}
		}
		if letter, side, _, err := read(&m); err == nil {
			t.Errorf("seed %d: random modules read as %s %v", seed, letter, side)
		}
	}
}
