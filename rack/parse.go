package rack

import (
	"fmt"
	"math"

	"fairmetal/internal/strict"
)

const maxBytes = 1 << 20

// maxTools bounds a list: a rack is not longer than a wall.
const maxTools = 500

// Parse reads a rack and checks its numbers.
func Parse(data []byte) (Rack, error) {
	var r Rack
	if err := file("rack", "tools").Decode(data, &r); err != nil {
		return Rack{}, err
	}
	if err := r.check(); err != nil {
		return Rack{}, err
	}
	return r, nil
}

// file is a list of the workshop's own, such as its rack.
func file(what, holds string) strict.File {
	return strict.File{What: what + " file", Holds: "list " + holds, Mend: "correct it or start from the default", MaxBytes: maxBytes}
}

func within(v, lo, hi float64) bool { return !math.IsNaN(v) && v >= lo && v <= hi }

func (h Hardness) ok() bool { return h == "" || h == Steel || h == Plastic || h == Rubber }

func (r Rack) check() error {
	if r.Format != 1 {
		return fmt.Errorf("the rack file has format %d; write \"format\": 1", r.Format)
	}
	if n := max(len(r.Tips), len(r.Bars), len(r.Tabs), len(r.Taps), len(r.Pullers), len(r.Glues), len(r.Lights)); n > maxTools {
		return fmt.Errorf("the rack lists %d tools of one sort; list at most %d", n, maxTools)
	}
	seen := map[string]bool{}
	name := func(sort, n string) error {
		switch {
		case n == "" || len(n) > 200:
			return fmt.Errorf("a %s has no name or one of over 200 letters; give each tool a short name", sort)
		case seen[sort+n]:
			return fmt.Errorf("two of the kind %s are called %q; give each its own name", sort, n)
		}
		seen[sort+n] = true
		return nil
	}
	for _, t := range r.Tips {
		if err := name("tip", t.Name); err != nil {
			return err
		}
		if !within(t.RadiusMM, 0.2, 100) {
			return fmt.Errorf("tip %q has a radius of %g mm; give 0.2 to 100 mm", t.Name, t.RadiusMM)
		}
		if !t.Hardness.ok() {
			return fmt.Errorf("tip %q has hardness %q; write steel, plastic or rubber", t.Name, t.Hardness)
		}
	}
	for _, b := range r.Bars {
		if err := name("bar", b.Name); err != nil {
			return err
		}
		if !within(b.LengthMM, 20, 3000) || !within(b.ReachMM, 0, b.LengthMM) || !within(b.FulcrumMM, 0, b.LengthMM/1.2) || !within(b.GapMM, 0, 500) {
			return fmt.Errorf("bar %q is not possible; give length 20 to 3000 mm, a reach within it, a fulcrum nearer to the tip than to the hand or 0, a gap of at most 500 mm", b.Name)
		}
		for _, t := range b.Tips {
			if !seen["tip"+t] {
				return fmt.Errorf("bar %q takes the tip %q, which is not in the rack; add the tip or correct the name", b.Name, t)
			}
		}
	}
	for _, t := range r.Tabs {
		if err := name("tab", t.Name); err != nil {
			return err
		}
		if !within(t.LengthMM, 2, 200) || !within(t.WidthMM, 2, 200) {
			return fmt.Errorf("tab %q of %g x %g mm is not possible; give 2 to 200 mm", t.Name, t.LengthMM, t.WidthMM)
		}
	}
	for _, t := range r.Taps {
		if err := name("knock-down", t.Name); err != nil {
			return err
		}
		if !within(t.RadiusMM, 0.2, 100) || !t.Hardness.ok() {
			return fmt.Errorf("knock-down %q has a radius of %g mm and hardness %q; give 0.2 to 100 mm, and steel, plastic or rubber", t.Name, t.RadiusMM, t.Hardness)
		}
	}
	for _, p := range r.Pullers {
		if err := name("puller", p.Name); err != nil {
			return err
		}
		if !within(p.MaxN, 10, 20000) {
			return fmt.Errorf("puller %q draws %g N; give 10 to 20000 N", p.Name, p.MaxN)
		}
	}
	for _, g := range r.Glues {
		if err := name("glue", g.Name); err != nil {
			return err
		}
		if !within(g.FromC, -30, 90) || !within(g.ToC, g.FromC, 90) || !within(g.Strength, 0.1, 5) || !within(g.WaitS, 0, 1800) {
			return fmt.Errorf("glue %q holds from %g to %g C with strength %g after %g s; give temperatures of -30 to 90 C, the lower first, a strength of 0.1 to 5 times general glue and a wait of at most 1800 s", g.Name, g.FromC, g.ToC, g.Strength, g.WaitS)
		}
	}
	for _, l := range r.Lights {
		if err := name("light", l.Name); err != nil {
			return err
		}
		if !within(l.WidthMM, 10, 5000) || !within(l.HeightMM, 10, 5000) || !within(l.PitchMM, 0.5, 500) {
			return fmt.Errorf("light %q of %g x %g mm with a pitch of %g mm is not possible", l.Name, l.WidthMM, l.HeightMM, l.PitchMM)
		}
	}
	if len(r.Tips)+len(r.Tabs) == 0 {
		return fmt.Errorf("the rack holds neither tips nor tabs; add what you work with")
	}
	return nil
}
