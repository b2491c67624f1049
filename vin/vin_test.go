package vin

import (
	"errors"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// TestPublished: 1M8GDM9AXKP042788 and seventeen ones are the worked examples that are published for the check digit of 49 CFR 565
// [CFR565]: sums 351 = 31 x 11 + 10 and 89 = 8 x 11 + 1.
func TestPublished(t *testing.T) {
	for text, wanted := range map[string]string{"1M8GDM9AXKP042788": "X", "11111111111111111": "1"} {
		n, err := Read(text)
		if err != nil || n.Check != Fits || n.Wanted != wanted || n.Region != NorthAmerica || len(n.Notes) != 0 {
			t.Errorf("%s: %+v, %v", text, n, err)
		}
	}
	n, err := Read("1m8-gdm9a xkp 042788")
	if err != nil || n.Text != "1M8GDM9AXKP042788" || !slices.Equal(n.Years, []int{1989}) {
		t.Errorf("%+v, %v", n, err)
	}
}

// TestWrongPositionIsNamed: the error counts from 1, after separators.
func TestWrongPositionIsNamed(t *testing.T) {
	for _, c := range []struct {
		text     string
		position int
		says     string
	}{
		{"1M8GDM9AXKP04278O", 17, "digit 0"},
		{"IM8GDM9AXKP042788", 1, "digit 1"},
		{"1M8GDQ9AXKP042788", 6, "digit 0"},
		{"1M8 GDM 9*XKP042788", 8, "capital letters"},
		{"1M8GDM9AXKP0427Ä8", 16, "capital letters"},
		{"1M8GDM9AXKP04A788", 14, "last four"},
		{"1M8GDM9AXKP04278", 0, "16 characters"},
		{"1M8GDM9AXKP0427888", 0, "18 characters"},
		{"", 0, "0 characters"},
		{strings.Repeat("1", 65), 0, "no vehicle identification number"},
		{"\xff", 0, "no vehicle identification number"},
	} {
		_, err := Read(c.text)
		var e *Error
		if !errors.As(err, &e) || e.Position != c.position || !strings.Contains(e.Text, c.says) {
			t.Errorf("%q: %v", c.text, err)
		}
	}
}

// TestWhereItApplies: the same slip is an alarm in North America, a note elsewhere.
func TestWhereItApplies(t *testing.T) {
	for text, want := range map[string]Check{"1M8GDM9A1KP042788": Differs, "WM8GDM9A1KP042788": NotAsked} {
		if n, err := Read(text); err != nil || n.Check != want || len(n.Notes) == 0 {
			t.Errorf("%s: %+v, %v", text, n, err)
		}
	}
	for first, want := range map[string]Region{"A": Africa, "H": Africa, "J": Asia, "R": Asia, "S": Europe, "Z": Europe, "1": NorthAmerica, "5": NorthAmerica, "6": Oceania, "8": SouthAmerica, "9": SouthAmerica, "0": Unassigned} {
		if n, err := Read(first + "M8GDM9AXKP042788"); err != nil || n.Region != want {
			t.Errorf("%s: %q, %v", first, n.Region, err)
		}
	}
}

// TestYears: letters come round every 30 years; position 7 parts them in North America; U, Z and 0 are no year.
func TestYears(t *testing.T) {
	for _, c := range []struct {
		text string
		want []int
	}{
		{"1M8GDM9AXAP042788", []int{1980}}, {"1M8GDMAAXAP042788", []int{2010}}, {"WM8GDMAAXAP042788", []int{1980, 2010}},
		{"1M8GDM9AXYP042788", []int{2000}}, {"1M8GDM9AX1P042788", []int{2001}}, {"1M8GDM9AX9P042788", []int{2009}}, {"1M8GDMAAX9P042788", []int{2039}},
		{"WM8GDM9AXUP042788", nil}, {"WM8GDM9AXZP042788", nil}, {"WM8GDM9AX0P042788", nil},
	} {
		if n, err := Read(c.text); err != nil || !slices.Equal(n.Years, c.want) {
			t.Errorf("%s: %v, %v", c.text, n.Years, err)
		}
	}
}

const letters = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"

func random(rng *rand.Rand) string {
	b := make([]byte, Length)
	for i := range b {
		b[i] = letters[rng.IntN(len(letters))]
		if i >= Length-4 {
			b[i] = letters[rng.IntN(10)]
		}
	}
	b[0] = "12345"[rng.IntN(5)]
	b[8] = digit(string(b))
	return string(b)
}

// TestOneSlipIsFound: 11 is prime and no weight beside the ninth is a multiple of it, so every single character of another value is found.
func TestOneSlipIsFound(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		s := random(rng)
		for i := range Length {
			c := letters[rng.IntN(len(letters))]
			if i == 0 || i >= Length-4 {
				c = "12345"[rng.IntN(5)]
			}
			if i == 8 || value(rune(c)) == value(rune(s[i])) {
				continue
			}
			if n, err := Read(s[:i] + string(c) + s[i+1:]); err != nil || n.Check != Differs {
				t.Fatalf("%s with %c at %d: %+v, %v", s, c, i+1, n, err)
			}
		}
	}
}

// TestSuspects: a look-alike or a swap in a good number is among the suspects, with its position.
func TestSuspects(t *testing.T) {
	good := "1M8GDM9AXKP042788"
	for position, wrong := range map[int]string{3: "1MBGDM9AXKP042788", 12: "1M8GDM9AXKPD42788", 13: "1M8GDM9AXKP024788"} {
		n, err := Read(wrong)
		if err != nil || n.Check != Differs {
			t.Fatalf("%s: %+v, %v", wrong, n, err)
		}
		if got := Suspects(n); !slices.Contains(got, Suspect{position, good}) {
			t.Errorf("%s: %v", wrong, got)
		}
	}
	if n, err := Read(good); err != nil || len(Suspects(n)) != 0 {
		t.Errorf("a good number has suspects: %v", err)
	}
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{"1M8GDM9AXKP042788", "", "IOQ", "ß1M8GDM9AXKP04278", "ŉ"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		n, err := Read(s)
		if err != nil {
			if e := err.(*Error); e.Position < 0 || e.Position > Length || e.Text == "" {
				t.Fatalf("%q: %+v", s, e)
			}
			return
		}
		m, err := Read(n.Text)
		if err != nil || m.Text != n.Text || len(n.Text) != Length {
			t.Fatalf("%q reads as %q, that as %q, %v", s, n.Text, m.Text, err)
		}
		Suspects(n)
	})
}
