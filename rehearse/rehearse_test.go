package rehearse

import (
	"reflect"
	"testing"

	"fairmetal/fair"
	"fairmetal/plan"
)

// TestSeedDecides: the same seed gives the same job.
func TestSeedDecides(t *testing.T) {
	a, _, err := Run(1, 5, plan.Staged)
	if err != nil {
		t.Fatal(err)
	}
	b, _, err := Run(1, 5, plan.Staged)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(a, b) {
		t.Errorf("%+v and %+v", a, b)
	}
}

// TestClosedLoop: of a few cases none ends worse than it began, none passes what the film stands, filled panels are declined, and most
// of the others come out fair.
func TestClosedLoop(t *testing.T) {
	if testing.Short() {
		t.Skip("works six panels")
	}
	cases, sum, err := Run(6, 4, plan.Staged)
	if err != nil {
		t.Fatal(err)
	}
	if sum.Worse > 0 || sum.OverStrain > 0 {
		t.Errorf("%d ended worse, %d over the film's strain: %+v", sum.Worse, sum.OverStrain, cases)
	}
	if 4*sum.Fair < 3*(sum.Cases-sum.Declined) {
		t.Errorf("%d of %d fair: %+v", sum.Fair, sum.Cases-sum.Declined, cases)
	}
	for _, c := range cases {
		if c.Declined != (c.FairCheck == "") || c.Fair && c.FairCheck != fair.Yes {
			t.Errorf("seed %d: declined %v, fair %v, hand-over check %q", c.Seed, c.Declined, c.Fair, c.FairCheck)
		}
	}
	if !cases[4].Declined { // seed 8: filled
		t.Errorf("a filled panel was worked: %+v", cases[4])
	}
}
