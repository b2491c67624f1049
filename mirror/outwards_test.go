package mirror

import (
	"slices"
	"testing"
)

// TestOutwards: a fit that ran into a dead end begins anew between the cards and finds the set-up, and one that explains the whole already
// is left as it is, weights and all.
func TestOutwards(t *testing.T) {
	fr, sights := throughLens(t)
	s := newSolver(&fr, sights, Prior{DistanceMM: 480})
	astray := s.start()
	astray[0], astray[4] = 90, 0.2
	s.reweight(astray)
	if s.rms < astrayRMSMM {
		t.Fatalf("a start %.2f mm off is no dead end", s.rms)
	}
	x := s.outwards(astray)
	if slices.Equal(x, astray) || s.rms > 0.5 {
		t.Fatalf("%.2f mm off after beginning anew", s.rms)
	}
	weight, rms := slices.Clone(s.weight), s.rms
	if again := s.outwards(x); !slices.Equal(again, x) || !slices.Equal(s.weight, weight) || s.rms != rms {
		t.Errorf("a fit that was good has changed: %.3f mm off, %.3f before", s.rms, rms)
	}
}
