package web_test

import (
	"context"
	"fmt"
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
	t.Helper()
	png, err := []byte(nil), context.DeadlineExceeded
	for try := 0; err != nil; try++ {
		if try == 20 {
			t.Fatal(err)
		}
		// The page may just be changing, and then there is no answer at all.
		limited, cancel := context.WithTimeout(ctx, 15*time.Second)
		png, err = chromedp.Run(limited, chromedp.FullScreenshot(100))
		cancel()
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

// cameraPhotos are the test photos as a camera would leave them: numbered in the order of the board page's steps, with the focal length in
// EXIF, and nothing else beside them.
func cameraPhotos(t *testing.T) []string {
	t.Helper()
	// A TIFF block with one directory that points to the EXIF directory, which holds FocalLengthIn35mmFilm (0xa405) of 28 mm: the test
	// photos' 905.9 px over their diagonal of 1400 px, times 43.27 mm.
	tiff := []byte{'I', 'I', 42, 0, 8, 0, 0, 0, 1, 0, 0x69, 0x87, 4, 0, 1, 0, 0, 0, 26, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0x05, 0xa4, 3, 0, 1, 0, 0, 0, 28, 0, 0, 0, 0, 0, 0, 0}
	app1 := append([]byte{0xff, 0xe1, 0, byte(2 + 6 + len(tiff))}, append([]byte("Exif\x00\x00"), tiff...)...)
	dir := t.TempDir()
	var out []string
	for _, p := range photos(t) {
		if filepath.Ext(p) != ".jpg" {
			continue
		}
		data, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(dir, fmt.Sprintf("IMG_%04d.jpg", 100+len(out)))
		if err := os.WriteFile(name, append(append(append([]byte{}, data[:2]...), app1...), data[2:]...), 0o600); err != nil {
			t.Fatal(err)
		}
		out = append(out, name)
	}
	return out
}

// hand counts what a person does: each tap, each field filled in, each choice of files.
type hand struct {
	t   *testing.T
	ctx context.Context
	n   int
}

// act does one thing to an element once it is there; the page may be changing for the next at that moment, and the element with it.
func (h *hand) act(css string, f func(chromedp.CSS) chromedp.Action[chromedp.Void]) {
	h.t.Helper()
	h.n++
	limit := time.Now().Add(90 * time.Second)
	for {
		short, cancel := context.WithTimeout(h.ctx, 30*time.Second)
		err := chromedp.Do(short, chromedp.WaitVisible(chromedp.CSS(css)), f(chromedp.CSS(css)))
		cancel()
		if err == nil {
			return
		}
		if time.Now().After(limit) {
			h.t.Fatalf("%s: %v; page: %s", css, err, eval[string](h.t, h.ctx, "document.body.innerText.slice(0, 400)"))
		}
	}
}

func (h *hand) tap(css string) {
	h.t.Helper()
	h.act(css, func(s chromedp.CSS) chromedp.Action[chromedp.Void] { return chromedp.Click(s) })
}

func (h *hand) fill(css, text string) {
	h.t.Helper()
	h.act(css, func(s chromedp.CSS) chromedp.Action[chromedp.Void] { return chromedp.SendKeys(s, text) })
}

func (h *hand) files(css string, names []string) {
	h.t.Helper()
	h.act(css, func(s chromedp.CSS) chromedp.Action[chromedp.Void] { return chromedp.SetUploadFiles(s, names) })
}

// TestPhotosToQuote is the main job in the browser, from an empty workshop to the quote as PDF, on a phone and from the photos as the camera
// left them: a job, its photos, progress, marks, price, paper. What a person does for it is counted.
func TestPhotosToQuote(t *testing.T) {
	_, srv := shop(t)
	ctx := browser(t)
	h := &hand{t: t, ctx: ctx}
	started := time.Now()
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(srv.URL+"/"))
	shots(t, ctx, "phone-empty")
	h.tap(".button.main")
	h.fill("input[name=customer]", "Lindenhof Parcels")
	h.fill("input[name=vehicle]", "Van 07")
	shots(t, ctx, "phone-newjob")
	h.tap("[data-place=slide-left]")
	until(t, ctx, `document.querySelector(".picked").textContent.includes("left")`)
	h.tap("button.main")
	h.fill("input[name=um_2_1]", "118")
	h.fill("textarea[name=says]", "A trolley rolled into it.")
	until(t, ctx, `document.querySelector(".coat").textContent.includes("factory film")`)
	shots(t, ctx, "phone-arrive")
	h.tap(".stick button.main")
	h.files("#photos", cameraPhotos(t))
	h.fill("input[name=distance]", "450")
	shots(t, ctx, "phone-capture")
	h.tap("#send")
	until(t, ctx, `document.querySelector("#viewer[data-ready=yes]")`)
	h.tap("#to-offer")
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS("#make-quote")))
	shots(t, ctx, "phone-offer")
	h.tap("#make-quote")
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS("#pdf")))
	shots(t, ctx, "phone-quoted")
	h.n++ // the tap on the PDF itself, which opens a window of its own
	pdf := fetched(t, eval[string](t, ctx, `document.getElementById("pdf").href`))
	if !strings.HasPrefix(pdf, "%PDF-") {
		t.Errorf("the quote is no PDF: %d bytes", len(pdf))
	}
	t.Logf("%d interactions, %.0f s", h.n, time.Since(started).Seconds())
	if h.n >= 25 {
		t.Errorf("%d interactions from the empty workshop to the quote, want fewer than 25", h.n)
	}
	base := strings.SplitN(eval[string](t, ctx, "location.pathname"), "/", 4)[2]
	do(t, ctx, chromedp.Navigate(srv.URL+"/jobs/"+base+"/look"))
	until(t, ctx, `document.querySelector("#viewer[data-ready=yes]")`)
	if rows := eval[int](t, ctx, `document.querySelectorAll("#marks tbody tr").length`); rows != 1 {
		t.Errorf("%d marks in the list, want 1", rows)
	}
	if depth := eval[string](t, ctx, `document.querySelector("#marks tbody tr td:last-child").textContent`); !strings.HasPrefix(depth, "0.79") && !strings.HasPrefix(depth, "0.80") {
		t.Errorf("depth %q mm, want 0.80", depth)
	}
	fits(t, ctx)
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
	// The plan lists its hits.
	do(t, ctx, chromedp.Navigate(srv.URL+"/jobs/"+base+"/work"))
	if n := eval[int](t, ctx, `document.querySelectorAll(".hits tbody tr").length`); n < 5 {
		t.Errorf("%d hits in the plan", n)
	}
	shots(t, ctx, "laptop-work")
	do(t, ctx, chromedp.Navigate(srv.URL+"/jobs/"+base+"/offer"))
	shots(t, ctx, "laptop-offer")
	do(t, ctx, chromedp.Navigate(srv.URL+"/jobs/"+base+"/arrive"))
	shots(t, ctx, "laptop-arrive")
	for _, page := range []string{"/", "/jobs/new", "/hail", "/jobs/" + base + "/arrive", "/jobs/" + base + "/capture", "/jobs/" + base + "/offer"} {
		do(t, ctx, chromedp.Navigate(srv.URL+page))
		fits(t, ctx)
	}
	// German words are longer.
	eval[bool](t, ctx, `Boolean(document.cookie = "lang=de; path=/")`)
	for _, page := range []string{"/", "/jobs/" + base + "/arrive", "/jobs/" + base + "/offer"} {
		do(t, ctx, chromedp.Navigate(srv.URL+page))
		until(t, ctx, `document.documentElement.lang === "de"`)
		fits(t, ctx)
	}
	eval[bool](t, ctx, `Boolean(document.cookie = "lang=en; path=/")`)
	// Another panel of the same vehicle takes two taps; the second may be a key.
	do(t, ctx, chromedp.Navigate(srv.URL+"/jobs/"+base+"/arrive"))
	h.tap(`a[href="/jobs/new?job=` + base + `"]`)
	until(t, ctx, `document.querySelector(".vehicle[data-submit] .picked")?.textContent`)
	eval[bool](t, ctx, `document.querySelector("[data-place=bonnet]").dispatchEvent(new KeyboardEvent("keydown", { key: "Enter" }))`)
	until(t, ctx, `location.pathname.endsWith("/arrive") && !location.pathname.includes("`+base+`") && document.querySelector("h1")`)
	if head := eval[string](t, ctx, `document.querySelector("h1").textContent`); head != "Van 07 Bonnet" {
		t.Errorf("the other panel's job is headed %q", head)
	}
	do(t, ctx, chromedp.Navigate(srv.URL+"/"))
	shots(t, ctx, "laptop-bench")
}

// fits checks that a page needs no horizontal scroll from the narrowest phone to a wide screen.
func fits(t *testing.T, ctx context.Context) {
	t.Helper()
	for _, width := range []int64{360, 390, 1300, 2560} {
		do(t, ctx, chromedp.EmulateViewport(width, 900))
		narrow(t, ctx)
	}
	do(t, ctx, chromedp.EmulateViewport(1300, 900))
}

// narrow wants a page that does not scroll sideways. It waits for the whole page: one without its style sheet yet is wider.
func narrow(t *testing.T, ctx context.Context) {
	t.Helper()
	until(t, ctx, `document.readyState === "complete"`)
	if over := eval[int](t, ctx, "document.documentElement.scrollWidth - innerWidth"); over > 0 {
		t.Errorf("%s: at %d px the page is %d px too wide", eval[string](t, ctx, "location.pathname"), eval[int](t, ctx, "innerWidth"), over)
	}
}

// fetched reads what an address of the app gives.
func fetched(t *testing.T, address string) string {
	t.Helper()
	resp, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s, %v", address, resp.Status, err)
	}
	return string(body)
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
