package quote

import (
	"testing"

	"fairmetal/plan"
	"fairmetal/verdict"
)

func input() Input {
	return Input{Rates: DefaultRates(), PanelKind: "door", Marks: 2, AreaMM2: 1500, Verdict: verdict.Verdict{Answer: verdict.Yes},
		Plan: plan.Plan{Forecast: plan.Forecast{Hits: 60, HitsLow: 50, HitsHigh: 90, Minutes: 40, MinLow: 35, MinHigh: 60, ByStage: map[plan.Stage]int{plan.Raise: 10, plan.Level: 20, plan.Finish: 30}},
			Rounds: []plan.Round{{Stage: plan.Raise, Minutes: 8}, {Stage: plan.Level, Minutes: 14}, {Stage: plan.Finish, Minutes: 18}}}}
}

// TestSums: lines add up to net, net and taxes to the total, the range holds the middle.
func TestSums(t *testing.T) {
	q, err := Make(input())
	if err != nil {
		t.Fatal(err)
	}
	var net, tax int64
	for _, l := range q.Lines {
		net += l.AmountMinor
		if l.Why == "" {
			t.Errorf("line %q explains nothing", l.Text)
		}
	}
	for _, x := range q.Taxes {
		tax += x.AmountMinor
	}
	if net != q.NetMinor || net+tax != q.TotalMinor || net%100 != 0 {
		t.Errorf("net %d of lines %d, tax %d, total %d", q.NetMinor, net, tax, q.TotalMinor)
	}
	if !(q.HoursLow < q.Hours && q.Hours < q.HoursHigh && q.TotalLowMinor <= q.TotalMinor && q.TotalMinor < q.TotalHighMinor) {
		t.Errorf("hours %.2f (%.2f to %.2f), total %d (%d to %d)", q.Hours, q.HoursLow, q.HoursHigh, q.TotalMinor, q.TotalLowMinor, q.TotalHighMinor)
	}
	var minutes float64
	for _, s := range q.Steps {
		minutes += s.Minutes
		if s.Low > s.Minutes || s.High < s.Minutes {
			t.Errorf("step %+v", s)
		}
	}
	if d := minutes/60 - q.Hours; d > 0.06 || d < -0.06 {
		t.Errorf("steps sum to %.2f h, quoted %.2f", minutes/60, q.Hours)
	}
}

// TestTaxRounding: worked examples of value added tax, rounded half up to the cent on the sum: 19 % of 100.00 is 19.00, of 33.33 is
// 6.33 (6.3327), of 10.50 is 2.00 (1.995); 20 % of 12.34 is 2.47 (2.468); 21 % of 0.50 is 0.11 (0.105). Arithmetic by hand.
func TestTaxRounding(t *testing.T) {
	for _, c := range []struct{ net, bp, want int64 }{{10000, 1900, 1900}, {3333, 1900, 633}, {1050, 1900, 200}, {1234, 2000, 247}, {50, 2100, 11}, {0, 1900, 0}} {
		if got := taxOn(c.net, c.bp); got != c.want {
			t.Errorf("%d at %d: %d, want %d", c.net, c.bp, got, c.want)
		}
	}
}

func TestMinimumCharge(t *testing.T) {
	in := input()
	in.Rates.MinimumMinor = 99900
	q, err := Make(in)
	if err != nil || q.NetMinor != 99900 {
		t.Errorf("net %d, %v", q.NetMinor, err)
	}
}

// TestDecline is a proper result: reasons, no price, and what painting would cost.
func TestDecline(t *testing.T) {
	in := input()
	in.Verdict = verdict.Verdict{Answer: verdict.No, Marks: []verdict.Mark{{ID: "m01", Answer: verdict.No, Reasons: []verdict.Reason{{Code: "stretched", Answer: verdict.No, Text: "the metal is stretched"}}}}}
	q, err := Make(in)
	if err != nil || q.Answer != "declined" || q.TotalMinor != 0 || len(q.Reasons) != 1 || q.PaintMinor == 0 {
		t.Errorf("%+v, %v", q, err)
	}
}

// TestFasterPace: half the pace, half the hours at the metal.
func TestFasterPace(t *testing.T) {
	a, err := Make(input())
	if err != nil {
		t.Fatal(err)
	}
	in := input()
	in.Rates.Pace = 0.5
	b, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	if d := a.Hours - b.Hours; d < 0.32 || d > 0.35 {
		t.Errorf("40 min at half the pace save %.2f h, want a third of an hour", d)
	}
}

func FuzzParseRates(f *testing.F) {
	f.Add([]byte(`{"format":1,"currency":"EUR","pace":1}`))
	f.Add(defaultRates)
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := ParseRates(data)
		if err != nil {
			return
		}
		in := input()
		in.Rates = r
		q, err := Make(in)
		if err != nil {
			t.Fatalf("accepted rates that do not price: %v", err)
		}
		if q.TotalMinor < 0 {
			t.Fatalf("total %d", q.TotalMinor)
		}
	})
}
