package job

import (
	"slices"
	"testing"
)

func TestClasses(t *testing.T) {
	got := Classes([]Size{{LengthMM: 3}, {LengthMM: 10}, {LengthMM: 10.1}, {LengthMM: 40}, {LengthMM: 79}, {LengthMM: 300}})
	if !slices.Equal(got, []int{2, 1, 1, 1, 1}) {
		t.Errorf("%v", got)
	}
}

func TestMatch(t *testing.T) {
	jobs := []Job{{ID: "1r", Vehicle: "Van 1", Panel: "Roof, front"}, {ID: "12r", Vehicle: "Van 12", Panel: "Roof, front"}, {ID: "12b", Vehicle: "Van 12", Panel: "Bonnet"}, {ID: "12m", Vehicle: "Van 12", Panel: "Roof, middle"}}
	names := func(j Job) ([]string, []string) {
		return []string{j.Vehicle, map[string]string{"1r": "FM-AB 7"}[j.ID]}, []string{j.Panel}
	}
	for path, want := range map[string]string{
		"hail/Van 12/Roof front":   "12r",
		"VAN012_front-roof":        "12r",
		"van12/bonnet/IMG":         "12b",
		"Van 1":                    "1r",
		"van 1 anything":           "1r",
		"fm ab 7/photos":           "1r",
		"Van 12/roof":              "",
		"Van 12":                   "",
		"Van 120/bonnet":           "",
		"":                         "",
		"day/van 12/roof, middle/": "12m",
	} {
		j, err := Match(jobs, path, names)
		if j.ID != want || (err == nil) != (want != "") {
			t.Errorf("%q: %q, %v; want %q", path, j.ID, err, want)
		}
	}
}
