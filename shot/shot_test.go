package shot

import (
	"math"
	"strings"
	"testing"
)

// TestFoldLimit against d = s^2/2 (1/B + 1/C + 2/R) at square incidence, worked by hand: B 600, C 500 mm, flat, s = 10 mm: 0.18 mm; at
// 50 degrees 0.64 of that in the plane of incidence.
func TestFoldLimit(t *testing.T) {
	a := Ask(Flaw{10 * tenth, 100}, Place{BoardMM: 600, CameraMM: 500, MMPerPX: 0.3})
	if math.Abs(a.FoldDepthUM-183.3) > 0.5 || a.Folds {
		t.Errorf("%+v", a)
	}
	b := Ask(Flaw{10 * tenth, 100}, Place{BoardMM: 600, CameraMM: 500, TiltDeg: 50, MMPerPX: 0.3})
	if r := b.FoldDepthUM / a.FoldDepthUM; math.Abs(r-0.643) > 0.001 {
		t.Errorf("tilted: %g of it", r)
	}
	c := Ask(Flaw{10 * tenth, 100}, Place{BoardMM: 600, CameraMM: 500, CrownMM: 2000, MMPerPX: 0.3})
	if math.Abs(c.FoldDepthUM-a.FoldDepthUM-50) > 0.01 {
		t.Errorf("a crown of 2 m adds s^2/R = 50 um, not %g", c.FoldDepthUM-a.FoldDepthUM)
	}
}

// TestUnfold: the board distance it names is the one at which the flaw just folds.
func TestUnfold(t *testing.T) {
	f := Flaw{40, 260}
	p := Place{BoardMM: 800, CameraMM: 500, TiltDeg: 35, CrownMM: 3000, MMPerPX: 0.3}
	a := Ask(f, p)
	if !a.Folds || a.Kind != "shifted" || a.UnfoldBoardMM >= p.BoardMM {
		t.Fatalf("%+v", a)
	}
	p.BoardMM = a.UnfoldBoardMM
	if b := Ask(f, p); math.Abs(b.FoldDepthUM-f.DepthUM) > 0.01 {
		t.Errorf("at %.0f mm it folds from %.2f um", p.BoardMM, b.FoldDepthUM)
	}
}

func TestPitch(t *testing.T) {
	a := Ask(Flaw{20, 400}, Place{BoardMM: 500, CameraMM: 450, TiltDeg: 35, MMPerPX: 0.3})
	if a.StripePX < leastStripePX {
		t.Errorf("its own pitch of %g mm shrinks to %g px", a.PitchMM, a.StripePX)
	}
	b := Ask(Flaw{20, 400}, Place{BoardMM: 500, CameraMM: 450, TiltDeg: 35, MMPerPX: 0.3, PitchMM: 4})
	if b.StripePX >= leastStripePX || !strings.Contains(b.Words, "or wider") {
		t.Errorf("%+v", b)
	}
}

// TestNearer: from the distance named a mark is lost to the share allowed; a low of 7 mm at 0.7 mm a pixel loses a twentieth to a blur of a
// quarter of a pixel squared: its standard deviation is 7/4.292 mm, 2.33 px.
func TestNearer(t *testing.T) {
	lost := Lost(7, 7, 0.7, 0.25)
	if math.Abs(lost-0.25/(2.33*2.33)) > 1e-3 {
		t.Errorf("lost %.4f", lost)
	}
	near := NearerMM(480, lost)
	if now := Lost(7, 7, 0.7*near/480, 0.25); now > ResolvedShare || now < 0.9*ResolvedShare {
		t.Errorf("from %.0f mm %.4f is lost", near, now)
	}
}
