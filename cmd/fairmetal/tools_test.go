package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestMetalForm is the fixed form that outside checks read: rows in the order of the forces asked for, set rising with force.
func TestMetalForm(t *testing.T) {
	code, out, errs := call(t, "metal", "--material", "steel", "--yield", "160", "--thickness", "0.7", "--tip-radius", "5", "--support", "300", "--curvature-radius", "2000", "--force", "200,100,0", "--json")
	if code != 0 {
		t.Fatalf("%d: %s", code, errs)
	}
	var got struct {
		Rows []map[string]float64 `json:"rows"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Rows) != 3 || got.Rows[0]["force_n"] != 200 || got.Rows[2]["set_um"] != 0 || got.Rows[0]["set_um"] <= got.Rows[1]["set_um"] {
		t.Errorf("%+v", got.Rows)
	}
	for _, k := range []string{"force_n", "deflection_mm", "set_um", "half_width_mm", "rim_um", "strain_pct"} {
		if _, ok := got.Rows[0][k]; !ok {
			t.Errorf("%s is missing", k)
		}
	}
	for _, bad := range [][]string{{"--thickness", "9"}, {"--material", "cheese"}, {"--force", "1e9"}, {"--support", "1"}, {"--yield", "-5"}, {"--curvature-radius", "10"}, {"--tip-radius", "0"}} {
		if code, _, errs := call(t, append([]string{"metal"}, bad...)...); code != exitRefused || errs == "" {
			t.Errorf("%v: exit %d, %q", bad, code, errs)
		}
	}
}

// TestMetalPlot: the picture holds a dot for each force; other endings are refused.
func TestMetalPlot(t *testing.T) {
	file := filepath.Join(t.TempDir(), "p.svg")
	if code, out, errs := call(t, "metal", "--force", "80,160", "--plot", file); code != 0 || !strings.Contains(out, "160 N is the first to leave 10 um") && !strings.Contains(out, "80 N is the first to leave 10 um") {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	data, err := os.ReadFile(file)
	if err != nil || strings.Count(string(data), "<circle") != 2 || strings.Count(string(data), "<polyline") != 2 || strings.Contains(string(data), "NaN") {
		t.Errorf("%v %s", err, data)
	}
	if code, _, _ := call(t, "metal", "--force", "80", "--plot", filepath.Join(t.TempDir(), "p.docx")); code != exitRefused {
		t.Errorf("an unknown kind of picture: exit %d", code)
	}
}

// TestMetalOwnAndFelt: a material of one's own, and hits that left less than forecast make the sheet harder and leave less.
func TestMetalOwnAndFelt(t *testing.T) {
	file := filepath.Join(t.TempDir(), "own.json")
	if err := os.WriteFile(file, []byte(`{"format": 1, "materials": [{"name": "old door", "like": "mild steel", "yield_mpa": 150, "source": "our yard"}]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	set := func(more ...string) float64 {
		t.Helper()
		code, out, errs := call(t, append([]string{"metal", "--materials", file, "--material", "old door", "--force", "160", "--json"}, more...)...)
		var got struct{ Rows []metalRow }
		if code != 0 || json.Unmarshal([]byte(out), &got) != nil || len(got.Rows) != 1 {
			t.Fatalf("%d %s %s", code, out, errs)
		}
		return got.Rows[0].SetUM
	}
	plain := set()
	if hard := set("--felt", "120:10,160:40"); !(hard < 0.8*plain) {
		t.Errorf("160 N leave %.0f um, and %.0f um after hits that left less", plain, hard)
	}
	if code, out, _ := call(t, "metal", "--force", "160", "--felt", "120:10,160:40"); code != 0 || !strings.Contains(out, "by the hits that you felt the sheet yields at") {
		t.Errorf("%d %s", code, out)
	}
	for _, bad := range []string{"120", "x:5", "120:y"} {
		if code, _, errs := call(t, "metal", "--felt", bad); code != exitRefused || !strings.Contains(errs, "120:35") {
			t.Errorf("%s: %d %s", bad, code, errs)
		}
	}
}

// TestMetalCorners: the sheets that are asked for from outside, at their corners: whole numbers out, set and height rising with force.
func TestMetalCorners(t *testing.T) {
	for _, c := range [][5]string{{"120", "0.6", "2", "100", "700"}, {"350", "1.2", "15", "400", "0"}, {"120", "0.6", "15", "100", "5000"}, {"350", "0.6", "2", "2000", "200"}} {
		code, out, errs := call(t, "metal", "--yield", c[0], "--thickness", c[1], "--tip-radius", c[2], "--support", c[3], "--curvature-radius", c[4], "--force", "20,150,600", "--json")
		if code != 0 {
			t.Errorf("%v: %d %s", c, code, errs)
			continue
		}
		var got struct{ Rows []metalRow }
		if err := json.Unmarshal([]byte(out), &got); err != nil {
			t.Fatal(err)
		}
		for i, r := range got.Rows {
			if i > 0 && (r.Deflection <= got.Rows[i-1].Deflection || r.SetUM < got.Rows[i-1].SetUM || r.StrainPct <= got.Rows[i-1].StrainPct) {
				t.Errorf("%v: %+v after %+v", c, r, got.Rows[i-1])
			}
		}
	}
}

// TestAfterMeasuring: the commands that read a result folder.
func TestAfterMeasuring(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "result")
	if code, _, errs := call(t, "measure", ding, "--out", dir); code != 0 {
		t.Fatal(errs)
	}
	if code, out, errs := call(t, "fair", dir); code != 0 || !strings.Contains(out, "not fair") {
		t.Errorf("a dent of 0.8 mm: %d %s %s", code, out, errs)
	}
	for _, name := range []string{"s.x3p", "s.ply", "s.stl", "s.csv"} {
		file := filepath.Join(dir, name)
		if code, _, errs := call(t, "export", dir, "--out", file); code != 0 {
			t.Errorf("%s: %s", name, errs)
		}
		if st, err := os.Stat(file); err != nil || st.Size() < 1000 {
			t.Errorf("%s: %v", name, err)
		}
	}
	picture := filepath.Join(dir, "map.png")
	if code, out, errs := call(t, "metal", "--influence", dir, "--plot", picture); code != 0 || !strings.Contains(out, "m01") || !strings.Contains(out, "paint") {
		t.Errorf("%d %s %s", code, out, errs)
	}
	if data, err := os.ReadFile(picture); err != nil || !strings.HasPrefix(string(data), "\x89PNG") {
		t.Errorf("%v", err)
	}
	if code, _, _ := call(t, "metal", "--influence", dir, "--plot", picture, "--mark", "m99"); code != exitRefused {
		t.Errorf("a mark that is not there: exit %d", code)
	}
	if code, _, _ := call(t, "export", dir, "--out", filepath.Join(dir, "s.docx")); code != exitRefused {
		t.Errorf("an unknown format: exit %d", code)
	}
	pdf := filepath.Join(dir, "round.pdf")
	if code, _, _ := call(t, "tracing", dir, "--out", pdf); code != exitRefused {
		t.Errorf("a tracing without a plan: exit %d", code)
	}
	if code, _, errs := call(t, "plan", dir); code != 0 {
		t.Fatal(errs)
	}
	if code, _, errs := call(t, "tracing", dir, "--out", pdf); code != 0 {
		t.Error(errs)
	}
	if data, err := os.ReadFile(pdf); err != nil || !strings.HasPrefix(string(data), "%PDF") {
		t.Errorf("%v", err)
	}
}

// TestShot: the words name what to take; impossible numbers are refused.
func TestShot(t *testing.T) {
	if code, out, _ := call(t, "shot", "--width", "30", "--depth", "40"); code != 0 || !strings.Contains(out, "one photo of each direction") {
		t.Errorf("%d %s", code, out)
	}
	if code, _, _ := call(t, "shot", "--width", "0"); code != exitRefused {
		t.Errorf("exit %d", code)
	}
}
