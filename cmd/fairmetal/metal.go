package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"fairmetal/metal"
	"fairmetal/sheet"
)

type metalCmd struct {
	Material  string    `help:"Sheet: steel, aluminium, or a grade such as DC04, HX220BD, 6016. Left out: steel, or that of the capture."`
	Yield     float64   `help:"Yield stress in MPa; left out: the material's own."`
	Thickness float64   `help:"Sheet thickness in mm; left out: 0.7, or that of the capture."`
	TipRadius float64   `help:"Radius of the tip's round end in mm." default:"5"`
	Support   float64   `help:"Side in mm of the square field at whose edge the skin is held." default:"300"`
	Curvature float64   `name:"curvature-radius" help:"Radius of the crown in mm; 0: flat." default:"0"`
	Force     []float64 `help:"Forces at the tip in N, positive from behind, negative from the front." default:"60,80,100,120,160,200,240,300"`
	Plot      string    `help:"File for the picture of set and shape: .svg, or .txt for plain characters; with --influence a map, .png."`
	Influence string    `help:"Result folder of fairmetal measure: tell which mark disturbs which when it is raised, and what each asks for." type:"existingdir"`
	Mark      string    `help:"With --influence and --plot FILE.png: the mark that is raised on the map; left out: the deepest."`
	Tab       []float64 `help:"With --influence: length and width of the glue tab in mm." default:"25,25"`
	Skin      float64   `help:"With --influence: temperature of the skin in C." default:"20"`
	Film      float64   `help:"With --influence: measured paint thickness in um."`
	Materials string    `help:"File with your own materials (docs/method/metal.md); they stand before the built-in ones." type:"existingfile"`
	Felt      []string  `help:"Hits that you measured, as FORCE:SET in N and um with this tip, several by commas: the sheet is taken as hard as they say." placeholder:"120:35"`
	JSON      bool      `name:"json" help:"Print JSON."`
}

// feltSigmaUM is how well a set is measured between two captures.
const feltSigmaUM = 3.0

// felt reads the hits of --felt.
func (c *metalCmd) felt() ([]metal.Trial, error) {
	var out []metal.Trial
	for _, text := range c.Felt {
		force, set, ok := strings.Cut(text, ":")
		f, err1 := strconv.ParseFloat(force, 64)
		um, err2 := strconv.ParseFloat(set, 64)
		if !ok || err1 != nil || err2 != nil {
			return nil, fmt.Errorf("%q is no hit; write its force in N and what it left in um, such as 120:35", text)
		}
		out = append(out, metal.Trial{ForceN: f, FoundUM: um, SigmaUM: feltSigmaUM, Tip: metal.Tip{RadiusMM: c.TipRadius}})
	}
	return out, nil
}

// material finds the sheet's material, the technician's own first.
func (c *metalCmd) material() (metal.Material, error) {
	if c.Materials == "" {
		return metal.Lookup(c.Material)
	}
	data, err := os.ReadFile(c.Materials)
	if err != nil {
		return metal.Material{}, err
	}
	own, err := metal.ParseLibrary(data)
	if err != nil {
		return metal.Material{}, err
	}
	return own.Lookup(c.Material)
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

// Run works the hits out, each from virgin metal; or tells which mark of a measured panel disturbs which.
func (c *metalCmd) Run(s streams) error {
	if c.Influence != "" {
		return c.neighbours(s)
	}
	m, err := c.material()
	if err != nil {
		return refused("material", err)
	}
	if c.Yield != 0 {
		m = m.WithYield(c.Yield)
	}
	if c.Thickness == 0 {
		c.Thickness = 0.7
	}
	if err := c.check(m); err != nil {
		return refused("metal", err)
	}
	panel := metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: c.Thickness}, RadiusMM: c.Curvature}
	trials, err := c.felt()
	if err != nil {
		return refused("felt", err)
	}
	if len(trials) > 0 {
		found, err := panel.Calibrate(trials)
		if err != nil {
			return refused("felt", err)
		}
		panel = found.Apply(panel)
		if !c.JSON {
			fmt.Fprintf(s.Out, "by the hits that you felt the sheet yields at %.0f +- %.0f MPa, %.2f times what was thought\n", found.YieldMPa, found.SigmaMPa, found.Feels)
		}
	}
	hits, way, err := c.hits(panel)
	if err != nil {
		return refused("metal", err)
	}
	if c.Plot != "" {
		if err := c.plot(panel, hits); err != nil {
			return err
		}
	}
	if c.JSON {
		rows := []metalRow{}
		for _, h := range hits {
			rows = append(rows, metalRow{h.ForceN, h.LoadedMM, h.SetUM, h.HalfWidthMM, h.RimUM, h.StrainPct})
		}
		return printJSON(s.Out, struct {
			Rows []metalRow `json:"rows"`
		}{rows})
	}
	c.table(s.Out, panel, hits, way)
	fmt.Fprintln(s.Out)
	bars(s.Out, hits)
	return nil
}

// hits keeps the order of the forces asked for.
func (c *metalCmd) hits(panel metal.Panel) ([]sheet.Hit, metal.Way, error) {
	out := make([]sheet.Hit, len(c.Force))
	way := metal.BySquare
	for _, sign := range []float64{1, -1} {
		var forces []float64
		var at []int
		for i, f := range c.Force {
			if f*sign > 0 {
				forces, at = append(forces, f), append(at, i)
			}
		}
		if len(forces) == 0 {
			continue
		}
		hits, w, err := panel.Square(c.Support, c.TipRadius, forces)
		if err != nil {
			return nil, w, err
		}
		if w != metal.BySquare {
			way = w
		}
		for k, h := range hits {
			out[at[k]] = h
		}
	}
	return out, way, nil
}

func (c *metalCmd) title(p metal.Panel) string {
	crown := "flat"
	if c.Curvature != 0 {
		crown = fmt.Sprintf("crown of %g mm", c.Curvature)
	}
	return fmt.Sprintf("%s, %.0f MPa, %g mm, %s, held %g mm apart; tip of %g mm", p.Name, p.YieldMPa, c.Thickness, crown, c.Support, c.TipRadius)
}

// table prints the hits and what they mean in plain words.
func (c *metalCmd) table(out io.Writer, p metal.Panel, hits []sheet.Hit, way metal.Way) {
	fmt.Fprintln(out, c.title(p))
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "force N\tunder load mm\tfalls back mm\tstays um\thalf width mm\trim um\tpaint strain %\t")
	for _, h := range hits {
		fmt.Fprintf(w, "%.0f\t%.2f\t%.2f\t%.0f\t%.1f\t%.0f\t%.1f\t\n", h.ForceN, h.LoadedMM, h.LoadedMM-h.SetUM/1000, h.SetUM, h.HalfWidthMM, h.RimUM, h.StrainPct)
	}
	w.Flush()
	fmt.Fprintln(out, "\nunder load: how far the tip moves the metal. stays: the height left after letting go. half width: how far from the tip half of it is left.")
	fmt.Fprintln(out, "rim: how far the metal beside it goes the other way. Work to the height under load, not to the force.")
	first, gentle := 0.0, 0.0
	for _, h := range hits {
		if math.Abs(h.SetUM) >= 10 && (first == 0 || math.Abs(h.ForceN) < first) {
			first = math.Abs(h.ForceN)
		}
		if h.StrainPct <= (metal.Film{}).CapabilityPct(20) {
			gentle = math.Max(gentle, math.Abs(h.ForceN))
		}
	}
	if first > 0 {
		fmt.Fprintf(out, "Of these forces %.0f N is the first to leave 10 um or more; below %.0f N next to nothing stays.\n", first, 0.8*p.ForceUnit())
	} else {
		fmt.Fprintf(out, "None of these forces leaves 10 um; this sheet wants more than %.0f N.\n", 0.8*p.ForceUnit())
	}
	if gentle > 0 {
		fmt.Fprintf(out, "Paint of usual thickness bears one hit of up to %.0f N of these at 20 C (common practice); warm it for more.\n", gentle)
	} else {
		fmt.Fprintln(out, "Paint of usual thickness is at risk at 20 C under each of these hits (common practice): warm it, or take a blunter tip.")
	}
	switch way {
	case metal.ByDisc:
		fmt.Fprintln(out, "The heaviest hits found no balance on the square sheet; they are those of the round one of equal stiffness.")
	case metal.ByTable:
		fmt.Fprintln(out, "The heaviest hits found no balance; they are read from the table, where a hard push ends it: take them as rough.")
	}
}

func bars(out io.Writer, hits []sheet.Hit) {
	most := 1.0
	for _, h := range hits {
		most = max(most, math.Abs(h.SetUM))
	}
	for _, h := range hits {
		fmt.Fprintf(out, "%6.0f N |%s\n", h.ForceN, strings.Repeat("#", int(math.Round(50*math.Abs(h.SetUM)/most))))
	}
}

// plot writes the picture.
func (c *metalCmd) plot(p metal.Panel, hits []sheet.Hit) error {
	var b strings.Builder
	switch filepath.Ext(c.Plot) {
	case ".svg":
		hitsSVG(&b, c.title(p), hits)
	case ".txt":
		fmt.Fprintln(&b, c.title(p))
		bars(&b, hits)
	default:
		return refused("plot", fmt.Errorf("%s is neither .svg nor .txt; name the picture so", c.Plot))
	}
	if err := os.WriteFile(c.Plot, []byte(b.String()), 0o644); err != nil {
		return fmt.Errorf("%s cannot be written (%w); choose another place", c.Plot, err)
	}
	return nil
}
