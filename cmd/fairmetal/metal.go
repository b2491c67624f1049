package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"fairmetal/metal"
	"fairmetal/sheet"
)

type metalCmd struct {
	Material  string    `help:"Sheet: steel, aluminium, or a grade such as DC04, HX220BD, 6016." default:"steel"`
	Yield     float64   `help:"Yield stress in MPa; left out: the material's own."`
	Thickness float64   `help:"Sheet thickness in mm." default:"0.7"`
	TipRadius float64   `help:"Radius of the tip's round end in mm." default:"5"`
	Support   float64   `help:"Side in mm of the square field at whose edge the skin is held." default:"300"`
	Curvature float64   `name:"curvature-radius" help:"Radius of the crown in mm; 0: flat." default:"0"`
	Force     []float64 `help:"Forces at the tip in N, positive from behind, negative from the front." default:"60,80,100,120,160,200,240,300"`
	JSON      bool      `name:"json" help:"Print JSON."`
}

// metalRow is one force: the fixed form that outside checks read.
type metalRow struct {
	ForceN      float64 `json:"force_n"`
	Deflection  float64 `json:"deflection_mm"` // under load
	SetUM       float64 `json:"set_um"`
	HalfWidthMM float64 `json:"half_width_mm"`
	RimUM       float64 `json:"rim_um"`
	StrainPct   float64 `json:"strain_pct"` // of the painted face, under load
}

// check bounds what the solver is asked.
func (c *metalCmd) check(m metal.Material) error {
	within := func(v, lo, hi float64) bool { return v >= lo && v <= hi }
	switch {
	case !within(c.Thickness, 0.3, 3):
		return fmt.Errorf("a sheet of %g mm is out of 0.3 to 3 mm; door skins have about 0.7", c.Thickness)
	case !within(c.TipRadius, 0.5, 100):
		return fmt.Errorf("a tip radius of %g mm is out of 0.5 to 100 mm", c.TipRadius)
	case !within(c.Support, 20, 2000):
		return fmt.Errorf("a support of %g mm is out of 20 to 2000 mm", c.Support)
	case c.Curvature != 0 && !within(math.Abs(c.Curvature), 200, 1e7):
		return fmt.Errorf("a crown of %g mm radius is out of 200 mm and more; write 0 for flat", c.Curvature)
	case len(c.Force) == 0 || len(c.Force) > 60:
		return errors.New("give one to 60 forces")
	}
	for _, f := range c.Force {
		if !within(math.Abs(f), 0, 3000) {
			return fmt.Errorf("a force of %g N is out of 3000 N", f)
		}
	}
	return m.Check()
}

// Run works the hits out, each from virgin metal.
func (c *metalCmd) Run(s streams) error {
	m, err := metal.Lookup(c.Material)
	if err != nil {
		return refused("material", err)
	}
	if c.Yield != 0 {
		m = m.WithYield(c.Yield)
	}
	if err := c.check(m); err != nil {
		return refused("metal", err)
	}
	rows, err := c.rows(m)
	if err != nil {
		return refused("metal", err)
	}
	if c.JSON {
		return printJSON(s.Out, struct {
			Rows []metalRow `json:"rows"`
		}{rows})
	}
	crown := "flat"
	if c.Curvature != 0 {
		crown = fmt.Sprintf("crown of %g mm", c.Curvature)
	}
	fmt.Fprintf(s.Out, "%s, %.0f MPa, %g mm, %s, held %g mm apart; tip of %g mm\n", m.Name, m.YieldMPa, c.Thickness, crown, c.Support, c.TipRadius)
	w := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "force N\tunder load mm\tstays um\thalf width mm\trim um\tpaint strain %\t")
	most := 1.0
	for _, r := range rows {
		most = max(most, math.Abs(r.SetUM))
		fmt.Fprintf(w, "%.0f\t%.2f\t%.0f\t%.1f\t%.0f\t%.1f\t\n", r.ForceN, r.Deflection, r.SetUM, r.HalfWidthMM, r.RimUM, r.StrainPct)
	}
	w.Flush()
	fmt.Fprintln(s.Out)
	for _, r := range rows {
		fmt.Fprintf(s.Out, "%6.0f N |%s\n", r.ForceN, strings.Repeat("#", int(math.Round(50*math.Abs(r.SetUM)/most))))
	}
	return nil
}

// rows keeps the order of the forces asked for; pushes and dents are worked out from the lightest up.
func (c *metalCmd) rows(m metal.Material) ([]metalRow, error) {
	panel := metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: c.Thickness}, RadiusMM: c.Curvature, SupportMM: sheet.EquivalentRadius(c.Support)}
	found := map[float64]metalRow{0: {}}
	for _, sign := range []float64{1, -1} {
		var forces []float64
		for _, f := range c.Force {
			if f*sign > 0 && !slices.Contains(forces, f) {
				forces = append(forces, f)
			}
		}
		slices.SortFunc(forces, func(a, b float64) int { return int(math.Copysign(1, math.Abs(a)-math.Abs(b))) })
		if len(forces) == 0 {
			continue
		}
		hits, err := sheet.Pushes(panel.Disc(), sheet.Tip{BallMM: c.TipRadius}, forces)
		if err != nil {
			return nil, err
		}
		for _, h := range hits {
			found[h.ForceN] = metalRow{h.ForceN, h.LoadedMM, h.SetUM, h.HalfWidthMM, h.RimUM, h.StrainPct}
		}
	}
	rows := make([]metalRow, 0, len(c.Force))
	for _, f := range c.Force {
		rows = append(rows, found[f])
	}
	return rows, nil
}
