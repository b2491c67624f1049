package web_test

import (
	"encoding/json"
	"maps"
	"testing"
)

// TestMetalWithoutValue: the page says of each place that got no value why, where it lies, and what would let it be read.
func TestMetalWithoutValue(t *testing.T) {
	y := openYard(t)
	j, c := measured(t, y.st, door, "before")
	files := maps.Clone(kept.files)
	var doc map[string]json.RawMessage
	if err := json.Unmarshal(files["surface.json"], &doc); err != nil {
		t.Fatal(err)
	}
	doc["areas"] = json.RawMessage(`[{"kind": "unreadable", "x_mm": 21, "y_mm": 3, "width_mm": 8, "height_mm": 6, "area_mm2": 36, "advice": "bring the board nearer"},
		{"kind": "unreadable", "x_mm": 51, "y_mm": -3, "width_mm": 4, "height_mm": 6, "area_mm2": 24, "advice": "bring the board nearer"},
		{"kind": "covered", "x_mm": -40, "y_mm": 12, "width_mm": 30, "height_mm": 20, "area_mm2": 480, "advice": "wipe the paint"}]`)
	var err error
	if files["surface.json"], err = json.Marshal(doc); err != nil {
		t.Fatal(err)
	}
	if err := y.st.Finish(t.Context(), c, files); err != nil {
		t.Fatal(err)
	}
	has(t, y.get("/jobs/"+j.ID+"/look"), "Metal without a value", "<strong>cannot be read</strong>", "8 x 6 mm at 21, 3 mm; 4 x 6 mm at 51, -3 mm</span> bring the board nearer</li>",
		"<strong>covered</strong>", "30 x 20 mm at -40, 12 mm", "wipe the paint")
}
