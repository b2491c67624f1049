package trim

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
)

// TestByHand: wing: wheel 4 + 6 give or take 20 %, liner 7 + 9 give or take 30 %: 26 min, sd sqrt(2^2 + 4.8^2) = 5.2, P10 26 - 1.2816 x 5.2
// = 19.34, P90 32.66.
func TestByHand(t *testing.T) {
	w := Default().For("wing")
	if len(w.Parts) != 2 || math.Abs(w.Minutes-26) > 1e-9 || math.Abs(w.Low-19.336) > 0.001 || math.Abs(w.High-32.664) > 0.001 {
		t.Errorf("%+v", w)
	}
	if w.Parts[0].Caution == "" {
		t.Error("a wheel comes off without a caution")
	}
}

// TestConditions: the glass is counted only where it is in the way; an unknown panel takes nothing.
func TestConditions(t *testing.T) {
	l := Default()
	if a, b := l.For("door").Minutes, l.For("door", "glass in the way", "of no matter").Minutes; math.Abs(b-a-40) > 1e-9 {
		t.Errorf("%g and %g minutes", a, b)
	}
	if w := l.For("sail"); w.Minutes != 0 || len(w.Parts) != 0 || w.High != 0 {
		t.Errorf("%+v", w)
	}
}

// TestEveryPanel of the house's kinds has its parts.
func TestEveryPanel(t *testing.T) {
	want := []string{"roof", "door", "bonnet", "wing", "tailgate", "quarter"}
	if got := Default().Panels(); !reflect.DeepEqual(got, want) {
		t.Errorf("%v", got)
	}
}

func TestRefusals(t *testing.T) {
	part := func(s string) string { return `{"format":1,"parts":[` + s + `]}` }
	for name, c := range map[string][2]string{
		"empty":       {"", "cannot be read"},
		"format":      {`{"format":2,"parts":[]}`, "format 2"},
		"slip":        {part(`{"panel":"door","text":"a","of_minutes":3}`), "of_minutes"},
		"two":         {part(``) + "{}", "goes on"},
		"no text":     {part(`{"panel":"door","off_minutes":3}`), "lacks"},
		"negative":    {part(`{"panel":"door","text":"a","off_minutes":-3}`), "-3"},
		"two days":    {part(`{"panel":"door","text":"a","on_minutes":3000}`), "3000"},
		"wild spread": {part(`{"panel":"door","text":"a","spread":2}`), "spread"},
	} {
		if _, err := Parse([]byte(c[0])); err == nil || !strings.Contains(err.Error(), c[1]) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// FuzzParse: what is accepted survives a round trip and gives finite ordered minutes.
func FuzzParse(f *testing.F) {
	f.Add(defaultList)
	f.Add([]byte(`{"format":1,"parts":[{"panel":"a","text":"b","off_minutes":1e3,"on_minutes":0.5,"spread":1}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := Parse(data)
		if err != nil {
			return
		}
		for _, p := range l.Panels() {
			if w := l.For(p); !(w.Low >= 0 && w.Low <= w.Minutes && w.Minutes <= w.High && w.High < 1e7) {
				t.Fatalf("%+v", w)
			}
		}
		out, err := json.Marshal(l)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Parse(out)
		if err != nil || !reflect.DeepEqual(again.Panels(), l.Panels()) || len(again.Parts) != len(l.Parts) {
			t.Fatalf("%v: %s", err, out)
		}
	})
}
