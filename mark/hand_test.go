package mark

import (
	"math"
	"testing"
)

// TestSplitAndMerge: a long low of two bowls is cut between them; both halves keep their own depth, and merged again they span the whole.
func TestSplitAndMerge(t *testing.T) {
	s := skin(3, 0.4, func(x, y float64) float64 { return bowl(x+9, y, 0.3, 7, 5, 0) + bowl(x-9, y, 0.2, 7, 5, 0) })
	found := Find(s, Options{})
	if len(found) != 1 {
		t.Fatalf("%d marks, want the two bowls as one", len(found))
	}
	m := found[0]
	a, b, ok := Split(m, 0, 0, s)
	if !ok {
		t.Fatal("the cut left nothing on one side")
	}
	if m.AngleDeg > 90 { // the length's direction may point either way
		a, b = b, a
	}
	if a.XMM >= 0 || b.XMM <= 0 || a.DepthUM <= b.DepthUM {
		t.Errorf("halves at %.1f and %.1f mm, %.0f and %.0f um deep", a.XMM, b.XMM, a.DepthUM, b.DepthUM)
	}
	// Each half's depth is the surface's own there, within the smoothing of the search.
	if math.Abs(a.DepthUM-m.DepthUM) > 0.03*m.DepthUM {
		t.Errorf("the deeper half has %.0f um, the whole %.0f", a.DepthUM, m.DepthUM)
	}
	whole := Merge([]Mark{a, b})
	if whole.DepthUM != a.DepthUM || math.Abs(whole.VolumeMM3-a.VolumeMM3-b.VolumeMM3) > 0.011 {
		t.Errorf("merged: %+v", whole)
	}
	// The outline's hull is cut and joined without loss; the search reports it narrowed by its own filter, a few per cent.
	if math.Abs(whole.LengthMM-m.LengthMM) > 0.06*m.LengthMM {
		t.Errorf("merged length %.1f mm, was %.1f", whole.LengthMM, m.LengthMM)
	}
	if _, _, ok := Split(m, 500, 0, s); ok {
		t.Error("a cut beside the mark made two of it")
	}
}
