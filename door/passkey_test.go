package door

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/store"
)

// device is an authenticator of the tests: one ES256 key, attestation "none" (W3C, Web Authentication Level 3, sections 6.1, 6.5.1
// and 8.7).
type device struct {
	key     *ecdsa.PrivateKey
	id      []byte
	user    []byte
	counter uint32
	host    string
	origin  string
	flags   byte // user present 1, user verified 4, synced 8 and 16
}

var b64 = base64.RawURLEncoding

func newDevice(t testing.TB) *device {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	d := &device{key: key, id: make([]byte, 16), host: "shop.local", origin: "https://shop.local:8478", flags: 1 | 4}
	rand.Read(d.id)
	return d
}

// authData is the authenticator data, with the key where it is new.
func (d *device) authData(made bool) []byte {
	h := sha256.Sum256([]byte(d.host))
	flags := d.flags
	if made {
		flags |= 0x40
	}
	b := binary.BigEndian.AppendUint32(append(h[:], flags), d.counter)
	if !made {
		return b
	}
	pub, err := d.key.PublicKey.Bytes() // 4, x, y
	if err != nil {
		panic(err) // a key of a known curve
	}
	b = append(b, make([]byte, 16)...)
	b = append(binary.BigEndian.AppendUint16(b, uint16(len(d.id))), d.id...)
	// COSE: {1: 2, 3: -7, -1: 1, -2: x, -3: y}
	b = append(b, 0xa5, 1, 2, 3, 0x26, 0x20, 1, 0x21, 0x58, 32)
	b = append(b, pub[1:33]...)
	return append(append(b, 0x22, 0x58, 32), pub[33:]...)
}

func (d *device) clientData(kind, challenge string) []byte {
	b, err := json.Marshal(map[string]any{"type": kind, "challenge": challenge, "origin": d.origin, "crossOrigin": false})
	if err != nil {
		panic(err) // strings
	}
	return b
}

func (d *device) answer(response map[string]any) string {
	b, err := json.Marshal(map[string]any{"id": b64.EncodeToString(d.id), "rawId": b64.EncodeToString(d.id), "type": "public-key", "clientExtensionResults": map[string]any{}, "response": response})
	if err != nil {
		panic(err) // strings
	}
	return string(b)
}

// create answers a challenge with a new key.
func (d *device) create(challenge string) string {
	data := d.authData(true)
	o := []byte("\xa3\x63fmt\x64none\x67attStmt\xa0\x68authData\x58")
	o = append(append(o, byte(len(data))), data...)
	return d.answer(map[string]any{"clientDataJSON": b64.EncodeToString(d.clientData("webauthn.create", challenge)), "attestationObject": b64.EncodeToString(o), "transports": []string{"internal"}})
}

// sign answers a challenge with a signature.
func (d *device) sign(t testing.TB, challenge string) string {
	t.Helper()
	client, data := d.clientData("webauthn.get", challenge), d.authData(false)
	h := sha256.Sum256(client)
	all := sha256.Sum256(append(bytes.Clone(data), h[:]...))
	sig, err := ecdsa.SignASN1(rand.Reader, d.key, all[:])
	if err != nil {
		t.Fatal(err)
	}
	return d.answer(map[string]any{"clientDataJSON": b64.EncodeToString(client), "authenticatorData": b64.EncodeToString(data), "signature": b64.EncodeToString(sig), "userHandle": b64.EncodeToString(d.user)})
}

const named = "https://shop.local:8478"

// post sends a JSON text as the pages' script does.
func post(h http.Handler, target, cookies, body string) (*http.Response, string) {
	res := ask(h, "POST", target, cookies, nil, func(r *http.Request) {
		r.Header.Set("Accept", "text/plain")
		r.Header.Del("Content-Type")
		r.Body, r.ContentLength = io.NopCloser(strings.NewReader(body)), int64(len(body))
	})
	b, _ := io.ReadAll(res.Body)
	return res, strings.TrimSpace(string(b))
}

// options asks for a challenge and returns it with the user it is for and the cookie it is bound to.
func options(t testing.TB, h http.Handler, target, cookies string) (challenge string, user []byte, bound string) {
	t.Helper()
	res, body := post(h, target, cookies, "")
	var o struct {
		PublicKey struct {
			Challenge string
			User      struct{ ID string }
		} `json:"publicKey"`
	}
	if err := json.Unmarshal([]byte(body), &o); err != nil || res.StatusCode != 200 || len(o.PublicKey.Challenge) < 22 {
		t.Fatalf("%s: %d %s", target, res.StatusCode, body)
	}
	user, err := b64.DecodeString(o.PublicKey.User.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range res.Cookies() {
		bound = c.Name + "=" + c.Value
	}
	return o.PublicKey.Challenge, user, bound
}

// add gives a signed-in person's device a passkey.
func (d *device) add(t testing.TB, h http.Handler, session string) (*http.Response, string) {
	t.Helper()
	challenge, user, _ := options(t, h, named+"/me/passkeys/begin", session)
	d.user = user
	return post(h, named+"/me/passkeys?name=my+phone", session, d.create(challenge))
}

// use signs in with the device's passkey.
func (d *device) use(t *testing.T, h http.Handler) (*http.Response, string) {
	t.Helper()
	challenge, _, bound := options(t, h, named+"/sign-in/passkey/begin", "")
	d.counter++
	return post(h, named+"/sign-in/passkey?next=%2Froom%2Fviewer", bound, d.sign(t, challenge))
}

// TestPasskey: added by who is signed in, it lets that person in, and is gone when it is removed.
func TestPasskey(t *testing.T) {
	h := open(t)
	h.clock = time.Now() // the records clear ended sessions away by their own clock
	net := h.Network(rooms(), h.Trust.Names())
	session := h.enter(t, net, "the technician")
	for _, synced := range []bool{false, true} {
		d := newDevice(t)
		if synced {
			d.flags |= 8 | 16
		}
		if res, body := d.add(t, net, session); res.StatusCode != http.StatusNoContent {
			t.Fatalf("not added: %d %s", res.StatusCode, body)
		}
		if res, body := d.add(t, net, session); res.StatusCode != http.StatusUnprocessableEntity || body != "This passkey is here already." {
			t.Errorf("added again: %d %s", res.StatusCode, body)
		}
		h.clock = h.clock.Add(time.Hour)
		res, next := d.use(t, net)
		if res.StatusCode != 200 || next != "/room/viewer" {
			t.Fatalf("not let in: %d %s", res.StatusCode, next)
		}
		in := ""
		for _, c := range res.Cookies() {
			if c.Name == cookie {
				in = c.Name + "=" + c.Value
			}
		}
		if b, _ := io.ReadAll(ask(net, "GET", named+"/room/technician", in, nil).Body); !strings.HasPrefix(string(b), "room of the technician") {
			t.Errorf("somebody else is in: %s", b)
		}
		id := b64.EncodeToString(d.id)
		page, _ := io.ReadAll(ask(net, "GET", named+"/me", session, nil).Body)
		if !strings.Contains(string(page), "my phone") || !strings.Contains(string(page), "/me/passkeys/"+id+"/remove") || !strings.Contains(string(page), "last used") {
			t.Errorf("not listed: %s", page)
		}
		// Others cannot remove it; who holds it can.
		other := h.enter(t, net, "the owner")
		if res := ask(net, "POST", named+"/me/passkeys/"+id+"/remove", other, nil); res.StatusCode != http.StatusNotFound {
			t.Errorf("somebody else removed it: %d", res.StatusCode)
		}
		if res := ask(net, "POST", named+"/me/passkeys/"+id+"/remove", session, nil); res.StatusCode != http.StatusSeeOther {
			t.Errorf("not removed: %d", res.StatusCode)
		}
		if res, body := d.use(t, net); res.StatusCode != http.StatusUnprocessableEntity || len(res.Cookies()) != 0 {
			t.Errorf("a removed key lets in: %d %s", res.StatusCode, body)
		}
	}
	trail, err := h.store.Entries(t.Context(), "", 100)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"passkey added", "passkey used", "passkey removed", "signed in", "sign-in refused"} {
		if !strings.Contains(fmt.Sprint(trail), want) {
			t.Errorf("the trail lacks %q", want)
		}
	}
}

// TestPasskeyRefusals: what does not fit lets nobody in and leaves a line in the trail.
func TestPasskeyRefusals(t *testing.T) {
	h := open(t)
	h.clock = time.Now() // the records clear ended sessions away by their own clock
	net := h.Network(rooms(), h.Trust.Names())
	session := h.enter(t, net, "the viewer")
	d := newDevice(t)
	if res, body := d.add(t, net, session); res.StatusCode != http.StatusNoContent {
		t.Fatalf("not added: %d %s", res.StatusCode, body)
	}
	for _, c := range []struct {
		what   string
		change func(d *device)
	}{
		{"another origin", func(d *device) { d.origin = "https://evil.example" }},
		{"another port", func(d *device) { d.origin = "https://shop.local" }},
		{"without TLS", func(d *device) { d.origin = "http://shop.local:8478" }},
		{"another host", func(d *device) { d.host = "localhost" }},
		{"nobody at the device", func(d *device) { d.flags = 4 }},
		{"the device was not unlocked", func(d *device) { d.flags = 1 }},
		{"another key", func(d *device) { d.key = newDevice(t).key }},
		{"an unknown key", func(d *device) { d.id = newDevice(t).id }},
		{"another user", func(d *device) { d.user = []byte("nobody") }},
		{"no user", func(d *device) { d.user = nil }},
		{"suddenly synced", func(d *device) { d.flags |= 8 }},
		{"nothing", func(d *device) {}},
	} {
		h.clock = h.clock.Add(time.Minute)
		other := *d
		c.change(&other)
		other.counter = d.counter
		res, body := other.use(t, net)
		want := http.StatusUnprocessableEntity
		if c.what == "nothing" {
			want = http.StatusOK // the same device lets in, so that the refusals above were no accident
			d.counter = other.counter
		}
		if res.StatusCode != want || want != http.StatusOK && (body != errUnfit.Error() || len(res.Cookies()) != 0) {
			t.Errorf("%s: %d %s", c.what, res.StatusCode, body)
		}
	}
	refused := func(what, want string, cookies, body string) {
		t.Helper()
		if res, got := post(net, named+"/sign-in/passkey", cookies, body); res.StatusCode != http.StatusUnprocessableEntity || got != want || len(res.Cookies()) != 0 {
			t.Errorf("%s: %d %s", what, res.StatusCode, got)
		}
	}
	// An answer counts once, and for a while, and in the browser that asked.
	h.clock = h.clock.Add(time.Hour)
	challenge, _, bound := options(t, net, named+"/sign-in/passkey/begin", "")
	d.counter++
	answer := d.sign(t, challenge)
	refused("in another browser", errLate.Error(), "", answer)
	if res, body := post(net, named+"/sign-in/passkey", bound, answer); res.StatusCode != 200 {
		t.Fatalf("not let in: %d %s", res.StatusCode, body)
	}
	refused("the same again", errLate.Error(), bound, answer)
	_, _, bound = options(t, net, named+"/sign-in/passkey/begin", "")
	refused("an old answer to a new challenge", errUnfit.Error(), bound, answer)
	challenge, _, bound = options(t, net, named+"/sign-in/passkey/begin", "")
	d.counter++
	late := d.sign(t, challenge)
	h.clock = h.clock.Add(tryFor)
	refused("too late", errLate.Error(), bound, late)
	challenge, _, bound = options(t, net, named+"/sign-in/passkey/begin", "")
	d.counter--
	refused("a copy, whose counter stands where the device's was", errUnfit.Error(), bound, d.sign(t, challenge))
	_, _, bound = options(t, net, named+"/sign-in/passkey/begin", "")
	refused("no answer at all", errAnswer.Error(), bound, "{}")
	_, _, bound = options(t, net, named+"/sign-in/passkey/begin", "")
	refused("far too much", errAnswer.Error(), bound, `{"id":"`+strings.Repeat("A", maxAnswer)+`"}`)
	// A challenge for signing in adds no passkey, nor one that another session asked for.
	h.clock = h.clock.Add(time.Hour)
	other := h.enter(t, net, "the owner")
	challenge, _, _ = options(t, net, named+"/me/passkeys/begin", session)
	if res, body := post(net, named+"/me/passkeys?name=x", other, newDevice(t).create(challenge)); res.StatusCode != http.StatusUnprocessableEntity || body != errLate.Error() {
		t.Errorf("added by another session: %d %s", res.StatusCode, body)
	}
	far := newDevice(t)
	far.origin = "https://evil.example"
	if res, body := far.add(t, net, session); res.StatusCode != http.StatusUnprocessableEntity || body != errUnfit.Error() {
		t.Errorf("added from another origin: %d %s", res.StatusCode, body)
	}
	// An address of digits has none.
	for _, path := range []string{"/sign-in/passkey/begin", "/sign-in/passkey", "/me/passkeys/begin", "/me/passkeys"} {
		if res, body := post(net, base+path, session, ""); res.StatusCode != http.StatusUnprocessableEntity || body != errNumeric.Error() {
			t.Errorf("%s under an address: %d %s", path, res.StatusCode, body)
		}
	}
	for target, want := range map[string]bool{base: false, named: true} {
		if b, _ := io.ReadAll(ask(net, "GET", target+"/sign-in", "", nil).Body); strings.Contains(string(b), "passkey") != want {
			t.Errorf("%s/sign-in offers a passkey: %v", target, !want)
		}
	}
	// A new passphrase ends all of it.
	h.clock = h.clock.Add(time.Hour)
	session = h.enter(t, net, "the viewer")
	fresh := newDevice(t)
	if res, body := fresh.add(t, net, session); res.StatusCode != http.StatusNoContent {
		t.Fatalf("not added: %d %s", res.StatusCode, body)
	}
	ask(net, "POST", named+"/me/passphrase", session, url.Values{"passphrase": {passphrase + "!"}})
	if res, body := fresh.use(t, net); res.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("after a new passphrase: %d %s", res.StatusCode, body)
	}
}

// TestPasskeyGuessing: the limit of the passphrase holds for passkeys too, and is the same one.
func TestPasskeyGuessing(t *testing.T) {
	h := open(t)
	net := h.Network(rooms(), h.Trust.Names())
	busy := 0
	for range 40 {
		if res, _ := post(net, named+"/sign-in/passkey/begin", "", ""); res.StatusCode == http.StatusTooManyRequests {
			busy++
		}
	}
	if busy < 29 {
		t.Errorf("40 tries at once, %d refused", busy)
	}
	if res := ask(net, "POST", named+"/sign-in", "", url.Values{"name": {"the owner"}, "passphrase": {passphrase}}); res.StatusCode != http.StatusTooManyRequests {
		t.Errorf("a passphrase after them: %d", res.StatusCode)
	}
}

// TestTwoProcesses of one shared workshop sign people in together: a challenge that one sent is answered to the other, once; a session of
// one is good at the other and ends for both; tries are counted together.
func TestTwoProcesses(t *testing.T) {
	address, blobs := pgtest.Schema(t), store.Blobs(t.TempDir())
	var stores [2]*store.Store
	var nets [2]http.Handler
	var doors [2]*Door
	clock := time.Now()
	trust, err := OpenAuthority(filepath.Join(t.TempDir(), "door"), []string{"shop.local"}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 2 {
		if stores[i], err = store.OpenShared(t.Context(), address, blobs); err != nil {
			t.Fatal(err)
		}
		defer stores[i].Close()
		doors[i] = New(stores[i])
		doors[i].now = func() time.Time { return clock }
		nets[i] = doors[i].Network(rooms(), trust.Names())
	}
	if _, err := doors[0].AddUser(t.Context(), "the technician", job.Technician, passphrase); err != nil {
		t.Fatal(err)
	}
	in := func(res *http.Response) string {
		for _, c := range res.Cookies() {
			if c.Name == cookie {
				return c.Name + "=" + c.Value
			}
		}
		return ""
	}
	session := in(ask(nets[0], "POST", named+"/sign-in", "", url.Values{"name": {"the technician"}, "passphrase": {passphrase}}))
	d := newDevice(t)
	challenge, user, _ := options(t, nets[0], named+"/me/passkeys/begin", session)
	d.user = user
	if res, body := post(nets[1], named+"/me/passkeys?name=my+phone", session, d.create(challenge)); res.StatusCode != http.StatusNoContent {
		t.Fatalf("begun here, added there: %d %s", res.StatusCode, body)
	}
	challenge, _, bound := options(t, nets[0], named+"/sign-in/passkey/begin", "")
	d.counter++
	answer := d.sign(t, challenge)
	res, body := post(nets[1], named+"/sign-in/passkey", bound, answer)
	if res.StatusCode != http.StatusOK {
		t.Fatalf("begun here, signed in there: %d %s", res.StatusCode, body)
	}
	second := in(res)
	if res, body := post(nets[0], named+"/sign-in/passkey", bound, answer); res.StatusCode != http.StatusUnprocessableEntity || body != errLate.Error() {
		t.Errorf("the same answer to the other: %d %s", res.StatusCode, body)
	}
	// Of two who answer at once one comes in.
	challenge, _, bound = options(t, nets[0], named+"/sign-in/passkey/begin", "")
	d.counter++
	answer = d.sign(t, challenge)
	var wg sync.WaitGroup
	var let atomic.Int32
	for i := range 8 {
		wg.Go(func() {
			if res, _ := post(nets[i%2], named+"/sign-in/passkey", bound, answer); res.StatusCode == http.StatusOK {
				let.Add(1)
			}
		})
	}
	wg.Wait()
	if let.Load() != 1 {
		t.Errorf("one answer let %d in", let.Load())
	}
	for i := range 2 {
		if res := ask(nets[i], "GET", named+"/room/technician", second, nil); res.StatusCode != http.StatusOK {
			t.Errorf("the session at process %d: %d", i, res.StatusCode)
		}
	}
	ask(nets[0], "POST", named+"/sign-out", second, nil)
	if res := ask(nets[1], "GET", named+"/room/technician", second, nil); res.StatusCode == http.StatusOK {
		t.Error("signed out here, still in there")
	}
	clock = clock.Add(time.Hour)
	tried := 0
	for i := range 40 {
		if res := ask(nets[i%2], "POST", named+"/sign-in", "", url.Values{"name": {"the technician"}, "passphrase": {"a guess of mine"}}); res.StatusCode != http.StatusTooManyRequests {
			tried++
		}
	}
	if tried != int(tryAddress.Burst) {
		t.Errorf("%d guesses at two processes together, %v are let through", tried, tryAddress.Burst)
	}
}
