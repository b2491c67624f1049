package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"text/tabwriter"
	"time"

	"fairmetal/capture"
	"fairmetal/inspection"
	"fairmetal/mark"
	"fairmetal/score"
	"fairmetal/surface"
)

type scoreCmd struct {
	Scenes string `arg:"" help:"Folder of scenes, each a capture with truth/, or with expected.json for bad ones." type:"existingdir"`
	Set    string `help:"Which set of each scene: shifted, sweep or single; all of them when left out." enum:"shifted,sweep,single," default:""`
	Marks  bool   `help:"Also print a row for each mark."`
	JSON   bool   `name:"json" help:"Print JSON."`
}

// scored is one row of the table.
type scored struct {
	Scene     string        `json:"scene"`
	Set       string        `json:"set"`
	Seconds   float64       `json:"seconds"`
	RMSUM     float64       `json:"rms_um"`
	SoundUM   float64       `json:"undamaged_rms_um"`
	DepthPct  float64       `json:"worst_depth_pct"` // of marks of 50 um or more
	DepthUM   float64       `json:"worst_depth_um"`  // of shallower ones
	PlaceMM   float64       `json:"worst_place_mm"`
	SizePct   float64       `json:"worst_size_pct"`
	KindRight int           `json:"kind_right"`
	Found     int           `json:"found"`
	Marks     int           `json:"marks"`
	Missed    int           `json:"missed"`
	False     int           `json:"false"`
	Covered   float64       `json:"covered"`
	Within2   float64       `json:"within_2_sigma"`
	Folded    int           `json:"folded_areas"`
	Folding   int           `json:"folding_marks"` // that fold the reflection, by truth
	Silent    int           `json:"silent_marks"`  // of those, neither measured right nor reported as folded
	Error     string        `json:"error,omitempty"`
	Expected  string        `json:"expected,omitempty"`
	Notices   []string      `json:"notices,omitempty"`
	report    *score.Report `json:"-"`
	silent    map[string]bool
	panel     string
	truth     *score.Truth
	surface   *surface.Surface
}

// Run scores every scene below the folder.
func (c *scoreCmd) Run(ctx context.Context, s streams) error {
	// A link is followed, which WalkDir does not do for its root.
	root, err := filepath.EvalSymlinks(c.Scenes)
	if err != nil {
		return fmt.Errorf("the folder %s cannot be read (%w); give a folder that holds scenes", c.Scenes, err)
	}
	c.Scenes = root
	var dirs []string
	err = filepath.WalkDir(c.Scenes, func(p string, d fs.DirEntry, err error) error {
		if err == nil && d.Name() == "capture.json" {
			dirs = append(dirs, filepath.Dir(p))
		}
		return err
	})
	if err != nil {
		return err
	}
	sort.Strings(dirs)
	if len(dirs) == 0 {
		return fmt.Errorf("no captures below %s; give a folder that holds scenes", c.Scenes)
	}
	var all []scored
	for _, dir := range dirs {
		rows, err := c.scene(ctx, dir)
		if err != nil {
			return err
		}
		all = append(all, rows...)
	}
	if c.JSON {
		return printJSON(s.Out, all)
	}
	c.table(s, all)
	repeats(s, all)
	return nil
}

// repeats tells how far scenes of one panel agree.
func repeats(s streams, all []scored) {
	t := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	head := "one panel\tagain\tset\trms um\tcm2\tmarks\tdepth %%\t\n"
	for i, a := range all {
		for _, b := range all[i+1:] {
			if a.panel == "" || a.panel != b.panel || a.Set != b.Set {
				continue
			}
			if r, ok := score.Again(a.truth, b.truth, a.surface, b.surface, a.report.Pairs, b.report.Pairs); ok {
				fmt.Fprintf(t, head+"%s\t%s\t%s\t%.2f\t%.0f\t%d\t%.1f\t\n", a.Scene, b.Scene, a.Set, r.RMSUM, r.CM2, r.Marks, r.DepthPct)
				head = ""
			}
		}
	}
	if head == "" {
		fmt.Fprintln(s.Out)
	}
	t.Flush()
}

// scene measures each set of one scene alone.
func (c *scoreCmd) scene(ctx context.Context, dir string) ([]scored, error) {
	name, err := filepath.Rel(c.Scenes, dir)
	if err != nil {
		name = dir
	}
	folder := os.DirFS(dir)
	if _, err := fs.Stat(folder, "expected.json"); err == nil {
		return []scored{bad(ctx, folder, name)}, nil
	}
	truth, err := score.ReadTruth(folder)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	cp, err := capture.ReadDir(folder)
	if err != nil {
		return []scored{{Scene: name, Error: err.Error()}}, nil
	}
	var out []scored
	for _, set := range cp.Sets {
		if c.Set != "" && c.Set != set.Kind {
			continue
		}
		one := cp
		one.Sets = []capture.Set{set}
		row := scored{Scene: name, Set: set.Kind}
		start := time.Now()
		res, err := inspection.RunCapture(ctx, folder, one, nil)
		if err == nil {
			_, err = res.Files()
		}
		row.Seconds = time.Since(start).Seconds()
		if err != nil {
			row.Error = err.Error()
			out = append(out, row)
			continue
		}
		row.fill(res, truth)
		row.panel, row.truth, row.surface = cp.Panel.Name, truth, res.Surface
		out = append(out, row)
	}
	return out, nil
}

// bad runs a scene that should be refused or warned about.
func bad(ctx context.Context, folder fs.FS, name string) scored {
	row := scored{Scene: name}
	if data, err := fs.ReadFile(folder, "expected.json"); err == nil {
		var e struct {
			Expect string `json:"expect"`
		}
		if json.Unmarshal(data, &e) == nil {
			row.Expected = e.Expect
		}
	}
	start := time.Now()
	res, err := inspection.Run(ctx, folder, nil)
	row.Seconds = time.Since(start).Seconds()
	if err != nil {
		row.Error = err.Error()
		var r *inspection.Refusal
		if !errors.As(err, &r) {
			row.Error = "NOT A REFUSAL: " + row.Error
		}
		return row
	}
	row.Set, row.Marks = res.SetKind, len(res.Marks)
	for _, n := range res.Notices {
		row.Notices = append(row.Notices, n.String())
	}
	if len(res.Marks) > 0 {
		row.DepthUM = res.Marks[0].DepthUM
	}
	return row
}

func (r *scored) fill(res *inspection.Result, truth *score.Truth) {
	rep := score.Compare(truth, res.Surface, res.Marks)
	r.report = &rep
	r.RMSUM, r.SoundUM = rep.RMSUM, rep.UndamagedRMSUM
	r.Found, r.Marks, r.False = len(rep.Pairs), len(truth.Marks), len(rep.False)
	for _, m := range rep.Missed {
		if r.Set != capture.Single || !m.Folds() {
			r.Missed++
		}
	}
	r.Covered, r.Within2 = rep.CoveredMarks, rep.Within2Sigma
	for _, a := range res.Areas {
		if a.Kind == "folded" {
			r.Folded++
		}
	}
	for _, p := range rep.Pairs {
		if p.Found.Kind == p.True.Kind {
			r.KindRight++
		}
		if p.Found.Folded || r.Set == capture.Single && p.True.Folds() {
			continue
		}
		if p.True.DepthUM >= 50 {
			r.DepthPct = max(r.DepthPct, 100*math.Abs(p.DepthError()))
		} else {
			r.DepthUM = max(r.DepthUM, math.Abs(p.Found.DepthUM-p.True.DepthUM))
		}
		if p.True.DepthUM >= 15 && p.True.WidthMM >= 6 {
			r.PlaceMM = max(r.PlaceMM, p.PlaceError())
			r.SizePct = max(r.SizePct, 100*math.Abs(p.Found.LengthMM/p.True.LengthMM-1), 100*math.Abs(p.Found.WidthMM/p.True.WidthMM-1))
		}
	}
	if r.Set == capture.Single {
		r.folding(res, truth)
	}
	for _, n := range res.Notices {
		r.Notices = append(r.Notices, n.String())
	}
}

// folding counts the marks that fold the reflection, and those of them of which the result says so neither by a folded place that
// touches them, or another without a value that holds their middle, nor by calling their depth the least it can be, and which are not measured to 10 % (under 50 um to 10 um) either.
func (r *scored) folding(res *inspection.Result, truth *score.Truth) {
	r.silent = map[string]bool{}
	right := map[string]bool{}
	for _, p := range r.report.Pairs {
		off := math.Abs(p.Found.DepthUM - p.True.DepthUM)
		right[p.True.ID] = p.Found.Folded || off <= max(10, 0.1*p.True.DepthUM) && (off <= 0.1*p.True.DepthUM || p.True.DepthUM < 50)
	}
	for _, m := range truth.Marks {
		if !m.Folds() || m.Seen() < 0.5 {
			continue
		}
		r.Folding++
		blind := math.IsNaN(res.Surface.At(m.XMM, m.YMM))
		touched := slices.ContainsFunc(res.Areas, func(a inspection.Area) bool {
			off := math.Hypot(max(0, math.Abs(a.XMM-m.XMM)-a.WidthMM/2), max(0, math.Abs(a.YMM-m.YMM)-a.HeightMM/2))
			return a.Kind == "folded" && off < m.LengthMM/2 || blind && off == 0
		})
		if !touched && !right[m.ID] {
			r.Silent++
			r.silent[m.ID] = true
		}
	}
}

func (c *scoreCmd) table(s streams, all []scored) {
	t := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "scene\tset\trms um\tsound um\tdepth %\tdepth um\tplace mm\tsize %\tkind\tfound\tmissed\tfalse\tcovered\t2 sigma\tfolded\tsilent\ts\t")
	for _, r := range all {
		if r.Expected != "" || r.Error != "" {
			continue
		}
		fmt.Fprintf(t, "%s\t%s\t%.2f\t%.2f\t%.1f\t%.1f\t%.2f\t%.0f\t%d/%d\t%d/%d\t%d\t%d\t%.3f\t%.3f\t%d\t%d/%d\t%.2f\t\n", r.Scene, r.Set, r.RMSUM, r.SoundUM, r.DepthPct, r.DepthUM, r.PlaceMM, r.SizePct,
			r.KindRight, r.Found, r.Found, r.Marks, r.Missed, r.False, r.Covered, r.Within2, r.Folded, r.Silent, r.Folding, r.Seconds)
	}
	t.Flush()
	for _, r := range all {
		if r.Expected != "" || r.Error != "" {
			fmt.Fprintf(s.Out, "\n%s (%.2f s)\n", r.Scene, r.Seconds)
			if r.Expected != "" {
				fmt.Fprintf(s.Out, "  expected: %s\n", r.Expected)
			}
			if r.Error != "" {
				fmt.Fprintf(s.Out, "  refused:  %s\n", r.Error)
			} else {
				fmt.Fprintf(s.Out, "  measured: %d marks, deepest %.0f um\n", r.Marks, r.DepthUM)
			}
			for _, n := range r.Notices {
				fmt.Fprintf(s.Out, "  notice:   %s\n", n)
			}
		}
	}
	if c.Marks {
		c.markTable(s, all)
	}
}

// pace is a mark's least pace in the mark table, with a word where the result says nothing of its fold.
func (r *scored) pace(m score.TrueMark) string {
	switch {
	case m.LeastPace == nil:
		return ""
	case r.silent[m.ID]:
		return fmt.Sprintf("%.2f SILENT", *m.LeastPace)
	}
	return fmt.Sprintf("%.2f", *m.LeastPace)
}

func (c *scoreCmd) markTable(s streams, all []scored) {
	t := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "scene\tset\tmark\tkind\tseen as\tdepth um\tmeasured\terror %\tlength\tmeasured\twidth\tmeasured\tplace mm\tcrown\tmeasured\tpace\t")
	for _, r := range all {
		if r.report == nil {
			continue
		}
		for _, p := range r.report.Pairs {
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%.1f\t%.1f\t%.1f\t%.1f\t%.1f\t%.1f\t%.1f\t%.2f\t%.0f\t%.0f\t%s\t\n", r.Scene, r.Set, p.True.ID, p.True.Kind, p.Found.Kind, p.True.DepthUM, p.Found.DepthUM, 100*p.DepthError(),
				p.True.LengthMM, p.Found.LengthMM, p.True.WidthMM, p.Found.WidthMM, p.PlaceError(), p.True.CrownUM, p.Found.CrownUM, r.pace(p.True))
		}
		for _, m := range r.report.Missed {
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\tMISSED\t%.1f\t\t\t%.1f\t\t%.1f\t\t(%.0f, %.0f)\t\t\t%s\t\n", r.Scene, r.Set, m.ID, m.Kind, m.DepthUM, m.LengthMM, m.WidthMM, m.XMM, m.YMM, r.pace(m))
		}
		for _, m := range r.report.False {
			m := mark.Mark(m)
			fmt.Fprintf(t, "%s\t%s\t%s\tFALSE\t%s\t\t%.1f\t\t\t%.1f\t\t%.1f\t(%.0f, %.0f)\t\t\t\t\n", r.Scene, r.Set, m.ID, m.Kind, m.DepthUM, m.LengthMM, m.WidthMM, m.XMM, m.YMM)
		}
	}
	t.Flush()
}
