package inspection

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"fairmetal/capture"
)

// oneDing is the capture of testdata/one-ding, to be changed at will.
func oneDing(t *testing.T) fstest.MapFS {
	t.Helper()
	m := fstest.MapFS{}
	root := os.DirFS("testdata/one-ding")
	names, err := fs.Glob(root, "*")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		b, err := fs.ReadFile(root, n)
		if err != nil {
			t.Fatal(err)
		}
		m[n] = &fstest.MapFile{Data: b}
	}
	return m
}

// edited is the capture of testdata/one-ding with its capture.json changed.
func edited(t *testing.T, edit func(c map[string]any)) fstest.MapFS {
	t.Helper()
	m := oneDing(t)
	var c map[string]any
	if err := json.Unmarshal(m["capture.json"].Data, &c); err != nil {
		t.Fatal(err)
	}
	edit(c)
	var err error
	if m["capture.json"].Data, err = json.Marshal(c); err != nil {
		t.Fatal(err)
	}
	return m
}

func framesOf(c map[string]any) []any {
	return c["sets"].([]any)[0].(map[string]any)["frames"].([]any)
}

// TestSelfCheck: a good capture holds every point; a tape 10 % off is noticed and does not spoil the depth; stripes of the other direction
// and exchanged shifts are refused.
func TestSelfCheck(t *testing.T) {
	good := measure(t, "testdata/one-ding")
	for _, c := range good.Checks() {
		if !c.OK {
			t.Errorf("a good capture fails %+v", c)
		}
	}
	for _, wrong := range []float64{1.1, 0.9} {
		r, err := Run(context.Background(), edited(t, func(c map[string]any) {
			b := c["board"].(map[string]any)
			b["distance_mm"] = b["distance_mm"].(float64) * wrong
		}), nil)
		if err != nil {
			t.Fatalf("tape times %g: %v", wrong, err)
		}
		told, failed := false, false
		for _, n := range r.Notices {
			told = told || n.Code == "tape" && n.Severity == Warning
		}
		for _, c := range r.Checks() {
			failed = failed || c.Code == "tape" && !c.OK
		}
		if !told || !failed || math.Abs(r.Marks[0].DepthUM/good.Marks[0].DepthUM-1) > 0.02 {
			t.Errorf("tape times %g: notices %v, depth %.0f against %.0f um", wrong, r.Notices, r.Marks[0].DepthUM, good.Marks[0].DepthUM)
		}
	}
	for words, spoil := range map[string]func(c map[string]any){
		"seem to be swapped": func(c map[string]any) {
			for _, f := range framesOf(c) {
				f := f.(map[string]any)
				f["stripes"] = map[any]string{"u": "v", "v": "u"}[f["stripes"]]
			}
		},
		"do not fit together": func(c map[string]any) {
			f := framesOf(c)
			a, b := f[1].(map[string]any), f[2].(map[string]any)
			a["shift"], b["shift"] = b["shift"], a["shift"]
		},
		"run backwards": func(c map[string]any) {
			for _, f := range framesOf(c) {
				f := f.(map[string]any)
				if s := f["shift"].(float64); s > 0 {
					f["shift"] = 1 - s
				}
			}
		},
	} {
		_, err := Run(context.Background(), edited(t, spoil), nil)
		var r *Refusal
		if !errors.As(err, &r) || !strings.Contains(err.Error(), words) {
			t.Errorf("want a refusal with %q, have %v", words, err)
		}
	}
}

// TestBoardMove: the shortest way, as seen in the paint, to where the field of work mirrors the board.
func TestBoardMove(t *testing.T) {
	field := view{-150, -100, 150, 100}
	for _, c := range []struct {
		seen view
		want string
	}{
		{view{-200, -150, 30, 150}, "120 mm to the right as seen in the paint"},
		{view{-200, -62, 200, 150}, "40 mm up as seen in the paint"},
		{view{-101, -150, 200, 88}, "50 mm to the left and 15 mm down as seen in the paint"},
		{view{-200, -150, 200, 150}, "so that nothing stands between it and the panel"},
	} {
		if got := field.beyond(c.seen); got != c.want {
			t.Errorf("%+v: %q, want %q", c.seen, got, c.want)
		}
	}
}

// TestOnePitch: where one axis shows one pitch alone the stripes of a side may have been counted off, whatever the set.
func TestOnePitch(t *testing.T) {
	of := func(axis, profile string, pitch float64) frame {
		return frame{Frame: capture.Frame{Stripes: axis, Profile: profile, PitchMM: pitch}}
	}
	fine, coarse := []frame{of("u", "sine", 16), of("v", "sine", 16)}, []frame{of("u", "sine", 128), of("v", "sine", 128)}
	for name, c := range map[string]struct {
		kind   string
		frames []frame
		want   bool
	}{
		"two pitches":           {capture.Shifted, slices.Concat(fine, coarse), false},
		"one pitch":             {capture.Shifted, fine, true},
		"one of both has two":   {capture.Shifted, slices.Concat(fine, coarse[:1]), true},
		"sharp edges":           {capture.Shifted, slices.Concat(fine, coarse, []frame{of("u", "square", 16)}), true},
		"sweep":                 {capture.Sweep, fine, true},
		"single without a line": {capture.Single, fine, false},
	} {
		r := &run{set: capture.Set{Kind: c.kind}, frames: c.frames}
		if got := r.onePitch(); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}
