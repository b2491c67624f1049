package web_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
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
