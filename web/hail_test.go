package web_test

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"fairmetal/job"
)

// TestHailDayInBrowser: files named by vehicle and panel find their job, what fits nothing says so and stays, the sheet follows the measuring
// by itself, and one quote is made of it.
func TestHailDayInBrowser(t *testing.T) {
	_, srv := shop(t)
	ctx := browser(t)
	h := &hand{t: t, ctx: ctx}
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(srv.URL+"/hail"))
	h.fill("input[name=customer]", "Lindenhof Parcels")
	h.fill("textarea[name=vehicles]", "Van 1\nVan 12")
	h.tap("input[value=roof-middle]") // off again
	h.tap("input[value=roof-rear]")
	shots(t, ctx, "phone-hail")
	h.tap("button.main")
	dir := t.TempDir()
	var files []string
	for i, p := range cameraPhotos(t) {
		name := filepath.Join(dir, "Van 12_roof front_"+filepath.Base(p))
		if i == 0 {
			name = filepath.Join(dir, "Van 12_roof front_IMG_0100.jpg")
		}
		if err := os.Rename(p, name); err != nil {
			t.Fatal(err)
		}
		files = append(files, name)
	}
	lost := filepath.Join(dir, "Van 99 bonnet 1.jpg")
	data, err := os.ReadFile(files[0])
	if err == nil {
		err = os.WriteFile(lost, data, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	h.files("#lot-files", append(files, lost))
	h.fill("input[name=distance]", "450")
	until(t, ctx, `document.querySelectorAll("#lot-queue li").length === 2`)
	shots(t, ctx, "phone-sheet")
	h.tap("#lot-send")
	until(t, ctx, `document.getElementById("lot-photos").dataset.sent === "1"`)
	if text := eval[string](t, ctx, `document.querySelector("#lot-queue .bad").textContent`); !strings.Contains(text, "Van 99") || !strings.Contains(text, "No vehicle of the sheet") {
		t.Errorf("of the wrong folder it says %q", text)
	}
	// Photos that found no panel are still chosen, so that the page stays; the person goes on without them.
	do(t, ctx, chromedp.Navigate(srv.URL+eval[string](t, ctx, "location.pathname")))
	until(t, ctx, `document.querySelector("tfoot")`)
	do(t, ctx, chromedp.EmulateViewport(1300, 900))
	shots(t, ctx, "laptop-sheet")
	fits(t, ctx)
	h.tap("#lot-form button.main")
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS("#pdf")))
	if pdf := fetched(t, eval[string](t, ctx, `document.getElementById("pdf").href`)); !strings.HasPrefix(pdf, "%PDF-") {
		t.Error("the lot's quote is no PDF")
	}
	if text := eval[string](t, ctx, `document.getElementById("answer").textContent`); !strings.Contains(text, "L-00001") {
		t.Errorf("the page says %q", text)
	}
}

// TestSheetFollowsTheEye: a mark that was left out by hand is in no class of the sheet, and none is the deepest; taken back, it is there again.
func TestSheetFollowsTheEye(t *testing.T) {
	y := openYard(t)
	p, err := y.st.SavePerson(t.Context(), job.Person{Name: "Lindenhof Parcels"})
	if err != nil {
		t.Fatal(err)
	}
	of := door
	of.PersonID = p.ID
	j, c := measured(t, y.st, of, "before")
	line := func() string {
		_, list, _ := strings.Cut(y.get("/hail/"+p.ID+"/sheet.csv"), "\n")
		return strings.ReplaceAll(strings.TrimSpace(list), `"`, "")
	}
	before := line()
	if len(c.Sizes) != 1 || !strings.Contains(before, ",1,0,0,1,0,0,0.80,") {
		t.Fatalf("%q, %+v", before, c.Sizes)
	}
	y.must("/jobs/"+j.ID+"/eye", url.Values{"capture": {c.ID}, "do": {"ignore"}, "mark": {c.Sizes[0].ID}})
	if after := line(); !strings.Contains(after, ",0,0,0,0,0,0,0.00,") {
		t.Errorf("left out by hand: %q, before %q", after, before)
	}
	y.must("/jobs/"+j.ID+"/eye/undo", url.Values{"capture": {c.ID}})
	if after := line(); after != before {
		t.Errorf("taken back: %q, before %q", after, before)
	}
}
