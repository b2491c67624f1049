package rack

import "testing"

func TestChoices(t *testing.T) {
	r := Default()
	if tip, ok := r.TipFor(60); !ok || tip.Name != "soft cap 12 mm" {
		t.Errorf("for a wide low: %+v", tip)
	}
	if tip, _ := r.TipFor(9); tip.RadiusMM > 3 {
		t.Errorf("for a radius of 9 mm: %+v", tip)
	}
	if tab, ok := r.TabFor(25, 24); !ok || tab.Name != "round tab 16 mm" {
		t.Errorf("for a low of 25 mm: %+v", tab)
	}
	if tap, ok := r.TapFor(4); !ok || tap.RadiusMM > 2 {
		t.Errorf("for a high of 4 mm: %+v", tap)
	}
	if bar, ok := r.BarFor(600); !ok || bar.ReachMM < 600 {
		t.Errorf("for 600 mm: %+v", bar)
	}
	if _, ok := r.BarFor(5000); ok {
		t.Error("a bar of 5 m")
	}
}

func TestParseRefuses(t *testing.T) {
	for _, s := range []string{``, `{}`, `{"format":2}`, `{"format":1}`, `{"format":1,"tips":[{"name":"x","radius_mm":-1}]}`, `{"format":1,"tips":[{"name":"","radius_mm":5}]}`,
		`{"format":1,"tips":[{"name":"x","radius_mm":5}],"bars":[{"name":"b","length_mm":300,"reach_mm":400,"leverage":3}]}`} {
		if _, err := Parse([]byte(s)); err == nil {
			t.Errorf("%s was accepted", s)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(defaultJSON)
	f.Add([]byte(`{"format":1,"tabs":[{"name":"x","length_mm":5,"width_mm":5}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := Parse(data)
		if err == nil && len(r.Tips)+len(r.Tabs) == 0 {
			t.Fatal("an empty rack was accepted")
		}
	})
}
