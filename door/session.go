package door

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"

	"fairmetal/job"
	"fairmetal/store"
)

// How long a session lasts: unused, and at all.
const (
	idle   = 12 * time.Hour
	atMost = 14 * 24 * time.Hour
	// seenEvery spares the records a write at each request.
	seenEvery = time.Minute
)

// cookie holds the session's token. The name's start makes browsers insist on TLS, this host and all of it (RFC 6265bis).
const cookie = "__Host-fairmetal"

// params of argon2id: the second recommended option of RFC 9106, section 4: three passes over 64 MiB in four lanes; of which two
// run at a time at most.
var params = &argon2id.Params{Memory: 64 << 10, Iterations: 3, Parallelism: 4, SaltLength: 16, KeyLength: 32}

// token is 256 random bits, and what the records keep of them.
func token() (plain, kept string) {
	b := make([]byte, 32)
	rand.Read(b) // never fails
	plain = base64.RawURLEncoding.EncodeToString(b)
	return plain, hashed(plain)
}

// hashed is what the records keep of a token. It is random, so a plain hash will do.
func hashed(plain string) string {
	h := sha256.Sum256([]byte(plain))
	return hex.EncodeToString(h[:])
}

func hashOfNobody() string {
	plain, _ := token()
	h, err := argon2id.CreateHash(plain, params)
	if err != nil {
		panic(err) // the system's randomness never fails on supported systems
	}
	return h
}

// CheckPassphrase says what is wrong with a new passphrase. Length is what counts (NIST SP 800-63B-4, 3.1.1.2).
func CheckPassphrase(name, p string) error {
	n := utf8.RuneCountInString(p)
	switch {
	case n < 12:
		return &job.FieldError{Field: "passphrase", Text: "The passphrase needs 12 letters or more: four words that do not belong together are good."}
	case len(p) > 400:
		return &job.FieldError{Field: "passphrase", Text: "The passphrase is longer than 400 letters: shorten it."}
	case name != "" && strings.Contains(strings.ToLower(p), strings.ToLower(name)), strings.Trim(p, p[:1]) == "":
		return &job.FieldError{Field: "passphrase", Text: "The passphrase is easy to guess: leave your name out, and do not repeat one letter."}
	}
	return nil
}

// Hash makes what the records keep of a passphrase.
func Hash(name, p string) (string, error) {
	if err := CheckPassphrase(name, p); err != nil {
		return "", err
	}
	return argon2id.CreateHash(p, params)
}

// AddUser lets somebody in from now on.
func (d *Door) AddUser(ctx context.Context, name string, role job.Role, passphrase string) (store.User, error) {
	h, err := Hash(name, passphrase)
	if err != nil {
		return store.User{}, err
	}
	return d.Records.AddUser(ctx, store.User{Name: name, Role: role, Hash: h})
}

// signedIn tells who holds the request's session.
func (d *Door) signedIn(r *http.Request) (Who, bool) {
	c, err := r.Cookie(cookie)
	if err != nil || r.TLS == nil {
		return Who{}, false
	}
	n, u, err := d.Records.Session(r.Context(), hashed(c.Value))
	now := d.now()
	if err != nil || !now.Before(n.Ends) || now.Sub(n.Seen) > idle {
		return Who{}, false
	}
	if now.Sub(n.Seen) > seenEvery {
		d.Records.SeeSession(r.Context(), n.Token, now) // at worst the session ends earlier
	}
	return Who{ID: u.ID, Name: u.Name, Role: u.Role}, true
}

// errRefused says no more than it must.
var errRefused = errors.New("Name or passphrase is wrong.") //lint:ignore ST1005 a sentence for people

// errBusy asks for patience.
var errBusy = errors.New("Too many tries. Wait a minute and try again.") //lint:ignore ST1005 a sentence for people

// Tries to sign in, by the address that they come from and by the name that they are for. They are counted in the records, so that all
// processes of a shared workshop count together.
var (
	tryAddress = store.Allowance{Burst: 10, Every: 10 * time.Second}
	tryName    = store.Allowance{Burst: 20, Every: 30 * time.Second}
)

func (d *Door) try(ctx context.Context, whom string, a store.Allowance) error {
	ok, err := d.Records.Try(ctx, whom, a, d.now())
	if err == nil && !ok {
		err = errBusy
	}
	return err
}

func (d *Door) tryFrom(r *http.Request) error { return d.try(r.Context(), "from "+from(r), tryAddress) }

// nameKey is what the count of tries knows of a typed name: 16 bits of its hash, as people type passphrases there.
func nameKey(name string) string {
	return "name " + hashed(strings.ToLower(strings.Join(strings.Fields(name), " ")))[:4]
}

// signIn checks name and passphrase and starts a session.
func (d *Door) signIn(w http.ResponseWriter, r *http.Request, name, passphrase string) error {
	ctx := r.Context()
	if err := d.tryFrom(r); err != nil {
		return err
	}
	if err := d.try(ctx, nameKey(name), tryName); err != nil {
		return err
	}
	if len(passphrase) > 400 {
		return errRefused
	}
	u, err := d.Records.UserNamed(ctx, name)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	hash := u.Hash
	if err != nil {
		hash = d.nobody() // takes as long, so that nobody learns which names there are
	}
	select {
	case d.hashing <- struct{}{}:
		defer func() { <-d.hashing }()
	case <-ctx.Done():
		return ctx.Err()
	}
	ok, err := argon2id.ComparePasswordAndHash(passphrase, hash)
	if err != nil || !ok || u.ID == "" {
		// Not the name: people type passphrases there.
		if err := d.Records.Note(ctx, "sign-in refused", "from "+from(r)); err != nil {
			return err
		}
		return errRefused
	}
	return d.startSession(w, r, u)
}

// startSession lets a user in whose passphrase or passkey was right.
func (d *Door) startSession(w http.ResponseWriter, r *http.Request, u store.User) error {
	plain, kept := token()
	now := d.now()
	device := strings.Map(func(r rune) rune {
		if r < 32 || r > 126 {
			return -1
		}
		return r
	}, r.UserAgent())
	if len(device) > 120 {
		device = device[:120]
	}
	if err := d.Records.AddSession(store.As(r.Context(), u.Name), store.Session{Token: kept, UserID: u.ID, Device: device, Seen: now, Ends: now.Add(atMost)}); err != nil {
		return err
	}
	http.SetCookie(w, &http.Cookie{Name: cookie, Value: plain, Path: "/", Expires: now.Add(atMost), Secure: true, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	return nil
}

// signOut ends the request's session.
func (d *Door) signOut(w http.ResponseWriter, r *http.Request) {
	if c, err := r.Cookie(cookie); err == nil {
		if err := d.Records.EndSession(r.Context(), hashed(c.Value)); err != nil {
			d.fail(w, r, err)
			return
		}
	}
	http.SetCookie(w, &http.Cookie{Name: cookie, Path: "/", MaxAge: -1, Secure: true, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	w.Header().Set("Clear-Site-Data", `"cache"`)
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}
