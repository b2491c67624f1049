package rehearse

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"fairmetal/metal"
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
	if !cases[4].Declined { // seed 8: filled
		t.Errorf("a filled panel was worked: %+v", cases[4])
	}
}

// TestHardnessIsHeard: hits on metal a tenth harder than thought tell so.
func TestHardnessIsHeard(t *testing.T) {
	m, _ := metal.Lookup("mild steel")
	p := metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: 0.7}, RadiusMM: 3000, SupportMM: 150}
	is := p
	is.Material = m.WithYield(1.1 * m.YieldMPa)
	rnd := rand.New(rand.NewPCG(1, 2))
	var heard []felt
	for range 12 {
		l := 600 + 400*rnd.Float64()
		set := is.SetAtHeightUM(l, metal.Tip{})
		heard = append(heard, felt{l, set * (1 + 0.2*rnd.NormFloat64()), metal.Tip{}})
	}
	if f := hardness(p, heard); math.Abs(f-1.1) > 0.05 {
		t.Errorf("heard as %.2f times as hard", f)
	}
}
