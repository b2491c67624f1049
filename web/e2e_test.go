package web_test

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/web"
	"fairmetal/workshop"
)

// shop starts a workshop with its app on a free port of this computer.
func shop(t *testing.T) (*store.Store, *httptest.Server) {
	t.Helper()
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	w := workshop.New(st)
	app, err := web.New(st, w)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	srv := httptest.NewServer(app.Handler())
	t.Cleanup(func() {
		stop()
		srv.CloseClientConnections()
		srv.Close()
		if err := <-done; err != nil {
			t.Errorf("measuring: %v", err)
		}
		st.Close()
	})
	return st, srv
}

// browser starts headless Chromium, or skips.
func browser(t *testing.T) context.Context {
	t.Helper()
	path := ""
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no Chromium on this machine: the app was not tried in a browser")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true))
	alloc, cancelAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel(); cancelAlloc() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("Chromium does not start: %v", err)
	}
	return ctx
}

// shots saves a picture of the page when FAIRMETAL_SHOTS names a folder: for people to look at.
func shots(t *testing.T, ctx context.Context, name string) {
	dir := os.Getenv("FAIRMETAL_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	limited, cancel := context.WithTimeout(ctx, 90*time.Second)
	defer cancel()
	if err := chromedp.Do(limited, steps...); err != nil {
		t.Fatal(err)
	}
}

func eval[T any](t *testing.T, ctx context.Context, js string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js))
	if err != nil {
		t.Fatalf("%s: %v", js, err)
	}
	return v
}

func until(t *testing.T, ctx context.Context, js string) {
	t.Helper()
	limit := time.Now().Add(90 * time.Second)
	for time.Now().Before(limit) {
		if v, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("Boolean("+js+")")); err == nil && v {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatalf("never came true: %s; page: %s", js, eval[string](t, ctx, "document.body.innerText.slice(0, 400)"))
}

func photos(t *testing.T) []string {
	t.Helper()
	f, err := filepath.Glob("../inspection/testdata/one-ding/*")
	if err != nil || len(f) < 17 {
		t.Fatalf("the test photos are missing: %v", err)
	}
	for i := range f {
		if f[i], err = filepath.Abs(f[i]); err != nil {
			t.Fatal(err)
		}
	}
	sort.Strings(f)
	return f
}

// TestPhotosToQuote is the main job in the browser: a job, its photos, progress, marks, the PDF; on a phone and on a laptop.
func TestPhotosToQuote(t *testing.T) {
	_, srv := shop(t)
	ctx := browser(t)
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(srv.URL+"/"))
	shots(t, ctx, "phone-empty")
	do(t, ctx, chromedp.Click(chromedp.CSS(".button.main")), chromedp.WaitVisible(chromedp.CSS("input[name=vehicle]")),
		chromedp.SendKeys(chromedp.CSS("input[name=vehicle]"), "Van 07"), chromedp.SendKeys(chromedp.CSS("input[name=panel]"), "Sliding door, left"))
	shots(t, ctx, "phone-newjob")
	do(t, ctx, chromedp.Click(chromedp.CSS("button.main")), chromedp.WaitVisible(chromedp.CSS("#photos")),
		chromedp.SetUploadFiles(chromedp.CSS("#photos"), photos(t)))
	shots(t, ctx, "phone-capture")
	do(t, ctx, chromedp.Click(chromedp.CSS("#send")))
	until(t, ctx, `document.querySelector("#viewer[data-ready=yes]")`)
	if rows := eval[int](t, ctx, `document.querySelectorAll("#marks tbody tr").length`); rows != 1 {
		t.Errorf("%d marks in the list, want 1", rows)
	}
	if depth := eval[string](t, ctx, `document.querySelector("#marks tbody tr td:last-child").textContent`); !strings.HasPrefix(depth, "0.79") && !strings.HasPrefix(depth, "0.80") {
		t.Errorf("depth %q mm, want 0.80", depth)
	}
	for _, width := range []int64{360, 390, 1300, 2560} {
		do(t, ctx, chromedp.EmulateViewport(width, 900))
		if over := eval[int](t, ctx, "document.documentElement.scrollWidth - innerWidth"); over > 0 {
			t.Errorf("at %d px the page is %d px too wide", width, over)
		}
	}
	do(t, ctx, chromedp.EmulateViewport(390, 844))
	shots(t, ctx, "phone-job")
	do(t, ctx, chromedp.EmulateViewport(1300, 900))
	shots(t, ctx, "laptop-job")
	// The fade slider fades the heat map.
	eval[bool](t, ctx, `(() => { const f = document.getElementById("fade"); f.value = 20; f.dispatchEvent(new Event("input")); return true })()`)
	if o := eval[string](t, ctx, `document.getElementById("heat").style.opacity`); o != "0.2" {
		t.Errorf("opacity %q after fading", o)
	}
	// The section line shows the dent's depth.
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-view=map]")))
	until(t, ctx, `document.getElementById("readout").textContent.match(/-(79|80)\d/)`)
	shots(t, ctx, "laptop-map")
	// The solid draws something and turns.
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-view=solid]")))
	until(t, ctx, `document.getElementById("solid").dataset.drawn`)
	before := eval[string](t, ctx, `document.getElementById("solid").toDataURL().slice(-4000)`)
	eval[bool](t, ctx, `document.getElementById("solid").dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight" }))`)
	if eval[string](t, ctx, `document.getElementById("solid").toDataURL().slice(-4000)`) == before {
		t.Error("the solid does not turn")
	}
	shots(t, ctx, "laptop-solid")
	// The plan lists its hits; the price is there, and the PDF is one.
	base := strings.SplitN(eval[string](t, ctx, "location.pathname"), "/", 4)[2]
	do(t, ctx, chromedp.Navigate(srv.URL+"/jobs/"+base+"/work"))
	if n := eval[int](t, ctx, `document.querySelectorAll(".hits tbody tr").length`); n < 5 {
		t.Errorf("%d hits in the plan", n)
	}
	shots(t, ctx, "laptop-work")
	do(t, ctx, chromedp.Navigate(srv.URL+"/jobs/"+base+"/offer"))
	shots(t, ctx, "laptop-offer")
	href := eval[string](t, ctx, `document.getElementById("pdf").href`)
	resp, err := http.Get(href)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	pdf, err := io.ReadAll(resp.Body)
	if err != nil || !strings.HasPrefix(string(pdf), "%PDF-") {
		t.Errorf("the quote is no PDF: %v, %d bytes", err, len(pdf))
	}
	do(t, ctx, chromedp.Navigate(srv.URL+"/"))
	shots(t, ctx, "laptop-bench")
}

// TestRefusedPhotos: half of the photos are missing; the form says so, keeps what was typed, and nothing is stored.
func TestRefusedPhotos(t *testing.T) {
	st, srv := shop(t)
	ctx := browser(t)
	j, err := st.AddJob(t.Context(), job.Job{Vehicle: "Van 07", Panel: "Door"})
	if err != nil {
		t.Fatal(err)
	}
	some := photos(t)[:4] // capture.json and three photos
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(srv.URL+"/jobs/"+j.ID+"/capture"), chromedp.WaitVisible(chromedp.CSS("#photos")),
		chromedp.SetUploadFiles(chromedp.CSS("#photos"), some), chromedp.SendKeys(chromedp.CSS("input[name=title]"), "first try"), chromedp.Click(chromedp.CSS("#send")))
	until(t, ctx, `document.querySelector(".problem")`)
	if text := eval[string](t, ctx, `document.querySelector(".problem").textContent`); !strings.Contains(text, "was not sent") {
		t.Errorf("problem %q", text)
	}
	if v := eval[string](t, ctx, `document.querySelector("input[name=title]").value`); v != "first try" {
		t.Errorf("the typed name became %q", v)
	}
	shots(t, ctx, "phone-refused")
	if cs, err := st.Captures(t.Context(), j.ID); err != nil || len(cs) != 0 {
		t.Errorf("stored: %+v, %v", cs, err)
	}
}

// TestBoardPage steps through the sixteen patterns.
func TestBoardPage(t *testing.T) {
	_, srv := shop(t)
	ctx := browser(t)
	do(t, ctx, chromedp.EmulateViewport(1300, 900), chromedp.Navigate(srv.URL+"/board"), chromedp.WaitVisible(chromedp.CSS("#b-go")))
	shots(t, ctx, "laptop-board")
	do(t, ctx, chromedp.Click(chromedp.CSS("#b-go")))
	until(t, ctx, `document.getElementById("stripes").dataset.step`)
	seen := map[string]bool{}
	for range 16 {
		seen[eval[string](t, ctx, `document.getElementById("stripes").dataset.step`)] = true
		eval[bool](t, ctx, `dispatchEvent(new KeyboardEvent("keydown", { key: " " }))`)
	}
	if len(seen) != 16 || !seen["u 16 0.25"] || !seen["v 128 0.75"] {
		t.Errorf("%d different steps: %v", len(seen), seen)
	}
	if !eval[bool](t, ctx, `document.getElementById("board").hidden`) {
		t.Error("the board stays on after the last step")
	}
}
