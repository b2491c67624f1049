package main

import (
	"os"
	"path/filepath"
	"testing"

	"fairmetal/offer"
)

// TestHeardFromCompare: what compare prints is what the next plan knows; a yield given by hand goes before; a file without a round is refused.
func TestHeardFromCompare(t *testing.T) {
	file := func(text string) string {
		name := filepath.Join(t.TempDir(), "compare.json")
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return name
	}
	f := file(`{"changes":[],"story":{"hits":12,"yield_mpa":206,"shape":{"far":0.1,"wide":-0.05,"held":0}}}`)
	got, err := heard(f, offer.Facts{Material: "steel"})
	if err != nil || got.YieldMPa != 206 || got.Shape.Far != 0.1 || got.Material != "steel" {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err = heard(f, offer.Facts{YieldMPa: 190}); err != nil || got.YieldMPa != 190 {
		t.Errorf("%+v, %v", got, err)
	}
	for _, bad := range []string{`{"changes":[]}`, `x`} {
		if _, err := heard(file(bad), offer.Facts{}); err == nil {
			t.Errorf("%s accepted", bad)
		}
	}
}
