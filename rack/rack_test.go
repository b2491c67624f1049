package rack

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
)

func TestChoices(t *testing.T) {
	r := Default()
	if tip, ok := r.TipFor(60); !ok || tip.Name != "soft cap 12 mm" {
		t.Errorf("for a wide low: %+v", tip)
	}
	if tip, _ := r.TipFor(9); tip.RadiusMM > 3 {
		t.Errorf("for a radius of 9 mm: %+v", tip)
	}
	if tip, _ := r.TipFor(0.1); tip.RadiusMM != 1 {
		t.Errorf("for a fold: %+v, want the sharpest", tip)
	}
	if tab, ok := r.TabFor(25, 24); !ok || tab.Name != "round tab 16 mm" {
		t.Errorf("for a low of 25 mm: %+v", tab)
	}
	if tab, _ := r.TabFor(60, 30); tab.Name != "oblong tab 20 x 40 mm" {
		t.Errorf("for a long low: %+v", tab)
	}
	if tap, ok := r.TapFor(4); !ok || tap.RadiusMM > 2 {
		t.Errorf("for a high of 4 mm: %+v", tap)
	}
	if p, ok := r.PullerFor(1000); !ok || p.Name != "slide hammer 1 kg" {
		t.Errorf("for 1000 N: %+v", p)
	}
	if _, ok := (Rack{}).TipFor(10); ok {
		t.Error("a tip from an empty rack")
	}
}

// TestBars: reach, opening, the tip it takes and the force at the hand decide; 160 N at the tip of a lever of 4:1 is 40 N at the hand.
func TestBars(t *testing.T) {
	r := Default()
	for _, c := range []struct {
		reach, gap float64
		tip        string
		force      float64
		want       string
	}{
		{0, 0, "", 160, "short bar 300 mm"},
		{0, 0, "", 20, "hand push 120 mm"},
		{600, 0, "", 160, "long bar 900 mm"},
		{300, 6, "fine tip 2.5 mm", 100, "flat bar 600 mm"},
		{0, 0, "", 900, "long bar 900 mm"}, // none keeps the hand under its limit: the most leverage
	} {
		if b, ok := r.BarFor(c.reach, c.gap, c.tip, c.force); !ok || b.Name != c.want {
			t.Errorf("%g mm deep, gap %g, %q, %g N: %q, want %q", c.reach, c.gap, c.tip, c.force, b.Name, c.want)
		}
	}
	if _, ok := r.BarFor(5000, 0, "", 10); ok {
		t.Error("a bar of 5 m")
	}
	if _, ok := r.BarFor(300, 6, "ball tip 8 mm", 10); ok {
		t.Error("a bar that does not take the tip")
	}
	if l := (Bar{LengthMM: 900, FulcrumMM: 180}).Leverage(); l != 4 {
		t.Errorf("leverage %g of 900 mm propped at 180, want 4", l)
	}
}

func TestGlueByTemperature(t *testing.T) {
	r := Default()
	if g, ok := r.GlueFor(40); !ok || g.Name != "warm-weather glue" {
		t.Errorf("at 40 C: %+v", g)
	}
	if g, ok := r.GlueFor(60); ok {
		t.Errorf("at 60 C %q would hold", g.Name)
	}
}

// TestAccess: a later area lies over an earlier one; no area is open; frame and braces are read.
func TestAccess(t *testing.T) {
	a, err := ParseAccess([]byte(`{"format":1,"areas":[{"name":"all","behind":true,"reach_mm":350},{"name":"brace","outline_mm":[[-10,-10],[10,-10],[10,10],[-10,10]],"behind":false,"why":"intrusion beam"}],
		"frame":{"x0_mm":-200,"y0_mm":-150,"x1_mm":400,"y1_mm":300},"braces":[{"x0_mm":0,"y0_mm":-150,"x1_mm":0,"y1_mm":300}]}`))
	if err != nil {
		t.Fatal(err)
	}
	if a.Frame == nil || a.Frame.X1MM != 400 || len(a.Braces) != 1 || a.Braces[0].Y1MM != 300 {
		t.Errorf("held at %+v, %+v", a.Frame, a.Braces)
	}
	if at := a.At(0, 0); at.Behind || at.Name != "brace" {
		t.Errorf("over the brace: %+v", at)
	}
	if at := a.At(20, 0); !at.Behind || at.ReachMM != 350 {
		t.Errorf("beside it: %+v", at)
	}
	if at := (Access{}).At(0, 0); !at.Behind {
		t.Errorf("no areas: %+v", at)
	}
	if l := (Area{AngleDeg: 60}).Lean(); math.Abs(l-2) > 1e-12 {
		t.Errorf("at 60 degrees a push must be %g times harder, want 2", l)
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ text, says string }{
		{``, "cannot be read"},
		{`{}`, "format"},
		{`{"format":2}`, "format"},
		{`{"format":1}`, "neither tips nor tabs"},
		{`{"format":1,"tips":[{"name":"x","radius_mm":-1}]}`, "radius"},
		{`{"format":1,"tips":[{"name":"","radius_mm":5}]}`, "name"},
		{`{"format":1,"tips":[{"name":"x","radius_mm":5},{"name":"x","radius_mm":6}]}`, "own name"},
		{`{"format":1,"tips":[{"name":"x","radius_mm":5,"hardness":"wood"}]}`, "hardness"},
		{`{"format":1,"tips":[{"name":"x","radius":5}]}`, "unknown field"},
		{`{"format":1,"tips":[{"name":"x","radius_mm":5}]} {}`, "after its end"},
		{`{"format":1,"tips":[{"name":"x","radius_mm":5}],"bars":[{"name":"b","length_mm":300,"reach_mm":400}]}`, "reach"},
		{`{"format":1,"tips":[{"name":"x","radius_mm":5}],"bars":[{"name":"b","length_mm":300,"reach_mm":200,"tips":["y"]}]}`, "not in the rack"},
		{`{"format":1,"tips":[{"name":"x","radius_mm":5}],"glues":[{"name":"g","from_c":40,"to_c":20,"strength":1}]}`, "lower first"},
	} {
		if _, err := Parse([]byte(c.text)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want words on %q", c.text, err, c.says)
		}
	}
	for _, s := range []string{`{"format":1,"areas":[{"name":"","behind":true}]}`, `{"format":1,"areas":[{"name":"x","outline_mm":[[0,0],[1,1]]}]}`, `{"format":1,"areas":[{"name":"x","angle_deg":80}]}`,
		`{"format":1,"frame":{"x0_mm":100,"x1_mm":0,"y0_mm":0,"y1_mm":300}}`, `{"format":1,"braces":[{"x0_mm":20000}]}`} {
		if _, err := ParseAccess([]byte(s)); err == nil {
			t.Errorf("%s was accepted", s)
		}
	}
}

// FuzzParse: what is accepted can be written and read back the same, and every choice is a tool of the rack.
func FuzzParse(f *testing.F) {
	f.Add(defaultJSON)
	f.Add([]byte(`{"format":1,"tabs":[{"name":"x","length_mm":5,"width_mm":5}]}`))
	f.Add([]byte(`{"format":1,"tips":[{"name":"x","radius_mm":1e309}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := Parse(data)
		if err != nil {
			return
		}
		again, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		q, err := Parse(again)
		if err != nil {
			t.Fatalf("written and read back: %v\n%s", err, again)
		}
		if twice, err := json.Marshal(q); err != nil || !bytes.Equal(again, twice) {
			t.Fatalf("written and read back: %v\n%s\n%s", err, again, twice)
		}
		tip, ok := r.TipFor(20)
		if ok != (len(r.Tips) > 0) || ok && !has(r.Tips, func(x Tip) bool { return x == tip }) {
			t.Fatalf("tip %+v, %v", tip, ok)
		}
		if tab, ok := r.TabFor(20, 10); ok && !has(r.Tabs, func(x Tab) bool { return x == tab }) {
			t.Fatalf("tab %+v", tab)
		}
		if b, ok := r.BarFor(100, 20, "", 50); ok && (b.ReachMM < 100 || b.GapMM > 20 || !(b.Leverage() > 0)) {
			t.Fatalf("bar %+v", b)
		}
	})
}

func FuzzParseAccess(f *testing.F) {
	f.Add([]byte(`{"format":1,"areas":[{"name":"all","behind":true,"reach_mm":350}]}`))
	f.Add([]byte(`{"format":1,"areas":[{"name":"x","outline_mm":[[0,0],[5,0],[0,5]],"angle_deg":30}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := ParseAccess(data)
		if err != nil {
			return
		}
		if at := a.At(1, 1); at.Lean() < 1 || at.Lean() > 2.0001 {
			t.Fatalf("lean %g", at.Lean())
		}
	})
}

func has[T any](list []T, is func(T) bool) bool {
	for _, x := range list {
		if is(x) {
			return true
		}
	}
	return false
}
