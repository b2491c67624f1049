package door

import (
	"context"
	"io"
	"io/fs"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"

	"fairmetal/words"
)

// TestEveryTextHasItsTranslation: what the door's pages and refusals say is there in every language.
func TestEveryTextHasItsTranslation(t *testing.T) {
	shown := regexp.MustCompile(`\bt "((?:[^"\\]|\\.)*)"`)
	// Titles, and sentences for people, which end with a full stop.
	said := regexp.MustCompile(`Title: "([A-Z][^"]*)"|"([A-Z][^"]* [^"]*\.)"`)
	texts := map[string]bool{"owner": true, "technician": true, "viewer": true, "Door": true, "Ann can sign in now.": true, "This line is not secret. Use https://shop.local:8478": true}
	here := os.DirFS(".")
	for glob, re := range map[string]*regexp.Regexp{"pages.html": shown, "*.go": said, "../store/doors.go": said, "../store/passkeys.go": said} {
		dir := here
		if rest, up := strings.CutPrefix(glob, "../"); up {
			dir, glob = os.DirFS(".."), rest
		}
		names, err := fs.Glob(dir, glob)
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %v, %v", glob, names, err)
		}
		for _, n := range names {
			if strings.HasSuffix(n, "_test.go") {
				continue
			}
			src, err := fs.ReadFile(dir, n)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range re.FindAllStringSubmatch(string(src), -1) {
				texts[strings.Join(m[1:], "")] = true
			}
		}
	}
	if len(texts) < 60 {
		t.Fatalf("only %d texts found: the patterns above are out of date", len(texts))
	}
	for _, l := range words.Langs {
		for k := range texts {
			if !l.Has(k) {
				t.Errorf("%s lacks %q", l, k)
			}
		}
	}
}

// TestLanguage: the one chosen in the app, else the house's, else the browser's.
func TestLanguage(t *testing.T) {
	h := open(t)
	net := h.Network(rooms(), h.Trust.Names())
	asks := func(accept string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set("Accept-Language", accept) }
	}
	house := ""
	for _, c := range []struct{ cookies, house, accept, want string }{
		{"", "", "", "Sign in"}, {"", "", "de-AT", "Anmelden"}, {"", "", "fr", "Sign in"},
		{"", "de", "en", "Anmelden"}, {"lang=en", "de", "de", "Sign in"}, {"lang=de", "en", "en", "Anmelden"},
	} {
		house = c.house
		h.HouseLang = func(context.Context) string { return house }
		b, err := io.ReadAll(ask(net, "GET", base+"/sign-in", c.cookies, nil, asks(c.accept)).Body)
		if err != nil || !strings.Contains(string(b), "<h1>"+c.want+"</h1>") {
			t.Errorf("%+v: %v, %.300s", c, err, b)
		}
	}
	house = ""
	res := ask(net, "POST", base+"/room/owner", "", nil, asks("de"))
	if b, err := io.ReadAll(res.Body); err != nil || strings.TrimSpace(string(b)) != "Melden Sie sich zuerst an." {
		t.Errorf("a line of text: %q, %v", b, err)
	}
}
