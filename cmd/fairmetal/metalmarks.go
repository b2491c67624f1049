package main

import (
	"cmp"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"text/tabwriter"

	"fairmetal/inspection"
	"fairmetal/mark"
	"fairmetal/metal"
	"fairmetal/offer"
)

// disturbance is what raising one mark level does to another.
type disturbance struct {
	Raised     string  `json:"raised"`
	Changed    string  `json:"changed"`
	DistanceMM float64 `json:"distance_mm"`
	Pct        float64 `json:"pct"`       // change for each 100 um
	ChangeUM   float64 `json:"change_um"` // when the mark is brought level
}

// demand is what one mark asks of metal, glue and paint.
type demand struct {
	Mark      string  `json:"mark"`
	ForceN    float64 `json:"force_n"` // one push from behind that would level it on virgin metal; 0: more than one
	LoadedUM  float64 `json:"loaded_um"`
	Pull      string  `json:"pull"`
	ExcessMM2 float64 `json:"excess_mm2"`
	Metal     string  `json:"metal"`
	Drums     string  `json:"drums"`
	WarmToC   float64 `json:"warm_to_c"`
	Paint     string  `json:"paint"`
}

// neighbours tells who disturbs whom, by more than 1 %, and what each mark asks for.
func (c *metalCmd) neighbours(s streams) error {
	r, err := inspection.Load(os.DirFS(c.Influence))
	if err != nil {
		return refused("result", err)
	}
	panel, err := offer.Facts{Material: c.Material, YieldMPa: c.Yield, ThicknessMM: c.Thickness, SupportMM: c.Support / 2}.Panel(r)
	if err != nil {
		return refused("metal", err)
	}
	if len(c.Tab) != 2 {
		return refused("tab", errors.New("give a tab as length,width in mm"))
	}
	list := []disturbance{}
	demands := []demand{}
	if len(r.Marks) > 0 {
		n, err := neighbourhood(panel, r)
		if err != nil {
			return refused("influence", err)
		}
		list = disturbances(r.Marks, n.Influence())
		if c.Plot != "" {
			if err := c.drawMap(n, r); err != nil {
				return err
			}
		}
		for _, m := range r.Marks {
			demands = append(demands, c.demand(panel, r, m))
		}
	}
	if c.JSON {
		return printJSON(s.Out, struct {
			Influences []disturbance `json:"influences"`
			Marks      []demand      `json:"marks"`
		}{list, demands})
	}
	printDisturbances(s.Out, list)
	for _, d := range demands {
		fmt.Fprintf(s.Out, "\n%s:\n", d.Mark)
		if d.ForceN > 0 {
			fmt.Fprintf(s.Out, "  push: %.0f N in one go, to %.2f mm over where it stood under the tip\n", d.ForceN, d.LoadedUM/1000)
		}
		for _, words := range []string{d.Pull, d.Metal, d.Drums, d.Paint} {
			if words != "" {
				fmt.Fprintln(s.Out, "  "+words)
			}
		}
	}
	return nil
}

func neighbourhood(panel metal.Panel, r *inspection.Stored) (*metal.Neighbourhood, error) {
	var places [][2]float64
	for _, m := range r.Marks {
		places = append(places, m.DeepestMM)
	}
	return panel.Neighbourhood(places, metal.Crown{KxPerMM: curvature(r.Form.RXMM), KyPerMM: curvature(r.Form.RYMM), KxyPerMM: -r.Form.TwistPerMM})
}

// curvature of a radius; 0 and infinite stand for flat.
func curvature(radiusMM float64) float64 {
	if radiusMM == 0 || math.IsInf(radiusMM, 0) {
		return 0
	}
	return 1 / radiusMM
}

func disturbances(marks []mark.Mark, influence [][]float64) []disturbance {
	list := []disturbance{}
	for j, raised := range marks {
		for i, m := range marks {
			if v := influence[i][j]; i != j && math.Abs(v) >= 0.01 {
				far := math.Hypot(m.DeepestMM[0]-raised.DeepestMM[0], m.DeepestMM[1]-raised.DeepestMM[1])
				lift := raised.DepthUM
				if raised.Kind == mark.High {
					lift = -lift
				}
				list = append(list, disturbance{raised.ID, m.ID, far, 100 * v, v * lift})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b disturbance) int { return cmp.Compare(math.Abs(b.ChangeUM), math.Abs(a.ChangeUM)) })
	return list
}

func printDisturbances(out io.Writer, list []disturbance) {
	if len(list) == 0 {
		fmt.Fprintln(out, "No mark moves another by more than 1 % of what it is moved itself.")
		return
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "working\tmoves\tdistance mm\tof 100 um\tlevel: um\t\t")
	for _, d := range list {
		word := "comes along"
		if d.Pct < 0 {
			word = "goes the other way"
		}
		fmt.Fprintf(w, "%s\t%s\t%.0f\t%+.1f\t%+.0f\t%s\t\n", d.Raised, d.Changed, d.DistanceMM, d.Pct, d.ChangeUM, word)
	}
	w.Flush()
	fmt.Fprintln(out, "of 100 um: what the second mark changes for each 100 um that stay at the first. level: the same once the first is level.")
}

// demand works one mark out. Where something cannot be said the words tell why.
func (c *metalCmd) demand(panel metal.Panel, r *inspection.Stored, m mark.Mark) demand {
	d := demand{Mark: m.ID}
	tip := metal.Tip{RadiusMM: c.TipRadius}
	if m.Kind != mark.High {
		if f, err := panel.ForceFor(m.DepthUM, tip); err == nil {
			d.ForceN = f
			d.LoadedUM, _ = panel.LoadedUM(m.DepthUM, tip)
		}
		if glue, err := metal.GlueNamed(""); err == nil {
			// A bell that is a tenth deep at the outline is half deep at 0.55 of its radius.
			low := metal.Low{DepthUM: m.DepthUM, HalfRadiusMM: math.Max(0.5, 0.55*m.WidthMM/2)}
			pull, err := panel.Pull(low, metal.Tab{LengthMM: c.Tab[0], WidthMM: c.Tab[1]}, glue, c.Skin)
			switch {
			case err != nil:
				d.Pull = "pull: " + err.Error()
			case pull.Pays:
				d.Pull = "pull: " + pull.Why
			default:
				d.Pull = "pull does not pay: " + pull.Why
			}
		}
	}
	if e, err := relief(r, m).Excess(); err == nil {
		d.ExcessMM2 = e.AreaMM2
		d.Metal = fmt.Sprintf("metal: %.2f +- %.2f mm2 too much, %s", e.AreaMM2, e.SigmaMM2, e.Verdict)
		if drum, err := panel.Drum(e.AreaMM2); err == nil && drum.Risk != metal.DrumNone {
			d.Drums = fmt.Sprintf("drumming %s: %s", drum.Risk, drum.Why)
		}
	}
	film := metal.Film{ThicknessUM: c.Film}
	warm, err := film.Warm(panel.FilmStrainPct(m.DepthUM, tip, film), c.Skin)
	switch d.WarmToC = warm.ToC; {
	case err != nil:
		d.Paint = "paint: " + err.Error() + " (common practice)"
	case warm.WarmNeeded:
		d.Paint = fmt.Sprintf("paint: warm the skin to %.0f C, never over %.0f C: one hit bends it by %.1f %% (common practice)", warm.ToC, warm.MaxC, warm.StrainPct)
	default:
		d.Paint = fmt.Sprintf("paint: one hit bends it by %.1f %%, it stands %.1f %% at %.0f C (common practice)", warm.StrainPct, warm.StandsPct, c.Skin)
	}
	return d
}

// slopeSigma is the noise of a measured slope, rad: docs/accuracy.md.
const slopeSigma = 1e-4

// relief is the height grid about a mark.
func relief(r *inspection.Stored, m mark.Mark) metal.Relief {
	reach := math.Max(m.LengthMM, 10)
	step := max(1, int(math.Round(1/r.Grid.PitchMM)))
	g := metal.Relief{PitchMM: float64(step) * r.Grid.PitchMM, CrownPerMM: curvature(r.Form.RXMM) + curvature(r.Form.RYMM), SlopeSigma: slopeSigma, FormSigmaUM: 2}
	c0, r0 := r.Grid.Cell(m.XMM-reach, m.YMM-reach)
	c1, r1 := r.Grid.Cell(m.XMM+reach, m.YMM+reach)
	for row := max(0, int(r0)); row < min(r.Grid.Rows, int(r1)); row += step {
		g.NY++
		g.NX = 0
		for col := max(0, int(c0)); col < min(r.Grid.Cols, int(c1)); col += step {
			g.NX++
			g.ZUM = append(g.ZUM, 1000*float64(r.Surface.Height[row*r.Grid.Cols+col]))
		}
	}
	return g
}

// drawMap paints what raising one mark changes over the measured grid: red comes along, blue goes the other way, full colour at 30 % and
// more; the marks' outlines in black.
func (c *metalCmd) drawMap(n *metal.Neighbourhood, r *inspection.Stored) error {
	if filepath.Ext(c.Plot) != ".png" {
		return refused("plot", fmt.Errorf("%s is not .png; a map is a picture of dots, name it so", c.Plot))
	}
	j := 0
	for i, m := range r.Marks {
		if c.Mark == m.ID {
			j = i
			break
		}
		if c.Mark == "" && m.DepthUM > r.Marks[j].DepthUM {
			j = i
		}
		if c.Mark != "" && i == len(r.Marks)-1 {
			return refused("mark", fmt.Errorf("there is no mark %s here; the table names them", c.Mark))
		}
	}
	g := r.Grid
	z := n.Map(j, g.X0MM, g.Y0MM, g.PitchMM, g.Cols, g.Rows)
	const full = 0.3
	img := image.NewRGBA(image.Rect(0, 0, g.Cols, g.Rows))
	for i, v := range z.Z {
		fade := uint8(255 * (1 - math.Min(1, math.Abs(v)/full)))
		dot := color.RGBA{255, fade, fade, 255}
		if v < 0 {
			dot = color.RGBA{fade, fade, 255, 255}
		}
		img.SetRGBA(i%g.Cols, g.Rows-1-i/g.Cols, dot)
	}
	for _, m := range r.Marks {
		for k, a := range m.OutlineMM {
			b := m.OutlineMM[(k+1)%len(m.OutlineMM)]
			steps := 1 + int(2*math.Hypot(b[0]-a[0], b[1]-a[1])/g.PitchMM)
			for s := range steps {
				t := float64(s) / float64(steps)
				col, row := g.Cell(a[0]+t*(b[0]-a[0]), a[1]+t*(b[1]-a[1]))
				img.SetRGBA(int(col), g.Rows-1-int(row), color.RGBA{0, 0, 0, 255})
			}
		}
	}
	f, err := os.Create(c.Plot)
	if err != nil {
		return fmt.Errorf("%s cannot be written (%w); choose another place", c.Plot, err)
	}
	return errors.Join(png.Encode(f, img), f.Close())
}
