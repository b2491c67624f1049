package sheet

import (
	"fmt"
	"math"
	"os"
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
	fmt.Fprintf(&b, "*NSET,NSET=APEX\n%d\n*MATERIAL,NAME=SH\n*ELASTIC\n%g,%g\n*PLASTIC\n", front, d.EMPa, d.Nu)
	flow := d.law()
	for i := range 40 {
		ep := 0.3 * float64(i*i) / (39 * 39)
		y, _ := flow.flow(ep)
		fmt.Fprintf(&b, "%.4f,%.6f\n", y, ep)
	}
	b.WriteString("*SOLID SECTION,ELSET=SHEET,MATERIAL=SH\n*BOUNDARY\nEDGE,1,2\nAXIS,1,1\n")
	for _, p := range []float64{force / area, 0} {
		b.WriteString("*STEP,NLGEOM,INC=500\n*STATIC\n0.1,1.,1e-06,0.25\n*DLOAD\n")
		for _, e := range pressed {
			fmt.Fprintf(&b, "%d,P1,%.6f\n", e, p)
		}
		b.WriteString("*NODE PRINT,NSET=APEX,FREQUENCY=100\nU\n*END STEP\n")
	}
	return b.String(), front, area
}

// TestBesideCalculiX runs the finite-element program afresh on a small push, 30 mm to the rim, and compares height under load (8 %) and
// after (15 %).
func TestBesideCalculiX(t *testing.T) {
	d := Disc{Material: steel160, ThicknessMM: 0.7, SupportMM: 30}
	const disc, force = 2.0, 150.0
	text, front, _ := deck(d, disc, force)
	raw, _, _ := peer.CalculiX(t, text)
	var heights []float64
	for _, line := range strings.Split(raw, "\n") {
		var id int
		var x, y, z float64
		if n, _ := fmt.Sscan(line, &id, &x, &y, &z); n == 4 && id == front {
			heights = append(heights, y)
		}
	}
	if len(heights) < 2 {
		t.Fatalf("no heights in the result:\n%s", raw)
	}
	h, err := Pushes(d, Tip{DiscMM: disc}, []float64{force})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "under load", h[0].LoadedMM, heights[len(heights)-2], 0.08)
	near(t, "set", h[0].SetUM/1000, heights[len(heights)-1], 0.15)
	t.Logf("under load %.3f mm (CalculiX %.3f), set %.3f mm (%.3f)", h[0].LoadedMM, heights[len(heights)-2], h[0].SetUM/1000, heights[len(heights)-1])
}

// BenchmarkLoadStep times one load step (balance found after a change of force) of a square sheet of 300 mm that is pressed with 120 N
// and 240 N from the front and let go, by mesh; the last is the independent program on its deck of the same sheet, in the same run. Times
// are of the processor, all threads together.
func BenchmarkLoadStep(b *testing.B) {
	for _, step := range []float64{2.5, 1.2, 0.6, 0.3} {
		b.Run(fmt.Sprintf("%gmm", step), func(b *testing.B) {
			steps, unknowns, from := 0, 0, peer.Processor()
			for b.Loop() {
				w := start(b, Quarter(steel160, 0.7, 300, 0), Place{FineMM: 5, StepMM: step})
				for _, f := range []float64{-120, -240} {
					hit(b, w, 0, 0, Tip{DiscMM: 10 / math.Sqrt(math.Pi)}, f)
				}
				steps, unknowns = w.Balances, len(w.x)
			}
			perStep(b, (peer.Processor()-from)/float64(b.N), steps)
			b.ReportMetric(float64(unknowns), "unknowns")
		})
	}
	b.Run("CalculiX", func(b *testing.B) {
		deck, err := os.ReadFile("../../shared/reference/cases/c_push_sheet/c3_square_300.inp")
		if err != nil {
			b.Skip("the deck of the reference run is not here: ", err)
		}
		for b.Loop() {
			_, steps, seconds := peer.CalculiX(b, string(deck))
			perStep(b, seconds, steps)
		}
	})
}

func perStep(b *testing.B, seconds float64, steps int) {
	b.ReportMetric(1000*seconds/float64(steps), "ms/step")
	b.ReportMetric(float64(steps), "steps")
}
