package web_test

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"fairmetal/job"
	"fairmetal/words"
)

// scheme makes the browser wish for light or dark, and for no slow changes between them.
func scheme(wish string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: wish}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
		return err
	})
}

// TestAccessible runs axe-core (npm package axe-core 4.14.1, MPL-2.0) on every page, on a phone in the light and on a desktop in the dark with
// all rules of WCAG 2.2 A and AA that it knows, and for contrast and sizes of targets the other way round too; and listens to each page as a
// screen reader does.
func TestAccessible(t *testing.T) {
	f, err := os.Open("testdata/axe-4.14.1.min.js.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	axe, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	w, paths, j := everyPage(t)
	ctx := browser(t)
	type look struct {
		scheme string
		width  int64
		rules  string
	}
	const all, seen = `{ type: "tag", values: ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"] }`, `{ type: "rule", values: ["color-contrast", "target-size"] }`
	looks := []look{{"light", 390, all}, {"dark", 390, seen}, {"light", 1300, seen}, {"dark", 1300, all}}
	for _, p := range paths {
		do(t, ctx, scheme("light"), chromedp.EmulateViewport(390, 844))
		load(t, ctx, w.srv.URL+p)
		hears(t, ctx, p)
		eval[bool](t, ctx, string(axe)+"; true")
		for _, l := range looks {
			do(t, ctx, scheme(l.scheme), chromedp.EmulateViewport(l.width, 900))
			narrow(t, ctx)
			eval[bool](t, ctx, `window.found = ""; axe.run(document, { runOnly: `+l.rules+`, resultTypes: ["violations"] }).then((r) => { window.found = JSON.stringify(r.violations.map((v) => ({ id: v.id, help: v.help, nodes: v.nodes.map((n) => n.html.slice(0, 160) + " | " + (n.any[0] || n.all[0] || n.none[0] || {}).message) }))); }, (e) => { window.found = JSON.stringify([{ id: "axe", help: String(e), nodes: [] }]); }) && true`)
			until(t, ctx, `window.found`)
			var found []struct {
				ID, Help string
				Nodes    []string
			}
			if err := json.Unmarshal([]byte(eval[string](t, ctx, "window.found")), &found); err != nil {
				t.Fatal(err)
			}
			if l.rules == all {
				shots(t, ctx, fmt.Sprintf("page-%d-%s", l.width, strings.Trim(strings.NewReplacer("/", "-", "?", "-", j.ID, "ID").Replace(p), "-")))
			}
			for _, v := range found {
				t.Errorf("%s, %s, %d px: %s (%s): %s", p, l.scheme, l.width, v.ID, v.Help, fmt.Sprint(v.Nodes[:min(3, len(v.Nodes))]))
			}
		}
	}
}

// everyPage is a workshop with something on every page, the pages, and the job that most of them are about.
func everyPage(t *testing.T) (*reach, []string, job.Job) {
	t.Helper()
	w := openReach(t)
	j, _ := measured(t, w.st, door, "before")
	j = settled(t, w.st, j)
	finished(t, w.st, j)
	v, err := w.st.SaveVehicle(t.Context(), job.Vehicle{Name: "Van 07", Plate: "FM 7", VIN: "1M8GDM9AXKP042788", PersonID: j.PersonID})
	if err != nil {
		t.Fatal(err)
	}
	bare, err := w.st.AddJob(t.Context(), job.Job{Vehicle: "Van 08", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	y := yard{t, w.st, w.srv.Config.Handler}
	page := y.get("/jobs/" + j.ID + "/handover")
	y.must("/jobs/"+j.ID+"/invoice", url.Values{"text": fields(page, "text"), "why": fields(page, "why"), "amount": fields(page, "amount")})
	paths := []string{"/", "/me", "/door", "/?q=nothing", "/jobs/new", "/jobs/new?job=" + j.ID, "/hail", "/hail/" + j.PersonID, "/rack", "/house", "/house/trim", "/board", "/prints", "/offline", "/books", "/books?q=van", "/books/figures", "/books/appointments", "/books/import", "/books/people/new", "/books/people/" + j.PersonID,
		"/books/people/" + j.PersonID + "/erase", "/books/vehicles/" + v.ID, "/jobs/" + j.ID + "/capture", "/jobs/" + bare.ID + "/work", "/jobs/0000/work"}
	for _, s := range job.Steps {
		paths = append(paths, "/jobs/"+j.ID+"/"+string(s))
	}
	return w, paths, j
}

// load opens a page and waits until its scripts are through.
func load(t *testing.T, ctx context.Context, address string) {
	t.Helper()
	do(t, ctx, chromedp.Navigate(address))
	until(t, ctx, `document.readyState === "complete" && ![...document.querySelectorAll("#viewer, #atpanel, #lights:has(canvas)")].some((e) => !e.dataset.ready)`)
	eval[bool](t, ctx, `document.querySelectorAll("details").forEach((d) => { d.open = true; }) || true`)
}

// shown are the texts of a page: what is written, what is told to a screen reader, what stands in fields.
const shown = `(() => {
	const out = new Set(), add = (s) => { s = (s || "").replace(/\s+/g, " ").trim(); if (/[a-z]{2}/.test(s)) out.add(s); };
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (walk.nextNode()) if (!walk.currentNode.parentElement.closest("script, [lang]:not(html), [translate=no]")) add(walk.currentNode.data);
	for (const e of document.querySelectorAll("*")) for (const a of ["aria-label", "alt", "title", "placeholder"]) add(e.getAttribute(a));
	for (const e of document.querySelectorAll("input:not([type]), input[type=text], textarea")) add(e.value);
	add(document.title);
	return [...out];
})()`

// english are words that German does not have.
var english = regexp.MustCompile(`(?i)(^|[^\p{L}])(the|and|of|with|for|this|that|from|are|is|to|it|by|not|been|has|mark|marks|job|panel|photo|photos|no)([^\p{L}]|$)`)

// TestGerman: on every page nothing is left in English, and the longer words fit from the narrowest phone to a wide screen.
func TestGerman(t *testing.T) {
	w, paths, _ := everyPage(t)
	left, german := map[string]string{}, map[string]bool{}
	for _, k := range words.German.Keys() {
		german[words.German.T(k)] = true
	}
	ctx := browser(t)
	do(t, ctx, chromedp.EmulateViewport(360, 800), chromedp.Navigate(w.srv.URL+"/house"))
	press(t, ctx, "#language [value=de]")
	until(t, ctx, `document.documentElement.lang === "de"`)
	for _, p := range paths {
		do(t, ctx, chromedp.EmulateViewport(360, 800))
		load(t, ctx, w.srv.URL+p)
		narrow(t, ctx)
		for _, s := range eval[[]string](t, ctx, shown) {
			if words.German.T(s) != s && !german[s] || english.MatchString(s) {
				left[s] = p
			}
		}
		do(t, ctx, chromedp.EmulateViewport(2560, 1200))
		narrow(t, ctx)
	}
	for s, p := range left {
		t.Errorf("%s: %q", p, s)
	}
}
