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

// TestDropFaint: lines that have lost their step go, and the fit is settled without them; one with a step stays.
func TestDropFaint(t *testing.T) {
	fr, sights := throughLens(t)
	s := newSolver(&fr, sights, Prior{DistanceMM: 480})
	x, err := s.settle(s.start())
	if err != nil {
		t.Fatal(err)
	}
	smooth := len(x)
	for _, f := range []Fold{{Angle: 1, S0: 3000, Step: -1e-3, Width: 6}, {Angle: 0.3, S0: 30, Step: 1e-4, Width: 6}} {
		x, s.folds = append(x, f.unknowns()...), s.folds+1
	}
	if x, err = s.dropFaint(x); err != nil || s.folds != 0 || len(x) != smooth || s.rms > 0.5 {
		t.Errorf("%d lines are left, %.2f mm off: %v", s.folds, s.rms, err)
	}
	line := Fold{Angle: 0.3, S0: 30, Step: 0.02, Width: 6}
	x, s.folds = append(x, line.unknowns()...), 1
	if same, err := s.dropFaint(x); err != nil || s.folds != 1 || !slices.Equal(same, x) {
		t.Errorf("a line with a step has gone: %v", err)
	}
}
