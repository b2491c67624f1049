package door

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// FuzzPasskey sends what a device might answer to the routes that read it, as somebody who waits to sign in and as somebody who adds a
// passkey: whatever it is, it is refused in words, and lets nobody in.
func FuzzPasskey(f *testing.F) {
	h := open(f)
	net := h.Network(rooms(), h.Trust.Names())
	session := h.enter(f, net, "the viewer")
	d := newDevice(f)
	if res, body := d.add(f, net, session); res.StatusCode != http.StatusNoContent {
		f.Fatalf("not added: %d %s", res.StatusCode, body)
	}
	p, err := party(httptest.NewRequest("POST", named+"/sign-in/passkey", nil))
	if err != nil {
		f.Fatal(err)
	}
	_, data, err := p.BeginDiscoverableLogin()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(d.sign(f, data.Challenge))
	f.Add(d.create(data.Challenge))
	f.Add(`{"id":"AA","rawId":"AA","type":"public-key","response":{"clientDataJSON":"e30","authenticatorData":"","signature":"","userHandle":null}}`)
	f.Add("{}")
	f.Add(strings.Repeat("[", 10_000))
	f.Fuzz(func(t *testing.T, answer string) {
		plain, kept := token()
		for _, c := range []struct{ target, cookies, key string }{
			{named + "/sign-in/passkey", tryCookie + "=" + plain, kept},
			{named + "/me/passkeys?name=x", session, "new " + hashed(strings.TrimPrefix(session, cookie+"="))},
		} {
			fresh := *data
			fresh.Challenge = plain // not the one of the seeds: theirs must not let in either
			if err := h.putChallenge(t.Context(), c.key, &fresh); err != nil {
				t.Fatal(err)
			}
			res, body := post(net, c.target, c.cookies, answer)
			if res.StatusCode == http.StatusTooManyRequests {
				t.Skip("more tries a second than a device may make")
			}
			if res.StatusCode != http.StatusUnprocessableEntity || len(res.Cookies()) != 0 || body == "" {
				t.Fatalf("%s: %d %q", c.target, res.StatusCode, body)
			}
		}
	})
}
