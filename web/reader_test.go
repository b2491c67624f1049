package web_test

import (
	"context"
	"encoding/json"
	"slices"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"

	"fairmetal/job"
)

// heard is what a screen reader gets of a page.
type heard struct {
	Role, Name, Live string
	Level            float64
}

// listen reads the page's accessibility tree.
func listen(t *testing.T, ctx context.Context) []heard {
	t.Helper()
	tree, err := chromedp.Run(ctx, func(ctx context.Context, target *chromedp.Target) (accessibility.GetFullAXTreeResult, error) {
		return cdp.Call(ctx, target, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
	})
	if err != nil {
		t.Fatal(err)
	}
	value := func(v *accessibility.Value, to any) {
		if v != nil {
			_ = json.Unmarshal(v.Value, to)
		}
	}
	var out []heard
	for _, n := range tree.Nodes {
		if n.Ignored {
			continue
		}
		var h heard
		value(n.Role, &h.Role)
		value(n.Name, &h.Name)
		for _, p := range n.Properties {
			switch p.Name {
			case "live":
				value(p.Value, &h.Live)
			case "level":
				value(p.Value, &h.Level)
			}
		}
		out = append(out, h)
	}
	return out
}

// controls are the roles that a person operates: each needs a name.
var controls = []string{"button", "link", "textbox", "searchbox", "combobox", "ComboBoxMenuList", "listbox", "checkbox", "radio", "slider", "spinbutton", "tab", "menuitem", "switch", "progressbar", "DisclosureTriangle", "Date", "DateTime", "dialog", "image", "region"}

// hears wants of a page: one heading of the first level, the landmarks, and a name for each control.
func hears(t *testing.T, ctx context.Context, page string) {
	t.Helper()
	count := map[string]int{}
	for _, h := range listen(t, ctx) {
		count[h.Role]++
		if h.Role == "heading" && h.Level == 1 {
			count["h1"]++
		}
		if h.Name == "" && slices.Contains(controls, h.Role) {
			t.Errorf("%s: a %s has no name", page, h.Role)
		}
	}
	if count["h1"] != 1 || count["main"] != 1 || count["banner"] != 1 || count["navigation"] == 0 {
		t.Errorf("%s: %d headings of the first level, %d main, %d banner, %d navigation", page, count["h1"], count["main"], count["banner"], count["navigation"])
	}
}

// TestProgressAndErrorsAreHeard: what changes on a page by itself, and what went wrong, reaches who does not see it.
func TestProgressAndErrorsAreHeard(t *testing.T) {
	w := openReach(t)
	ctx := browser(t)
	j, err := w.st.AddJob(t.Context(), door)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.st.AddCapture(t.Context(), j.ID, "before", nil); err != nil {
		t.Fatal(err)
	}
	has := func(page string, want ...heard) {
		t.Helper()
		got := listen(t, ctx)
		for _, k := range want {
			if !slices.ContainsFunc(got, func(h heard) bool {
				return h.Role == k.Role && (k.Name == "" || h.Name == k.Name) && (k.Live == "" || h.Live == k.Live)
			}) {
				t.Errorf("%s: nothing like %+v is heard", page, k)
			}
		}
	}
	do(t, ctx, chromedp.EmulateViewport(390, 844))
	load(t, ctx, w.srv.URL+"/jobs/"+j.ID+"/look")
	hears(t, ctx, "measuring")
	has("measuring", heard{Role: "progressbar", Name: "Measuring"}, heard{Role: "status", Live: "polite"})
	load(t, ctx, w.srv.URL+"/jobs/"+j.ID+"/capture")
	hears(t, ctx, "capture")
	has("capture", heard{Role: "status", Live: "polite"})
	for _, page := range []string{"/jobs/0000/work", "/books/people/new"} {
		load(t, ctx, w.srv.URL+page)
		if page == "/books/people/new" {
			press(t, ctx, "form.fieldgrid button.main")
			until(t, ctx, `document.querySelector(".problem")`)
		}
		hears(t, ctx, page)
		has(page, heard{Role: "alert", Live: "assertive"})
	}
	c, err := w.st.Captures(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	c[0].State, c[0].Message = job.Refused, "card A was not found"
	if err := w.st.Finish(t.Context(), c[0], nil); err != nil {
		t.Fatal(err)
	}
	load(t, ctx, w.srv.URL+"/jobs/"+j.ID+"/look")
	hears(t, ctx, "refused")
	has("refused", heard{Role: "alert", Live: "assertive"})
}
