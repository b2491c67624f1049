package route

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"
)

func job() Job {
	return Job{Panel: "door", Marks: 3, DamagedMM2: 15000, Blend: []string{"wing"}, TrimMinutes: 40}
}

func price(t *testing.T, m Model, j Job) Cost {
	t.Helper()
	c, err := m.Price(j)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestByHand: a door with three marks on 1.5 dm2 (2 when rounded up), blended into a wing, with the default model. By hand:
//
//	fittings        50 + 40 = 90 min x 95.00/h           142.50
//	fill            3 x 12 + 2 x 10 = 56 min x 95.00/h    88.67   (88.6667)
//	filler          2 dm2 x 3.50                            7.00
//	prepare         80 min x 105.00/h                     140.00
//	paint           110 min x 105.00/h                    192.50
//	paint material  90 dm2 x 1.10                          99.00
//	blend           65 min x 105.00/h                     113.75
//	blend material  60 dm2 x 60 % = 36 dm2 x 1.10          39.60
//	mix, booth                                      45.00 + 65.00
//	waiting         401 min at 390 a day: 2 days, + 1 + 1 = 4 x 35.00 = 140.00
//	net 1073.02, VAT 19 % 203.87 (203.8738), total 1276.89
func TestByHand(t *testing.T) {
	c := price(t, Default(), job())
	want := map[string]int64{"fittings": 14250, "fill": 8867, "filler": 700, "prepare": 14000, "paint": 19250, "paint-material": 9900, "blend-1": 11375, "blend-material-1": 3960, "mix": 4500, "booth": 6500, "waiting": 14000}
	if len(c.Lines) != len(want) {
		t.Errorf("%d lines, want %d", len(c.Lines), len(want))
	}
	for _, l := range c.Lines {
		if l.AmountMinor != want[l.Code] {
			t.Errorf("%s: %d, want %d (%s)", l.Code, l.AmountMinor, want[l.Code], l.Why)
		}
		if l.Why == "" || l.Text == "" {
			t.Errorf("%s explains nothing", l.Code)
		}
	}
	if c.Minutes != 401 || c.Days != 4 || c.NetMinor != 107302 || c.Taxes[0].AmountMinor != 20387 || c.TotalMinor != 127689 {
		t.Errorf("%d min, %d days, net %d, tax %d, total %d", c.Minutes, c.Days, c.NetMinor, c.Taxes[0].AmountMinor, c.TotalMinor)
	}
	if c.Lines[1].Why != "3 marks x 12 min, 2 dm2 x 10 min: 56 min at 95.00 EUR an hour" {
		t.Errorf("%q", c.Lines[1].Why)
	}
}

// TestLinesAddUp for every panel of the model, with and without neighbours: lines to net, net and taxes to the total, minutes to minutes.
func TestLinesAddUp(t *testing.T) {
	m := Default()
	m.Taxes = append(m.Taxes, Tax{"levy", 125})
	for k := range m.Panels {
		for _, b := range [][]string{nil, {"door", "wing"}} {
			c := price(t, m, Job{Panel: k, Marks: 7, DamagedMM2: 1, Blend: b})
			var net, tax, minutes int64
			for _, l := range c.Lines {
				net += l.AmountMinor
				if l.Unit == "min" {
					minutes += l.Quantity
				} else if l.Quantity*l.UnitMinor != l.AmountMinor {
					t.Errorf("%+v", l)
				}
			}
			for _, x := range c.Taxes {
				tax += x.AmountMinor
			}
			if net != c.NetMinor || net+tax != c.TotalMinor || minutes != c.Minutes {
				t.Errorf("%s: lines %d, net %d, tax %d, total %d, minutes %d of %d", k, net, c.NetMinor, tax, c.TotalMinor, minutes, c.Minutes)
			}
		}
	}
}

// TestAmounts: by ISO 4217 the yen has no minor unit, the euro two digits, the Kuwaiti dinar three.
func TestAmounts(t *testing.T) {
	for _, c := range []struct {
		minor int64
		code  string
		want  string
	}{{123456, "EUR", "1234.56 EUR"}, {5, "EUR", "0.05 EUR"}, {1234, "JPY", "1234 JPY"}, {0, "JPY", "0 JPY"}, {1234567, "KWD", "1234.567 KWD"}, {-250, "EUR", "-2.50 EUR"}} {
		if got := Amount(c.minor, c.code); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// TestHalfUp against rounding by hand.
func TestHalfUp(t *testing.T) {
	for _, c := range [][3]int64{{5, 10, 1}, {4, 10, 0}, {15, 10, 2}, {149, 100, 1}, {150, 100, 2}, {0, 7, 0}, {532000, 60, 8867}} {
		if got := halfUp(c[0], c[1]); got != c[2] {
			t.Errorf("%d/%d: %d, want %d", c[0], c[1], got, c[2])
		}
	}
}

func TestAgainst(t *testing.T) {
	c := price(t, Default(), job())
	d, err := c.Against(40000, "EUR", 0.5)
	if err != nil || d.SavesMinor != 87689 || d.SavesDays != 3.5 || !strings.Contains(d.Text, "saves 876.89 EUR") {
		t.Errorf("%+v, %v", d, err)
	}
	d, err = c.Against(200000, "EUR", 1)
	if err != nil || d.SavesMinor >= 0 || !strings.Contains(d.Text, "cheaper by 723.11 EUR") {
		t.Errorf("%+v, %v", d, err)
	}
	if _, err := c.Against(40000, "CHF", 1); err == nil {
		t.Error("two currencies were compared")
	}
}

func TestRefusals(t *testing.T) {
	for name, change := range map[string]func(*Job){
		"no panel":       func(j *Job) { j.Panel = "sail" },
		"no neighbour":   func(j *Job) { j.Blend = []string{"sail"} },
		"too many":       func(j *Job) { j.Blend = []string{"wing", "wing", "door"} },
		"negative marks": func(j *Job) { j.Marks = -1 },
		"endless":        func(j *Job) { j.Marks = 10_000 },
	} {
		j := job()
		change(&j)
		if _, err := Default().Price(j); err == nil {
			t.Errorf("%s: priced", name)
		}
	}
	good, err := json.Marshal(Default())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range [][2]string{{`"EUR"`, `"XXQ"`}, {`"format":1`, `"format":3`}, {`"body_hour_minor":9500`, `"body_hour_minor":-1`}, {`"body_hour_minor"`, `"body_our_minor"`}, {`"rate_bp":1900`, `"rate_bp":19000`}, {`"work_minutes_per_day":390`, `"work_minutes_per_day":0`}} {
		bad := strings.Replace(string(good), c[0], c[1], 1)
		if bad == string(good) {
			t.Fatalf("nothing replaced for %s", c[1])
		}
		if _, err := Parse([]byte(bad)); err == nil {
			t.Errorf("%s was taken", c[1])
		}
	}
}

// FuzzParse: what is accepted survives a round trip and prices without overflow.
func FuzzParse(f *testing.F) {
	f.Add(defaultModel)
	f.Add([]byte(fmt.Sprintf(`{"format":1,"currency":"JPY","body_hour_minor":%d,"panels":{"door":{"area_dm2":10000}},"paint":{"minor_per_dm2":%d},"waiting":{"work_minutes_per_day":60},"taxes":[{"rate_bp":10000}]}`, mostMinor, mostMinor)))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Parse(data)
		if err != nil {
			return
		}
		out, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := Parse(out); err != nil || !reflect.DeepEqual(again.Panels, m.Panels) {
			t.Fatalf("%v: %s", err, out)
		}
		for k := range m.Panels {
			c, err := m.Price(Job{Panel: k, Marks: 100, DamagedMM2: 1e8})
			if err != nil {
				continue
			}
			var sum int64
			for _, l := range c.Lines {
				if l.AmountMinor < 0 {
					t.Fatalf("%+v", l)
				}
				sum += l.AmountMinor
			}
			if sum != c.NetMinor || c.TotalMinor < c.NetMinor {
				t.Fatalf("%+v", c)
			}
		}
	})
}
