package door

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/alexedwards/argon2id"

	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/meter"
	"fairmetal/store"
)

func TestMain(m *testing.M) {
	// Cheap hashes: what they cost is no matter of these tests.
	params = &argon2id.Params{Memory: 64, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32}
	slog.SetDefault(slog.New(slog.DiscardHandler))
	code := m.Run()
	pgtest.Stop()
	os.Exit(code)
}

const passphrase = "four words of some length"

// house is a door before a workshop, with its clock.
type house struct {
	*Door
	store *store.Store
	clock time.Time
	paper job.Paper
	other job.Paper
}

func open(t testing.TB) *house {
	t.Helper()
	ctx := t.Context()
	s, err := store.Open(ctx, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	h := &house{Door: New(s), store: s, clock: time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)}
	h.now = func() time.Time { return h.clock }
	h.Address = "https://192.168.7.20:8478"
	h.Metrics = meter.New()
	if h.Trust, err = OpenAuthority(filepath.Join(t.TempDir(), "door"), []string{"192.168.7.20", "shop.local", "localhost", "127.0.0.1"}, h.now); err != nil {
		t.Fatal(err)
	}
	for _, r := range []job.Role{job.Viewer, job.Technician, job.Owner} {
		if _, err := h.AddUser(ctx, "the "+string(r), r, passphrase); err != nil {
			t.Fatal(err)
		}
	}
	j, err := s.AddJob(ctx, job.Job{Vehicle: "Van 12", Panel: "Roof"})
	if err != nil {
		t.Fatal(err)
	}
	add := func(kind, number string) job.Paper {
		p, err := s.AddPaper(ctx, job.Paper{JobID: j.ID, Kind: kind, Number: number, State: "sent"}, map[string][]byte{kind + ".pdf": []byte("%PDF-" + number)})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	h.paper, h.other = add("quote", "Q-00001"), add("invoice", "R-00001")
	return h
}

func roomOf(r job.Role) string {
	if r == job.Anybody {
		return "anybody"
	}
	return string(r)
}

// rooms are made-up routes, one for each role.
func rooms() []Route {
	var out []Route
	for _, r := range []job.Role{job.Anybody, job.Viewer, job.Technician, job.Owner} {
		for _, method := range []string{"GET", "POST"} {
			out = append(out, Route{Pattern: method + " /room/" + roomOf(r), Least: r, Handle: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				fmt.Fprintf(w, "room of %s at %s", User(r.Context()).Name, Address(r.Context()))
			})})
		}
	}
	return append(out, Route{Pattern: "GET /fall", Least: job.Anybody, Handle: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { panic("a programmer's slip") })},
		Route{Pattern: "POST /read", Least: job.Anybody, Handle: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			n, err := io.Copy(io.Discard, r.Body)
			fmt.Fprint(w, n, err)
		}), MaxBytes: 1000})
}

// ask sends one request straight to a handler.
func ask(h http.Handler, method, target, cookies string, form url.Values, change ...func(*http.Request)) *http.Response {
	r := httptest.NewRequest(method, target, strings.NewReader(form.Encode()))
	r.RemoteAddr = "192.168.7.55:4000"
	if strings.HasPrefix(target, "http://127") {
		r.RemoteAddr = "127.0.0.1:4000"
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Accept", "text/html")
	if cookies != "" {
		r.Header.Set("Cookie", cookies)
	}
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Result()
}

const base = "https://192.168.7.20:8478"

func (h *house) enter(t testing.TB, net http.Handler, name string) string {
	t.Helper()
	res := ask(net, "POST", base+"/sign-in", "", url.Values{"name": {name}, "passphrase": {passphrase}})
	if res.StatusCode != http.StatusSeeOther || len(res.Cookies()) != 1 {
		t.Fatalf("%s does not get in: %d", name, res.StatusCode)
	}
	c := res.Cookies()[0]
	if !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || !strings.HasPrefix(c.Name, "__Host-") {
		t.Errorf("the session's cookie is open: %+v", c)
	}
	return c.Name + "=" + c.Value
}

// status sorts answers: who was let through, who was sent to sign in, who was told that the role does not reach.
func status(res *http.Response) string {
	switch {
	case res.StatusCode == http.StatusUnauthorized, res.StatusCode == http.StatusSeeOther && strings.HasPrefix(res.Header.Get("Location"), "/sign-in?"):
		return "sign in"
	case res.StatusCode == http.StatusForbidden:
		return "forbidden"
	}
	return "through"
}

// TestEveryRouteEveryRole: each address of the door and of a made-up app, asked by each role.
func TestEveryRouteEveryRole(t *testing.T) {
	h := open(t)
	routes := append(h.routes(true), rooms()...)
	net := h.Network(rooms(), h.Trust.Names())
	through := 0
	for _, role := range []job.Role{job.Anybody, job.Viewer, job.Technician, job.Owner} {
		for _, r := range routes {
			cookies := ""
			if role != job.Anybody {
				cookies = h.enter(t, net, "the "+string(role)) // anew: some routes end sessions
				h.clock = h.clock.Add(time.Minute)
			}
			method, path, _ := strings.Cut(strings.TrimSuffix(r.Pattern, "{$}"), " ")
			path = strings.NewReplacer("{id}", "nobody", "{token}", "nothing", "{name}", "x.pdf").Replace(path)
			want := "through"
			switch {
			case role.May(r.Least):
				through++
			case role == job.Anybody:
				want = "sign in"
			default:
				want = "forbidden"
			}
			if r.Pattern == "POST /sign-in" && role == job.Anybody {
				continue // its 401 is about the passphrase
			}
			if got := status(ask(net, method, base+path, cookies, nil)); got != want && r.Pattern != "POST /sign-in" {
				t.Errorf("%s as %q: %s, want %s", r.Pattern, role, got, want)
			}
		}
	}
	if through < 50 {
		t.Errorf("only %d were let through: the table is empty", through)
	}
}

var address = regexp.MustCompile(`(?:href|src|action)="([^"]*)"`)

// TestStrangersFindNothing: a crawl without signing in, from every address there is, meets public pages only, and learns nothing of
// what lies behind: an address that is there answers as one that is not.
func TestStrangersFindNothing(t *testing.T) {
	h := open(t)
	net := h.Network(rooms(), h.Trust.Names())
	public := map[string]bool{"/sign-in": true, "/trust": true, "/trust/ca.crt": true, "/healthz": true, "/metrics": false, "/room/anybody": true}
	queue := []string{"/", "/nowhere", "/..%2f..%2fetc/passwd", "//room/owner", "/door", "/me"}
	for _, r := range append(h.routes(true), rooms()...) {
		if _, path, _ := strings.Cut(strings.TrimSuffix(r.Pattern, "{$}"), " "); path != "/fall" {
			queue = append(queue, strings.NewReplacer("{id}", h.paper.ID, "{token}", h.paper.ID, "{name}", "quote.pdf").Replace(path))
		}
	}
	seen := map[string]bool{}
	for len(queue) > 0 {
		path := queue[0]
		queue = queue[1:]
		if seen[path] || !strings.HasPrefix(path, "/") {
			continue
		}
		seen[path] = true
		h.clock = h.clock.Add(time.Minute)
		res := ask(net, "GET", base+path, "", nil)
		body, _ := io.ReadAll(res.Body)
		bare, _, _ := strings.Cut(path, "?")
		switch {
		case res.StatusCode == http.StatusOK && public[bare]:
			for _, m := range address.FindAllStringSubmatch(string(body), -1) {
				queue = append(queue, m[1])
			}
		case res.StatusCode == http.StatusSeeOther:
			queue = append(queue, res.Header.Get("Location"))
		case res.StatusCode == http.StatusNotFound && strings.HasPrefix(path, "/q/"), res.StatusCode == http.StatusMovedPermanently || res.StatusCode == http.StatusTemporaryRedirect:
		default:
			t.Errorf("%s answers %d to a stranger: %.80s", path, res.StatusCode, body)
		}
		if strings.Contains(string(body), "Van 12") || strings.Contains(string(body), "Q-0000") {
			t.Errorf("%s tells a stranger of the work", path)
		}
	}
	there, not := ask(net, "GET", base+"/papers/"+h.paper.ID, "", nil), ask(net, "GET", base+"/papers/nobody", "", nil)
	if there.StatusCode != not.StatusCode {
		t.Errorf("a stranger can tell what is there: %d, %d", there.StatusCode, not.StatusCode)
	}
}

func TestSessionsEnd(t *testing.T) {
	h := open(t)
	net := h.Network(rooms(), h.Trust.Names())
	room := func(c string) string { return status(ask(net, "GET", base+"/room/viewer", c, nil)) }
	for _, c := range []struct {
		what string
		do   func(session string)
		want string
	}{
		{"at once", func(string) {}, "through"},
		{"after an hour", func(string) { h.clock = h.clock.Add(time.Hour) }, "through"},
		{"unused for a night", func(string) { h.clock = h.clock.Add(13 * time.Hour) }, "sign in"},
		{"used for three weeks", func(s string) {
			for range 21 * 3 {
				h.clock = h.clock.Add(8 * time.Hour)
				room(s)
			}
		}, "sign in"},
		{"signed out", func(s string) { ask(net, "POST", base+"/sign-out", s, nil) }, "sign in"},
		{"passphrase changed", func(s string) {
			if res := ask(net, "POST", base+"/me/passphrase", s, url.Values{"passphrase": {passphrase + "!"}}); res.StatusCode != http.StatusSeeOther {
				t.Errorf("not changed: %d", res.StatusCode)
			}
			u, err := h.store.UserNamed(t.Context(), "the viewer")
			if err != nil {
				t.Fatal(err)
			}
			hash, err := Hash("", passphrase)
			if err == nil {
				err = h.store.SetPassphrase(t.Context(), u.ID, hash)
			}
			if err != nil {
				t.Fatal(err)
			}
		}, "sign in"},
		{"made up", func(string) {}, "through"},
	} {
		s := h.enter(t, net, "The  VIEWER")
		c.do(s)
		if got := room(s); got != c.want {
			t.Errorf("%s: %s, want %s", c.what, got, c.want)
		}
		h.clock = h.clock.Add(time.Hour)
	}
	if got := room(cookie + "=" + strings.Repeat("A", 43)); got != "sign in" {
		t.Errorf("a made-up session: %s", got)
	}
	// A session is worth nothing without TLS, nor in the records' form.
	s := h.enter(t, net, "the viewer")
	if res := ask(net, "GET", base+"/room/viewer", s, nil, func(r *http.Request) { r.TLS = nil }); res.StatusCode != http.StatusForbidden {
		t.Errorf("without TLS: %d", res.StatusCode)
	}
	_, plain, _ := strings.Cut(s, "=")
	if got := room(cookie + "=" + hashed(plain)); got != "sign in" {
		t.Errorf("a stolen record opens the door: %s", got)
	}
	// Access taken away ends at once.
	u, err := h.store.UserNamed(t.Context(), "the viewer")
	if err != nil {
		t.Fatal(err)
	}
	if err := h.store.RemoveUser(t.Context(), u.ID); err != nil || room(s) != "sign in" {
		t.Errorf("after removal: %v, %s", err, room(s))
	}
	var field *job.FieldError
	o, err := h.store.UserNamed(t.Context(), "the owner")
	if err != nil {
		t.Fatal(err)
	}
	if err := h.store.RemoveUser(t.Context(), o.ID); !errors.As(err, &field) {
		t.Errorf("the last owner was removed: %v", err)
	}
}

func TestGuessing(t *testing.T) {
	h := open(t)
	net := h.Network(rooms(), h.Trust.Names())
	try := func(name, pass, from string) int {
		return ask(net, "POST", base+"/sign-in", "", url.Values{"name": {name}, "passphrase": {pass}}, func(r *http.Request) { r.RemoteAddr = from + ":1" }).StatusCode
	}
	refused := 0
	for range 40 {
		if try("the owner", "a guess of mine", "192.168.7.66") == http.StatusTooManyRequests {
			refused++
		}
	}
	if refused < 29 {
		t.Errorf("40 guesses at once, %d refused", refused)
	}
	if got := try("the owner", passphrase, "192.168.7.66"); got != http.StatusTooManyRequests {
		t.Errorf("the right one among the guesses: %d", got)
	}
	// From elsewhere it works meanwhile.
	if got := try("the technician", passphrase, "192.168.7.67"); got != http.StatusSeeOther {
		t.Errorf("somebody else, elsewhere: %d", got)
	}
	// A name is guarded against guesses from many places.
	h.clock = h.clock.Add(time.Hour)
	refused = 0
	for i := range 100 {
		if try("the owner", "a guess of mine", fmt.Sprintf("10.0.%d.1", i)) == http.StatusTooManyRequests {
			refused++
		}
	}
	if refused < 75 {
		t.Errorf("100 guesses from 100 places, %d refused", refused)
	}
	// An unknown name is answered as a wrong passphrase.
	h.clock = h.clock.Add(time.Hour)
	a := ask(net, "POST", base+"/sign-in", "", url.Values{"name": {"nobody"}, "passphrase": {passphrase}})
	b := ask(net, "POST", base+"/sign-in", "", url.Values{"name": {"the owner"}, "passphrase": {"wrong passphrase"}})
	x, _ := io.ReadAll(a.Body)
	y, _ := io.ReadAll(b.Body)
	if a.StatusCode != b.StatusCode || strings.ReplaceAll(string(x), "nobody", "the owner") != string(y) {
		t.Error("a stranger learns which names there are")
	}
	// All requests of one device are bounded too.
	last := 0
	for range 700 {
		last = ask(net, "GET", base+"/nowhere", "", nil).StatusCode
	}
	if last != http.StatusTooManyRequests {
		t.Errorf("after 700 requests at once: %d", last)
	}
}

func TestPassphrases(t *testing.T) {
	for p, good := range map[string]bool{"": false, "short": false, "aaaaaaaaaaaaaaaa": false, "Ann Example 1234": false, "grüße öfter": false, "grüße öfters": true, "four words of length": true, strings.Repeat("ab", 300): false} {
		if err := CheckPassphrase("ann example", p); (err == nil) != good {
			t.Errorf("%.20q: %v", p, err)
		}
	}
}

// TestElsewhere: pages of other sites and other names get nowhere.
func TestElsewhere(t *testing.T) {
	h := open(t)
	net, local := h.Network(rooms(), h.Trust.Names()), h.Loopback(rooms())
	s := h.enter(t, net, "the owner")
	set := func(k, v string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set(k, v) }
	}
	const here = "http://127.0.0.1:8477"
	for _, c := range []struct {
		what, method, url string
		h                 http.Handler
		change            func(*http.Request)
		want              int
	}{
		{"the app itself", "POST", base + "/room/owner", net, set("Sec-Fetch-Site", "same-origin"), 200},
		{"another site's form", "POST", base + "/room/owner", net, set("Sec-Fetch-Site", "cross-site"), 403},
		{"another origin", "POST", base + "/room/owner", net, set("Origin", "https://evil.example"), 403},
		{"another name", "GET", "https://evil.example/room/owner", net, set("X", "y"), 403},
		{"this computer", "GET", here + "/room/owner", local, set("X", "y"), 200},
		{"this computer by name", "GET", "http://localhost:8477/room/owner", local, set("X", "y"), 200},
		{"this computer, IPv6", "GET", "http://[::1]:8477/room/owner", local, set("X", "y"), 200},
		{"a name that leads here", "GET", "http://evil.example:8477/room/owner", local, set("X", "y"), 403},
		{"an address on the network", "GET", "http://192.168.7.20:8477/room/owner", local, set("X", "y"), 403},
		{"forwarded from elsewhere", "GET", here + "/room/owner", local, set("X-Forwarded-For", "203.0.113.9"), 403},
		{"another site's form, here", "POST", here + "/room/owner", local, set("Sec-Fetch-Site", "cross-site"), 403},
		{"a slip", "GET", here + "/fall", local, set("X", "y"), 500},
		{"nowhere", "GET", here + "/nowhere", local, set("X", "y"), 404},
	} {
		res := ask(c.h, c.method, c.url, s, nil, c.change)
		if res.StatusCode != c.want {
			t.Errorf("%s: %d, want %d", c.what, res.StatusCode, c.want)
		}
		csp := res.Header.Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || strings.Contains(csp, "http") || res.Header.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: headers %v", c.what, res.Header)
		}
	}
	// On this computer, too, a page knows where others find the workshop.
	if b, _ := io.ReadAll(ask(local, "GET", here+"/room/owner", "", nil).Body); string(b) != "room of owner at "+base {
		t.Errorf("%s", b)
	}
	// A body beyond the route's limit is cut.
	res := ask(net, "POST", base+"/read", "", url.Values{"x": {strings.Repeat("x", 5000)}})
	if b, _ := io.ReadAll(res.Body); !strings.HasPrefix(string(b), "1000") || !strings.Contains(string(b), "too large") {
		t.Errorf("a large body: %s", b)
	}
	for next, want := range map[string]string{"/jobs/1?c=2": "/jobs/1?c=2", "https://evil.example": "/", "//evil.example": "/", "/\\evil.example": "/", "": "/", "/sign-in": "/", "javascript:alert(1)": "/"} {
		if got := safeNext(next); got != want {
			t.Errorf("after signing in, %q leads to %q", next, got)
		}
	}
}

// TestNothingSecretIsLogged: passphrases, sessions and addresses appear in no log line and in no line of the trail.
func TestNothingSecretIsLogged(t *testing.T) {
	h := open(t)
	var log bytes.Buffer
	was := slog.Default()
	slog.SetDefault(slog.New(slog.NewJSONHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug})))
	defer slog.SetDefault(was)
	net := h.Network(rooms(), h.Trust.Names())
	s := h.enter(t, net, "the owner")
	ask(net, "GET", base+"/room/owner?x=secret-in-the-query", "", nil)
	ask(net, "GET", base+"/q/secret-in-the-path", "", nil)
	ask(net, "POST", base+"/sign-in", "", url.Values{"name": {"my passphrase, typed into the wrong field"}, "passphrase": {"a wrong passphrase"}})
	ask(net, "POST", base+"/door/people", s, url.Values{"name": {"new"}, "role": {"viewer"}, "passphrase": {"another long passphrase"}})
	ask(net, "GET", base+"/fall", s, nil)
	trail, err := h.store.Entries(t.Context(), "", 100)
	if err != nil {
		t.Fatal(err)
	}
	all := log.String() + fmt.Sprint(trail)
	_, session, _ := strings.Cut(s, "=")
	for _, secret := range []string{passphrase, session, hashed(session), "secret-in-the-path", "secret-in-the-query", "wrong field", "a wrong passphrase", "another long passphrase", "argon2id"} {
		if strings.Contains(all, secret) {
			t.Errorf("%q is logged", secret)
		}
	}
	if n := strings.Count(log.String(), `"msg":"request"`); n != 6 {
		t.Errorf("%d lines, want 6:\n%s", n, log.String())
	}
}

// TestAuthority: clients that trust it reach the workshop, for names on private networks only.
func TestAuthority(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "door")
	now := time.Now()
	clock := func() time.Time { return now }
	a, err := OpenAuthority(dir, []string{"127.0.0.1", "localhost", "shop.local", "203.0.113.5", "example.com"}, clock)
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(a.Names()); got != "[127.0.0.1 localhost shop.local]" {
		t.Errorf("names %s", got)
	}
	if st, err := os.Stat(filepath.Join(dir, "ca.key")); err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("the key's rights: %v %v", st, err)
	}
	again, err := OpenAuthority(dir, []string{"127.0.0.1", "shop.local"}, clock)
	if err != nil || again.Fingerprint() != a.Fingerprint() {
		t.Fatalf("opened again it is another: %v", err)
	}
	l, err := tls.Listen("tcp", "127.0.0.1:0", again.TLS())
	if err != nil {
		t.Fatal(err)
	}
	srv := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, "in") }), ErrorLog: slog.NewLogLogger(slog.DiscardHandler, 0)}
	go srv.Serve(l)
	defer srv.Close()
	url := "https://" + l.Addr().String()
	roots := x509.NewCertPool()
	roots.AddCert(a.cert)
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}}
	res, err := client.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if life := res.TLS.PeerCertificates[0].NotAfter.Sub(res.TLS.PeerCertificates[0].NotBefore); life > 397*24*time.Hour {
		t.Errorf("the certificate lives %v", life)
	}
	// Those who do not trust it yet are told so by their browser.
	if _, err := http.Get(url); err == nil {
		t.Error("a client that knows nothing of the workshop got in")
	}
	// A stolen key cannot stand in for the world: its constraints are checked by the standard library's verifier.
	for name, good := range map[string]bool{"shop.local": true, "localhost": true, "10.1.2.3": true, "fd00::1": true, "example.com": false, "local.example.com": false, "8.8.8.8": false, "2001:db8::1": false} {
		thief := &Authority{cert: a.cert, key: a.key, names: []string{name}, now: clock}
		leaf, err := thief.issue()
		if err != nil {
			t.Fatal(err)
		}
		_, err = leaf.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: name})
		if (err == nil) != good {
			t.Errorf("%s: %v", name, err)
		}
	}
	// It is renewed in time while the server runs.
	first, err := again.TLS().GetCertificate(nil)
	if err != nil {
		t.Fatal(err)
	}
	now = now.AddDate(0, 0, 380)
	second, err := again.TLS().GetCertificate(nil)
	if err != nil || second.Leaf.NotAfter.Equal(first.Leaf.NotAfter) {
		t.Errorf("not renewed: %v, %v", second.Leaf.NotAfter, err)
	}
	now = now.AddDate(10, 0, 0)
	if _, err := OpenAuthority(dir, []string{"localhost"}, clock); err == nil || !strings.Contains(err.Error(), "ended on") {
		t.Errorf("an authority that has ended: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "ca.key"), []byte("torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenAuthority(dir, []string{"localhost"}, clock); err == nil || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("a torn key: %v", err)
	}
}

// TestSlowBodies: who trickles is cut off; a handler that takes longer than its body may, or that has none, is not.
func TestSlowBodies(t *testing.T) {
	for what, whole := range map[string]bool{"": true, "all of it": true, "half": false} {
		cut := make(chan error, 1)
		srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			arriveWithin(w, r, 300*time.Millisecond)
			_, err := io.Copy(io.Discard, r.Body)
			if err == nil {
				select {
				case <-r.Context().Done():
					err = r.Context().Err()
				case <-time.After(800 * time.Millisecond):
				}
			}
			cut <- err
		}))
		var body io.Reader = strings.NewReader(what)
		if !whole {
			r, in := io.Pipe()
			body = r
			go func() {
				in.Write([]byte(what))
				time.Sleep(2 * time.Second)
				in.Close()
			}()
		}
		if res, err := http.Post(srv.URL, "text/plain", body); err == nil {
			res.Body.Close()
		}
		if err := <-cut; (err == nil) != whole {
			t.Errorf("%q: %v", what, err)
		}
		srv.Close()
	}
}

// TestHealth answers strangers yes or no and keeps the reason for the log.
func TestHealth(t *testing.T) {
	h := open(t)
	net := h.Network(rooms(), h.Trust.Names())
	if res := ask(net, "GET", base+"/healthz", "", nil); res.StatusCode != 200 {
		t.Errorf("well: %d", res.StatusCode)
	}
	h.Health = func(context.Context) error { return errors.New("the disk at /home/ann is full") }
	res := ask(net, "GET", base+"/healthz", "", nil)
	if b, _ := io.ReadAll(res.Body); res.StatusCode != 503 || strings.Contains(string(b), "ann") {
		t.Errorf("not well: %d %s", res.StatusCode, b)
	}
	m := h.Metrics.Counter("x", "X.")
	m.Add(1)
	res = ask(net, "GET", base+"/metrics", h.enter(t, net, "the owner"), nil)
	if b, _ := io.ReadAll(res.Body); res.StatusCode != 200 || !strings.HasSuffix(string(b), "x_total 1.0\n# EOF\n") || !strings.HasPrefix(res.Header.Get("Content-Type"), "application/openmetrics-text") {
		t.Errorf("metrics: %d %q", res.StatusCode, b)
	}
}

// TestTrustOnly: the open line hands the certificate out and knows nothing else.
func TestTrustOnly(t *testing.T) {
	h := open(t)
	m := h.TrustOnly(rooms())
	for path, want := range map[string]int{"/trust": 200, "/trust/ca.crt": 200, "/": 303, "/room/viewer": 303, "/q/secret": 303, "/sign-in": 303} {
		res := ask(m, "GET", "http://192.168.7.20:8479"+path, "", nil)
		if res.StatusCode != want || want == 303 && res.Header.Get("Location") != base+"/" {
			t.Errorf("%s: %d %s", path, res.StatusCode, res.Header.Get("Location"))
		}
	}
	if res := ask(m, "POST", "http://192.168.7.20:8479/sign-in", "", url.Values{"passphrase": {passphrase}}); res.StatusCode != 403 {
		t.Errorf("a passphrase on an open line: %d", res.StatusCode)
	}
}

func TestLimiterForgets(t *testing.T) {
	now := time.Unix(0, 0)
	l := newLimiter(1, 2, func() time.Time { return now })
	for i := range 3 * maxKeys {
		l.allow(fmt.Sprint(i))
	}
	if len(l.buckets) > maxKeys {
		t.Errorf("%d keys", len(l.buckets))
	}
}

// TestPeople: the owner lets somebody in, and out.
func TestPeople(t *testing.T) {
	h := open(t)
	local := h.Loopback(rooms())
	const here = "http://127.0.0.1:8477"
	for _, c := range []struct {
		name, role, pass string
		want             int
	}{{"ann", "technician", "a passphrase of hers", 200}, {"Ann ", "viewer", "a passphrase of hers", 422}, {"ben", "king", "a passphrase of his", 422}, {"ben", "", "a passphrase of his", 422}, {"ben", "viewer", "short", 422}, {"", "viewer", "a passphrase of his", 422}} {
		if res := ask(local, "POST", here+"/door/people", "", url.Values{"name": {c.name}, "role": {c.role}, "passphrase": {c.pass}}); res.StatusCode != c.want {
			t.Errorf("%q as %q: %d, want %d", c.name, c.role, res.StatusCode, c.want)
		}
	}
	u, err := h.store.UserNamed(context.Background(), "ann")
	if err != nil {
		t.Fatal(err)
	}
	net := h.Network(rooms(), h.Trust.Names())
	if res := ask(net, "POST", base+"/sign-in", "", url.Values{"name": {"ANN"}, "passphrase": {"a passphrase of hers"}}); res.StatusCode != http.StatusSeeOther {
		t.Errorf("ann does not get in: %d", res.StatusCode)
	}
	for _, what := range []string{"end", "remove"} {
		if res := ask(local, "POST", here+"/door/people/"+u.ID+"/"+what, "", nil); res.StatusCode != http.StatusSeeOther {
			t.Errorf("%s: %d", what, res.StatusCode)
		}
	}
	if _, err := h.store.UserNamed(context.Background(), "ann"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("still there: %v", err)
	}
}
