package door

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"fairmetal/job"
	"fairmetal/store"
)

// Passkeys follow W3C, Web Authentication Level 3: section 7.1 when one is added, 7.2 when one is used. Each stands in the device
// together with the user's id, so that nobody types a name, and the device asks for its own lock.

// tryFor is how long a challenge holds.
const tryFor = 5 * time.Minute

// maxAnswer bounds what a device answers; it is about 1 kB.
const maxAnswer = 64 << 10

// tryCookie holds the secret that a challenge for signing in is bound to.
const tryCookie = "__Host-fairmetal-passkey"

var (
	errUnfit   = errors.New("This passkey does not fit. Try again, or use the passphrase.")                                        //lint:ignore ST1005 a sentence for people
	errLate    = errors.New("That took too long, or was tried before. Begin again.")                                               //lint:ignore ST1005 a sentence for people
	errAnswer  = errors.New("The device's answer cannot be used. Begin again, or use the passphrase.")                             //lint:ignore ST1005 a sentence for people
	errNumeric = errors.New("A passkey belongs to a name, not to an address of digits. Open the workshop by its name to add one.") //lint:ignore ST1005 a sentence for people
)

// putChallenge keeps what a browser is to answer, once, in the records: the answer may reach another process of a shared workshop.
func (d *Door) putChallenge(ctx context.Context, key string, data *webauthn.SessionData) error {
	body, err := json.Marshal(data)
	if err != nil {
		return err
	}
	now := d.now()
	return d.Records.PutChallenge(ctx, key, string(body), now, now.Add(tryFor))
}

// takeChallenge gives a challenge out for good.
func (d *Door) takeChallenge(ctx context.Context, key string) (data webauthn.SessionData, err error) {
	body, err := d.Records.TakeChallenge(ctx, key, d.now())
	if errors.Is(err, store.ErrNotFound) {
		err = errLate
	}
	if err == nil {
		err = json.Unmarshal([]byte(body), &data)
	}
	return data, err
}

// passkeyHost is the name that passkeys of this request belong to; empty where browsers allow none.
func passkeyHost(r *http.Request) string {
	host := strings.ToLower(hostOf(r))
	if r.TLS == nil || net.ParseIP(host) != nil {
		return ""
	}
	return host
}

// party is the workshop under the name that it was asked by.
func party(r *http.Request) (*webauthn.WebAuthn, error) {
	host := passkeyHost(r)
	if host == "" {
		return nil, errNumeric
	}
	return webauthn.New(&webauthn.Config{RPID: host, RPDisplayName: "Fairmetal", RPOrigins: []string{"https://" + strings.ToLower(r.Host)}, AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{ResidentKey: protocol.ResidentKeyRequirementRequired, RequireResidentKey: protocol.ResidentKeyRequired(), UserVerification: protocol.VerificationRequired}})
}

// holder is a user with the passkeys of one host.
type holder struct {
	id, name string
	keys     []store.Passkey
}

func (h holder) WebAuthnID() []byte          { return []byte(h.id) }
func (h holder) WebAuthnName() string        { return h.name }
func (h holder) WebAuthnDisplayName() string { return h.name }

func (h holder) WebAuthnCredentials() []webauthn.Credential {
	var out []webauthn.Credential
	for _, k := range h.keys {
		id, err := base64.RawURLEncoding.DecodeString(k.ID)
		if err != nil {
			continue // written by nobody but us
		}
		key, err := base64.RawURLEncoding.DecodeString(k.Key)
		if err != nil {
			continue
		}
		c := webauthn.Credential{ID: id, PublicKey: key, Authenticator: webauthn.Authenticator{SignCount: uint32(k.Counter)}}
		c.Flags.BackupEligible = k.Synced
		out = append(out, c)
	}
	return out
}

func (d *Door) holder(r *http.Request, id, name string) (holder, error) {
	keys, err := d.Records.Passkeys(r.Context(), id)
	h := holder{id: id, name: name}
	for _, k := range keys {
		if k.Host == passkeyHost(r) {
			h.keys = append(h.keys, k)
		}
	}
	return h, err
}

// passkeyRoutes are asked by the script of the pages.
func (d *Door) passkeyRoutes() []Route {
	at := func(pattern string, least job.Role, f func(w http.ResponseWriter, r *http.Request) error) Route {
		return Route{Pattern: pattern, Least: least, Handle: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Cache-Control", "no-store")
			if err := f(w, r); err != nil {
				d.refusePasskey(w, r, err)
			}
		})}
	}
	return []Route{
		at("POST /sign-in/passkey/begin", job.Anybody, d.beginPasskey),
		at("POST /sign-in/passkey", job.Anybody, d.usePasskey),
		at("POST /me/passkeys/begin", job.Viewer, d.beginNewPasskey),
		at("POST /me/passkeys", job.Viewer, d.addPasskey),
		at("POST /me/passkeys/{id}/remove", job.Viewer, d.removePasskey),
	}
}

func (d *Door) refusePasskey(w http.ResponseWriter, r *http.Request, err error) {
	switch {
	case errors.Is(err, errBusy):
		w.Header().Set("Retry-After", "60")
		d.problem(w, r, http.StatusTooManyRequests, err.Error())
	case errors.Is(err, errUnfit), errors.Is(err, errLate), errors.Is(err, errAnswer), errors.Is(err, errNumeric):
		d.problem(w, r, http.StatusUnprocessableEntity, err.Error())
	default:
		d.fail(w, r, err)
	}
}

func answerJSON(w http.ResponseWriter, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(b)
	return nil
}

// deviceAnswer reads what the browser brings from the device.
func deviceAnswer(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	b, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxAnswer))
	if err != nil {
		return nil, errAnswer
	}
	return b, nil
}

func (d *Door) beginPasskey(w http.ResponseWriter, r *http.Request) error {
	p, err := party(r)
	if err != nil {
		return err
	}
	if err := d.tryFrom(r); err != nil {
		return err
	}
	options, data, err := p.BeginDiscoverableLogin(webauthn.WithUserVerification(protocol.VerificationRequired))
	if err != nil {
		return err
	}
	plain, kept := token()
	if err := d.putChallenge(r.Context(), kept, data); err != nil {
		return err
	}
	http.SetCookie(w, &http.Cookie{Name: tryCookie, Value: plain, Path: "/", MaxAge: int(tryFor.Seconds()), Secure: true, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	return answerJSON(w, options)
}

// usePasskey signs in, and answers where to go on. One challenge was allowed by the limit for one try.
func (d *Door) usePasskey(w http.ResponseWriter, r *http.Request) error {
	p, err := party(r)
	if err != nil {
		return err
	}
	c, err := r.Cookie(tryCookie)
	if err != nil {
		return errLate
	}
	data, err := d.takeChallenge(r.Context(), hashed(c.Value))
	if err != nil {
		return err
	}
	b, err := deviceAnswer(w, r)
	if err != nil {
		return err
	}
	answer, err := protocol.ParseCredentialRequestResponseBytes(b)
	if err != nil {
		return errAnswer
	}
	u, why := d.checkPasskey(r, p, data, answer)
	if why != nil {
		slog.Debug("passkey", "error", why)
		if err := d.Records.Note(r.Context(), "sign-in refused", "passkey, from "+from(r)); err != nil {
			return err
		}
		return errUnfit
	}
	http.SetCookie(w, &http.Cookie{Name: tryCookie, Path: "/", MaxAge: -1, Secure: true, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	if err := d.startSession(w, r, u); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprint(w, safeNext(r.URL.Query().Get("next")))
	return nil
}

// checkPasskey finds the user who holds the passkey, or says why not.
func (d *Door) checkPasskey(r *http.Request, p *webauthn.WebAuthn, data webauthn.SessionData, answer *protocol.ParsedCredentialAssertionData) (store.User, error) {
	var u store.User
	var h holder
	_, cred, err := p.ValidatePasskeyLogin(func(_, handle []byte) (webauthn.User, error) {
		var err error
		if u, err = d.Records.User(r.Context(), string(handle)); err != nil {
			return nil, err
		}
		h, err = d.holder(r, u.ID, u.Name)
		return h, err
	}, data, answer)
	if err != nil {
		return u, err
	}
	if cred.Authenticator.CloneWarning {
		return u, errors.New("the counter went back: there may be a copy of the device")
	}
	id := base64.RawURLEncoding.EncodeToString(cred.ID)
	for _, k := range h.keys {
		if k.ID == id {
			return u, d.Records.UsePasskey(store.As(r.Context(), u.Name), k, int64(cred.Authenticator.SignCount))
		}
	}
	return u, store.ErrNotFound
}

// newKey names the challenge of a session that adds a passkey.
func newKey(r *http.Request) string {
	c, err := r.Cookie(cookie)
	if err != nil {
		return "" // the route lets nobody in without
	}
	return "new " + hashed(c.Value)
}

func (d *Door) beginNewPasskey(w http.ResponseWriter, r *http.Request) error {
	p, err := party(r)
	if err != nil {
		return err
	}
	who := User(r.Context())
	h, err := d.holder(r, who.ID, who.Name)
	if err != nil {
		return err
	}
	options, data, err := p.BeginRegistration(h, webauthn.WithExclusions(webauthn.Credentials(h.WebAuthnCredentials()).CredentialDescriptors()))
	if err != nil {
		return err
	}
	if err := d.putChallenge(r.Context(), newKey(r), data); err != nil {
		return err
	}
	return answerJSON(w, options)
}

func (d *Door) addPasskey(w http.ResponseWriter, r *http.Request) error {
	p, err := party(r)
	if err != nil {
		return err
	}
	data, err := d.takeChallenge(r.Context(), newKey(r))
	if err != nil {
		return err
	}
	b, err := deviceAnswer(w, r)
	if err != nil {
		return err
	}
	answer, err := protocol.ParseCredentialCreationResponseBytes(b)
	if err != nil {
		return errAnswer
	}
	who := User(r.Context())
	cred, err := p.CreateCredential(holder{id: who.ID, name: who.Name}, data, answer)
	if err != nil {
		slog.Debug("passkey", "error", err)
		return errUnfit
	}
	if err := d.Records.AddPasskey(r.Context(), store.Passkey{ID: base64.RawURLEncoding.EncodeToString(cred.ID), UserID: who.ID, Host: passkeyHost(r), Name: r.URL.Query().Get("name"),
		Key: base64.RawURLEncoding.EncodeToString(cred.PublicKey), Counter: int64(cred.Authenticator.SignCount), Synced: cred.Flags.BackupEligible}); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (d *Door) removePasskey(w http.ResponseWriter, r *http.Request) error {
	if err := d.Records.RemovePasskey(r.Context(), User(r.Context()).ID, r.PathValue("id")); err != nil {
		return err
	}
	http.Redirect(w, r, "/me", http.StatusSeeOther)
	return nil
}
