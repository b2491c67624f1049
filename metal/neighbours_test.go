package metal

import (
	"math"
	"testing"

	"fairmetal/sheet"
)

// TestNeighbourhood: numbers and maps agree, whatever the frame of the places; two marks of a flat panel come along, of R = 2 m they sink.
func TestNeighbourhood(t *testing.T) {
	places := [][2]float64{{-312, 40}, {-262, 40}, {-290, 75}}
	for _, c := range []struct {
		crown Crown
		sign  float64
	}{{Crown{}, 1}, {Crown{KxPerMM: 1.0 / 2000, KyPerMM: 1.0 / 2000}, -1}, {Crown{KxPerMM: 1.0 / 1500, KyPerMM: 1.0 / 2500, KxyPerMM: 1e-4}, -1}} {
		n, err := steel(180, 0.7, 0).Neighbourhood(places, c.crown)
		if err != nil {
			t.Fatal(err)
		}
		m := n.Influence()
		if m[1][0]*c.sign < 0.02 || m[0][0] != 1 {
			t.Errorf("%+v: %v", c.crown, m)
		}
		z := n.Map(0, -312, 40, 5, 11, 8)
		for i, want := range map[int]float64{0: 1, 10: m[1][0]} {
			if math.Abs(z.Z[i]-want) > 1e-9 {
				t.Errorf("the map says %.6f where the numbers say %.6f", z.Z[i], want)
			}
		}
		if far := n.Map(0, 1e4, 0, 1, 2, 2); far.Z[0] != 0 || far.Z[3] != 0 {
			t.Errorf("the panel bends beyond its edge: %v", far.Z)
		}
	}
	for _, bad := range [][][2]float64{nil, {{math.NaN(), 0}}, {{0, 0}, {1e6, 0}}} {
		if _, err := steel(180, 0.7, 0).Neighbourhood(bad, Crown{}); err == nil {
			t.Errorf("%v accepted", bad)
		}
	}
}

// TestShellBesideSheet: the series of the linear shell beside the splines of the elastic-plastic solver, small loads off the middle of
// crowns that no formula serves. Edges differ in the plane (a diaphragm here, held there), which is felt the more the nearer the form is to
// a cylinder; on a saddle the diaphragm gives twice as much (docs/method/metal.md).
func TestShellBesideSheet(t *testing.T) {
	s := steel(1e6, 0.7, 0).Sheet
	for _, c := range []struct {
		name       string
		kx, ky, xy float64
		tolerance  float64
	}{{"sphere", 1e-3, 1e-3, 0, 0.05}, {"egg", 2e-3, 5e-4, 0, 0.02}, {"twisted", 1e-3, 1e-3, 4e-4, 0.06}, {"cylinder", 2e-3, 0, 0, 0.15}} {
		shell, err := NewShell(ShellSpec{Sheet: s, WidthMM: 300, HeightMM: 220, KxPerMM: c.kx, KyPerMM: c.ky, KxyPerMM: c.xy, CoreMM: 2})
		if err != nil {
			t.Fatal(err)
		}
		bent := shell.Bend(Source{XMM: 120, YMM: 90, ForceN: 0.1})
		w, err := sheet.NewWork(sheet.Rect{Material: s.solverMaterial(), ThicknessMM: 0.7, WidthMM: 300, HeightMM: 220, KxPerMM: c.kx, KyPerMM: c.ky, KxyPerMM: c.xy},
			sheet.Place{XMM: 120, YMM: 90, StepMM: 3})
		if err != nil {
			t.Fatal(err)
		}
		// A disc of twice the standard deviation loads as the bell does, to second order.
		if err := w.Push(120, 90, sheet.Tip{DiscMM: 4}, 0.1); err != nil {
			t.Fatal(err)
		}
		top := w.HeightMM(120, 90)
		for _, at := range [][2]float64{{120, 90}, {135, 90}, {120, 60}, {170, 120}, {90, 140}} {
			if got, want := bent.AtMM(at[0], at[1]), w.HeightMM(at[0], at[1]); math.Abs(got-want) > c.tolerance*top {
				t.Errorf("%s at %v: %.6f mm, the sheet %.6f of %.6f", c.name, at, got, want, top)
			}
		}
	}
}

// TestSquareFallsBack: the square sheet is asked first; the table answers where no solver does, for pushes alone.
func TestSquareFallsBack(t *testing.T) {
	p := steel(160, 0.7, 2000)
	forces := []float64{120, 60, 200, 60}
	hits, way, err := p.Square(300, 5, forces)
	if err != nil || way != BySquare {
		t.Fatal(way, err)
	}
	for i, f := range forces {
		if hits[i].ForceN != f {
			t.Errorf("hit %d is that of %g N, asked for %g", i, hits[i].ForceN, f)
		}
	}
	table := p.tableHit(200, Tip{RadiusMM: 5})
	if r := table.SetUM / hits[2].SetUM; r < 0.85 || r > 1.15 {
		t.Errorf("the table says %.0f um, the solver %.0f", table.SetUM, hits[2].SetUM)
	}
	if r := table.LoadedMM / hits[2].LoadedMM; r < 0.9 || r > 1.1 {
		t.Errorf("under load the table says %.2f mm, the solver %.2f", table.LoadedMM, hits[2].LoadedMM)
	}
	if table.HalfWidthMM < 4 || table.HalfWidthMM > 12 || table.RimUM <= 0 {
		t.Errorf("%+v", table)
	}
}
