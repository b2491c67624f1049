package door_test

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"fairmetal/door"
	"fairmetal/internal/hostile"
	"fairmetal/job"
	"fairmetal/meter"
	"fairmetal/store"
	"fairmetal/web"
	"fairmetal/workshop"
)

// appBehindDoor is the real app on an empty workshop, and a door with an authority for these names.
func appBehindDoor(t *testing.T, names ...string) (*store.Store, *web.App, *door.Door) {
	t.Helper()
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	app, err := web.New(st, workshop.New(st))
	if err != nil {
		t.Fatal(err)
	}
	d := door.New(st)
	if d.Trust, err = door.OpenAuthority(filepath.Join(t.TempDir(), "door"), names, time.Now); err != nil {
		t.Fatal(err)
	}
	return st, app, d
}

// TestTheAppByRole asks every address of the real app and of the door as each role, with records that are there and with none, and
// crawls it as a stranger.
func TestTheAppByRole(t *testing.T) {
	ctx := t.Context()
	st, app, d := appBehindDoor(t, "shop.local")
	d.Address, d.Metrics = "https://shop.local:8478", meter.New()
	const passphrase = "four words of some length"
	for _, r := range []job.Role{job.Viewer, job.Technician, job.Owner} {
		if _, err := d.AddUser(ctx, "the "+string(r), r, passphrase); err != nil {
			t.Fatal(err)
		}
	}
	j, err := st.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof", Customer: "Lindenhof Parcels"})
	if err != nil {
		t.Fatal(err)
	}
	sent := map[string][]byte{"u.jpg": hostile.WithPlace(hostile.JPEG()), "photo.heic": hostile.WithPlace(hostile.JPEG()), "capture.json": []byte(`{"name":"PLACE-OF-HOME"}`)}
	c, err := st.AddCapture(ctx, j.ID, "before", sent)
	if err != nil {
		t.Fatal(err)
	}
	paper, err := st.AddPaper(ctx, job.Paper{JobID: j.ID, Kind: "quote", Number: "Q-00001", State: "sent"}, map[string][]byte{"quote.pdf": []byte("%PDF-1.7")})
	if err != nil {
		t.Fatal(err)
	}
	net := d.Network(app.DoorRoutes(), d.Trust.Names())
	client := 0
	ask := func(method, path, cookie string, form url.Values) (*http.Response, string) {
		r := httptest.NewRequest(method, "https://shop.local:8478"+path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Accept", "text/html")
		client++
		r.RemoteAddr = "10.1." + string(rune('0'+client%10)) + ".2:99"
		if cookie != "" {
			r.Header.Set("Cookie", cookie)
		}
		reqCtx, end := context.WithCancel(r.Context())
		defer end()
		if path == "/events" {
			time.AfterFunc(200*time.Millisecond, end) // a stream ends with its request
		}
		w := httptest.NewRecorder()
		net.ServeHTTP(w, r.WithContext(reqCtx))
		res := w.Result()
		b, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res, string(b)
	}
	enter := func(r job.Role) string {
		if r == job.Anybody {
			return ""
		}
		res, _ := ask("POST", "/sign-in", "", url.Values{"name": {"the " + string(r)}, "passphrase": {passphrase}})
		if len(res.Cookies()) == 0 {
			t.Fatalf("%s does not get in: %d", r, res.StatusCode)
		}
		return res.Cookies()[0].Name + "=" + res.Cookies()[0].Value
	}
	routes := append(app.DoorRoutes(), d.Own()...)
	checkTable(t, routes)
	let, kept := 0, 0
	for _, role := range []job.Role{job.Anybody, job.Viewer, job.Technician, job.Owner} {
		cookie := enter(role)
		for _, r := range routes {
			method, path, ok := strings.Cut(strings.TrimSuffix(r.Pattern, "{$}"), " ")
			if !ok {
				t.Errorf("%s takes any method", r.Pattern)
				continue
			}
			if r.Pattern == "POST /sign-in" || r.Pattern == "POST /sign-out" {
				continue
			}
			if r.Least == job.Anybody && method != "GET" && r.Pattern != "POST /q/{code}" && !strings.HasPrefix(path, "/sign-in/passkey") {
				t.Errorf("%s changes something for anybody", r.Pattern)
			}
			for _, id := range []string{j.ID, paper.ID, "nobody"} {
				at := regexp.MustCompile(`\{[^}]*\}`).ReplaceAllString(path, id)
				res, body := ask(method, at, cookie, nil)
				got := "through"
				switch {
				case res.StatusCode == 401, res.StatusCode == 303 && strings.HasPrefix(res.Header.Get("Location"), "/sign-in?"):
					got = "sign in"
				case res.StatusCode == 403:
					got = "forbidden"
				}
				want := "through"
				switch {
				case role.May(r.Least):
					let++
				case role == job.Anybody:
					want = "sign in"
				default:
					want = "forbidden"
				}
				if want != "through" {
					kept++
				}
				if got != want {
					t.Errorf("%s as %q: %s (%d), want %s", r.Pattern, role, got, res.StatusCode, want)
				}
				if role == job.Anybody && (strings.Contains(body, "Van 12") || strings.Contains(body, "Lindenhof") || strings.Contains(body, "%PDF")) {
					t.Errorf("%s tells a stranger of the work", r.Pattern)
				}
			}
			if role != job.Anybody && (strings.Contains(path, "/end") || strings.Contains(path, "passphrase") || strings.Contains(path, "remove")) {
				cookie = enter(role)
			}
		}
	}
	if let < 100 || kept < 60 {
		t.Errorf("%d let through, %d kept out: this was no test", let, kept)
	}
	// Photos as they were sent tell where they were taken. Nobody gets them but by a backup.
	cookie := enter(job.Owner)
	for n := range sent {
		if res, body := ask("GET", "/captures/"+c.ID+"/"+n, cookie, nil); res.StatusCode != http.StatusNotFound || strings.Contains(body, "PLACE-OF-HOME") {
			t.Errorf("%s as it was sent: %d", n, res.StatusCode)
		}
	}
	// What a stranger may see, and all of it.
	public := map[string]bool{"GET /healthz": true, "GET /assets/": true, "GET /sign-in": true, "POST /sign-in": true, "POST /sign-in/passkey/begin": true, "POST /sign-in/passkey": true, "GET /trust": true, "GET /trust/ca.crt": true, "GET /worker.js": true, "GET /offline": true, "GET /q/{code}": true, "POST /q/{code}": true, "GET /q/{code}/quote.pdf": true}
	for _, r := range routes {
		if (r.Least == job.Anybody) != public[r.Pattern] {
			t.Errorf("%s needs %q", r.Pattern, r.Least)
		}
	}
}

// checkTable compares the routes with testdata/roles.txt, which was written by thinking, not by the program: who adds a route decides
// there who may use it, and who changes a role changes two places.
func checkTable(t *testing.T, routes []door.Route) {
	t.Helper()
	f, err := os.Open("testdata/roles.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want := map[string]string{}
	for s := bufio.NewScanner(f); s.Scan(); {
		if role, pattern, ok := strings.Cut(s.Text(), " "); ok && !strings.HasPrefix(role, "#") {
			want[strings.TrimSpace(pattern)] = role
		}
	}
	for _, r := range routes {
		role := string(r.Least)
		if r.Least == job.Anybody {
			role = "anybody"
		}
		switch w, ok := want[r.Pattern]; {
		case !ok:
			t.Errorf("%s stands in no table of roles: decide in testdata/roles.txt who may use it", r.Pattern)
		case w != role:
			t.Errorf("%s needs %s, the table says %s", r.Pattern, role, w)
		}
		delete(want, r.Pattern)
	}
	for pattern := range want {
		t.Errorf("%s stands in the table of roles and is no route", pattern)
	}
}
