package sheet

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"fairmetal/internal/peer"
)

// deck writes an axisymmetric sheet (CAX8R, two elements through the thickness, large deflection) that is clamped at its rim, pushed by
// an even pressure on a disc of its back and let go, for CalculiX.
func deck(d Disc, disc, force float64) (text string, front int, area float64) {
	var radii []float64
	r, h := 0.0, disc/6
	for r < d.SupportMM-1e-9 {
		radii = append(radii, r)
		if r >= disc-1e-9 {
			h *= 1.25
		}
		r += h
		if d.SupportMM-r < h/2 {
			r = d.SupportMM
		}
	}
	radii = append(radii, d.SupportMM)
	nr := len(radii) - 1
	const nt = 2
	id := func(i, j int) int { return i*(2*nt+1) + j + 1 }
	var b strings.Builder
	b.WriteString("*NODE,NSET=NALL\n")
	for i := 0; i <= 2*nr; i++ {
		x := radii[i/2]
		if i%2 == 1 {
			x = (x + radii[i/2+1]) / 2
		}
		for j := 0; j <= 2*nt; j++ {
			if i%2 == 1 && j%2 == 1 {
				continue
			}
			fmt.Fprintf(&b, "%d,%.6f,%.6f,0\n", id(i, j), x, d.ThicknessMM*(float64(j)/(2*nt)-0.5))
		}
	}
	b.WriteString("*ELEMENT,TYPE=CAX8R,ELSET=SHEET\n")
	var pressed []int
	n := 0
	for i := 0; i < 2*nr; i += 2 {
		for j := 0; j < 2*nt; j += 2 {
			n++
			fmt.Fprintf(&b, "%d,%d,%d,%d,%d,%d,%d,%d,%d\n", n, id(i, j), id(i+2, j), id(i+2, j+2), id(i, j+2), id(i+1, j), id(i+2, j+1), id(i+1, j+2), id(i, j+1))
			if j == 0 && radii[i/2+1] <= disc+1e-9 {
				pressed = append(pressed, n)
				area = 3.14159265358979 * radii[i/2+1] * radii[i/2+1]
			}
		}
	}
	list := func(name string, i0, i1, step int) {
		fmt.Fprintf(&b, "*NSET,NSET=%s\n", name)
		for i := i0; i <= i1; i += step {
			for j := 0; j <= 2*nt; j++ {
				if i%2 == 1 && j%2 == 1 {
					continue
				}
				fmt.Fprintf(&b, "%d,\n", id(i, j))
			}
		}
	}
	list("AXIS", 0, 0, 1)
	list("EDGE", 2*nr, 2*nr, 1)
	front = id(0, 2*nt)
	fmt.Fprintf(&b, "*NSET,NSET=APEX\n%d\n", front)
	b.WriteString(metalCard(d.Material))
	b.WriteString("*SOLID SECTION,ELSET=SHEET,MATERIAL=SH\n*BOUNDARY\nEDGE,1,2\nAXIS,1,1\n")
	b.WriteString(pressAndLetGo(pressed, force/area))
	return b.String(), front, area
}

// metalCard is a material with its hardening.
func metalCard(m Material) string {
	var b strings.Builder
	fmt.Fprintf(&b, "*MATERIAL,NAME=SH\n*ELASTIC\n%g,%g\n*PLASTIC\n", m.EMPa, m.Nu)
	flow := m.law()
	for i := range 40 {
		ep := 0.3 * float64(i*i) / (39 * 39)
		y, _ := flow.flow(ep)
		fmt.Fprintf(&b, "%.4f,%.6f\n", y, ep)
	}
	return b.String()
}

// pressAndLetGo is two steps: a pressure on the first face of elements, and none.
func pressAndLetGo(pressed []int, mpa float64) string {
	var b strings.Builder
	for _, p := range []float64{mpa, 0} {
		b.WriteString("*STEP,NLGEOM,INC=500\n*STATIC\n0.1,1.,1e-06,0.25\n*DLOAD\n")
		for _, e := range pressed {
			fmt.Fprintf(&b, "%d,P1,%.6f\n", e, p)
		}
		b.WriteString("*NODE PRINT,NSET=APEX,FREQUENCY=100\nU\n*END STEP\n")
	}
	return b.String()
}

// squareDeck is a quarter of a clamped square sheet of solid elements (C3D20R, two through the thickness), at places along each side,
// pressed from behind evenly on the square up to the place patch.
func squareDeck(m Material, thickness float64, at []float64, patch int, force float64) (text string, front int) {
	n := len(at) - 1
	const nz = 2
	id := func(i, j, k int) int { return (i*(2*n+1)+j)*(2*nz+1) + k + 1 }
	place := func(i int) float64 { return (at[i/2] + at[(i+1)/2]) / 2 }
	var b strings.Builder
	var left, bottom, edge []int
	b.WriteString("*NODE,NSET=NALL\n")
	for i := range 2*n + 1 {
		for j := range 2*n + 1 {
			for k := range 2*nz + 1 {
				if i%2+j%2+k%2 > 1 {
					continue
				}
				v := id(i, j, k)
				fmt.Fprintf(&b, "%d,%.6f,%.6f,%.6f\n", v, place(i), place(j), thickness*(float64(k)/(2*nz)-0.5))
				if i == 2*n || j == 2*n {
					edge = append(edge, v)
					continue
				}
				if i == 0 {
					left = append(left, v)
				}
				if j == 0 {
					bottom = append(bottom, v)
				}
			}
		}
	}
	b.WriteString("*ELEMENT,TYPE=C3D20R,ELSET=SHEET\n")
	var pressed []int
	element := 0
	for i := 0; i < 2*n; i += 2 {
		for j := 0; j < 2*n; j += 2 {
			for k := 0; k < 2*nz; k += 2 {
				element++
				fmt.Fprintf(&b, "%d", element)
				for q, d := range [20][3]int{{0, 0, 0}, {2, 0, 0}, {2, 2, 0}, {0, 2, 0}, {0, 0, 2}, {2, 0, 2}, {2, 2, 2}, {0, 2, 2}, {1, 0, 0}, {2, 1, 0}, {1, 2, 0}, {0, 1, 0},
					{1, 0, 2}, {2, 1, 2}, {1, 2, 2}, {0, 1, 2}, {0, 0, 1}, {2, 0, 1}, {2, 2, 1}, {0, 2, 1}} {
					if q == 10 {
						b.WriteString(",\n")
					} else {
						b.WriteString(",")
					}
					fmt.Fprintf(&b, "%d", id(i+d[0], j+d[1], k+d[2]))
				}
				b.WriteString("\n")
				if k == 0 && i < 2*patch && j < 2*patch {
					pressed = append(pressed, element)
				}
			}
		}
	}
	front = id(0, 0, 2*nz)
	fmt.Fprintf(&b, "*NSET,NSET=APEX\n%d\n", front)
	for name, list := range map[string][]int{"LEFT": left, "BOTTOM": bottom, "EDGE": edge} {
		fmt.Fprintf(&b, "*NSET,NSET=%s\n", name)
		for _, v := range list {
			fmt.Fprintf(&b, "%d,\n", v)
		}
	}
	b.WriteString(metalCard(m))
	b.WriteString("*SOLID SECTION,ELSET=SHEET,MATERIAL=SH\n*BOUNDARY\nLEFT,1,1\nBOTTOM,2,2\nEDGE,1,3\n")
	b.WriteString(pressAndLetGo(pressed, force/(4*at[patch]*at[patch])))
	return b.String(), front
}

// heightsOf reads what the program printed of a node: the last number counts in two dimensions and in three.
func heightsOf(t testing.TB, printed string, node, axis int) (heights []float64) {
	t.Helper()
	for _, line := range strings.Split(printed, "\n") {
		var id int
		var u [3]float64
		if n, _ := fmt.Sscan(line, &id, &u[0], &u[1], &u[2]); n == 4 && id == node {
			heights = append(heights, u[axis])
		}
	}
	if len(heights) < 2 {
		t.Fatalf("no heights in the result:\n%s", printed)
	}
	return heights
}

// TestBesideCalculiX runs the finite-element program afresh on a small push, 30 mm to the rim, and compares height under load (8 %) and
// after (15 %).
func TestBesideCalculiX(t *testing.T) {
	d := Disc{Material: steel160, ThicknessMM: 0.7, SupportMM: 30}
	const disc, force = 2.0, 150.0
	text, front, _ := deck(d, disc, force)
	raw, _, _ := peer.CalculiX(t, text)
	heights := heightsOf(t, raw, front, 1)
	h, err := Pushes(d, Tip{DiscMM: disc}, []float64{force})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "under load", h[0].LoadedMM, heights[len(heights)-2], 0.08)
	near(t, "set", h[0].SetUM/1000, heights[len(heights)-1], 0.15)
	t.Logf("under load %.3f mm (CalculiX %.3f), set %.3f mm (%.3f)", h[0].LoadedMM, heights[len(heights)-2], h[0].SetUM/1000, heights[len(heights)-1])
}

// places along a quarter's side for squareDeck: a patch of 5 mm, then longer elements; refined halves all of them.
func places(half float64, refined int) (at []float64, patch int) {
	at = []float64{0, 1.25, 2.5, 4.5, 7.5, 12, 18, half}
	patch = 2
	for range refined {
		var more []float64
		for i, v := range at {
			if i > 0 {
				more = append(more, (v+at[i-1])/2)
			}
			more = append(more, v)
		}
		at, patch = more, 2*patch
	}
	return at, patch
}

// TestSquareBesideCalculiX: the same for a square sheet of 56 mm.
func TestSquareBesideCalculiX(t *testing.T) {
	const half, force = 28.0, 140.0
	at, patch := places(half, 0)
	text, front := squareDeck(steel160, 0.7, at, patch, force)
	raw, _, _ := peer.CalculiX(t, text)
	heights := heightsOf(t, raw, front, 2)
	h, err := Square(Quarter(steel160, 0.7, 2*half, 0), Tip{DiscMM: 5 / math.Sqrt(math.Pi)}, []float64{force})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("under load %.4f mm (CalculiX %.4f), set %.4f mm (%.4f)", h[0].LoadedMM, heights[len(heights)-2], h[0].SetUM/1000, heights[len(heights)-1])
	near(t, "under load", h[0].LoadedMM, heights[len(heights)-2], 0.08)
	near(t, "set", h[0].SetUM/1000, heights[len(heights)-1], 0.15)
}

// BenchmarkLoadStep times one load step (balance found after a change of force) of that sheet pushed and let go, by mesh, and beside
// it the independent program's in the same run. Times are of the processor, all threads together.
func BenchmarkLoadStep(b *testing.B) {
	const half, force = 28.0, 140.0
	for _, step := range []float64{2.5, 1.25, 0.6, 0.3} {
		b.Run(fmt.Sprintf("%gmm", step), func(b *testing.B) {
			steps, unknowns, from := 0, 0, peer.Processor()
			for b.Loop() {
				w := start(b, Quarter(steel160, 0.7, 2*half, 0), Place{FineMM: 3, StepMM: step})
				hit(b, w, 0, 0, Tip{DiscMM: 5 / math.Sqrt(math.Pi)}, force)
				steps, unknowns = w.Balances, len(w.x)
			}
			perStep(b, (peer.Processor()-from)/float64(b.N), steps, unknowns)
		})
	}
	for refined := range 2 {
		at, patch := places(half, refined)
		text, _ := squareDeck(steel160, 0.7, at, patch, force)
		b.Run(fmt.Sprintf("CalculiX-%gmm", at[1]), func(b *testing.B) {
			for b.Loop() {
				_, steps, seconds := peer.CalculiX(b, text)
				perStep(b, seconds, steps, 3*strings.Count(text[:strings.Index(text, "*ELEMENT")], "\n"))
			}
		})
	}
}

func perStep(b *testing.B, seconds float64, steps, unknowns int) {
	b.ReportMetric(1000*seconds/float64(steps), "ms/step")
	b.ReportMetric(float64(steps), "steps")
	b.ReportMetric(float64(unknowns), "unknowns")
}
