package door_test

import (
	"compress/gzip"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"encoding/base64"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"

	"fairmetal/job"
)

// TestPasskeyInABrowser adds a passkey in headless Chromium, whose virtual device answers, signs in with it over the workshop's own
// TLS, and removes it.
func TestPasskeyInABrowser(t *testing.T) {
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no Chromium on this machine: passkeys were not tried in a browser")
	}
	_, app, d := appBehindDoor(t, "localhost", "127.0.0.1")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, port, _ := net.SplitHostPort(l.Addr().String())
	d.Address = "https://localhost:" + port
	if _, err := d.AddUser(t.Context(), "Ann", job.Technician, "four words of some length"); err != nil {
		t.Fatal(err)
	}
	config := d.Trust.TLS()
	srv := &http.Server{Handler: d.Network(app.DoorRoutes(), d.Trust.Names()), ErrorLog: slog.NewLogLogger(slog.DiscardHandler, 0)}
	go srv.Serve(tls.NewListener(l, config))
	defer srv.Close()

	// The browser takes this one key for trusted, as a phone does on which the certificate is installed; all else it would refuse.
	leaf, err := config.GetCertificate(nil)
	if err != nil {
		t.Fatal(err)
	}
	pin := sha256.Sum256(leaf.Leaf.RawSubjectPublicKeyInfo)
	alloc, stop := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("ignore-certificate-errors-spki-list", base64.StdEncoding.EncodeToString(pin[:])), chromedp.Flag("lang", "en"), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true))...)
	defer stop()
	tab, end := chromedp.NewContext(alloc)
	defer end()
	if err := chromedp.Do(tab); err != nil {
		t.Fatalf("Chromium does not start: %v", err)
	}
	ctx, late := context.WithTimeout(tab, 2*time.Minute)
	defer late()

	do := func(steps ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, steps...); err != nil {
			t.Fatal(err)
		}
	}
	text := func() string {
		v, err := chromedp.Run(ctx, chromedp.Evaluate[string](`location.pathname + " " + document.body.innerText`))
		if err != nil {
			return err.Error() // the page is just changing
		}
		return v
	}
	until := func(want string) {
		t.Helper()
		got := ""
		for ctx.Err() == nil {
			if got = text(); strings.Contains(got, want) {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
		t.Fatalf("the page never shows %q: %s", want, got)
	}
	packed, err := os.Open("../web/testdata/axe-4.14.1.min.js.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer packed.Close()
	z, err := gzip.NewReader(packed)
	if err != nil {
		t.Fatal(err)
	}
	axe, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	// accessible holds the page against the rules of WCAG 2.2 A and AA that axe-core knows; these pages need a sign-in or a name, so that
	// package web's own test does not meet them.
	accessible := func() {
		t.Helper()
		got, err := chromedp.Run(ctx, chromedp.Evaluate[string](string(axe)+`; axe.run({ runOnly: ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"] }).then((r) => r.violations.map((v) => v.id + ": " + v.nodes[0].html).join("; ") || r.passes.length + " passed")`, chromedp.EvalAwaitPromise))
		if err != nil || !strings.HasSuffix(got, " passed") {
			t.Errorf("%s: %s, %v", text(), got, err)
		}
	}
	click := func(css string) chromedp.Action[chromedp.Void] { return chromedp.Click(chromedp.CSS(css)) }
	device, err := chromedp.Run(ctx, func(ctx context.Context, tab *chromedp.Target) (webauthn.AuthenticatorID, error) {
		if _, err := cdp.Call(ctx, tab, webauthn.Enable, webauthn.EnableParams{}); err != nil {
			return "", err
		}
		r, err := cdp.Call(ctx, tab, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{Protocol: webauthn.AuthenticatorProtocolCtap2, Transport: webauthn.AuthenticatorTransportInternal,
			HasResidentKey: true, HasUserVerification: true, IsUserVerified: true, AutomaticPresenceSimulation: true}})
		return r.AuthenticatorID, err
	})
	if err != nil {
		t.Fatal(err)
	}

	do(chromedp.Navigate(d.Address+"/me"), chromedp.SendKeys(chromedp.CSS(`[name=name]`), "Ann"), chromedp.SendKeys(chromedp.CSS(`[name=passphrase]`), "four words of some length"), click(`form .main`))
	until("/me ")
	do(chromedp.SendKeys(chromedp.CSS(`#passkey-new [name=name]`), "my phone"), click(`#passkey-new button`))
	until("my phone, localhost")
	accessible()
	do(click(`form[action="/sign-out"] button`))
	until("/sign-in ")

	// Who does not unlock the device is not let in; who does is, and goes on to where it was going.
	unlock := func(yes bool) chromedp.Action[chromedp.Void] {
		return func(ctx context.Context, tab *chromedp.Target) (chromedp.Void, error) {
			_, err := cdp.Call(ctx, tab, webauthn.SetUserVerified, webauthn.SetUserVerifiedParams{AuthenticatorID: device, IsUserVerified: yes})
			return chromedp.Void{}, err
		}
	}
	do(unlock(false), chromedp.Navigate(d.Address+"/me"), click(`#passkey-use button`))
	until("The device gave no passkey.")
	accessible()
	do(unlock(true), click(`#passkey-use button`))
	until("/me ")
	until("last used")

	// Removed it is of no use, though the device still has it.
	do(click(`form[action$="/remove"] button`))
	for ctx.Err() == nil && strings.Contains(text(), "my phone") {
		time.Sleep(50 * time.Millisecond)
	}
	do(click(`form[action="/sign-out"] button`))
	until("/sign-in ")
	do(click(`#passkey-use button`))
	until("This passkey does not fit.")

	// Under an address of digits no passkey is offered.
	do(chromedp.Navigate("https://127.0.0.1:" + port + "/sign-in"))
	if got := text(); strings.Contains(got, "passkey") || !strings.Contains(got, "Passphrase") {
		t.Errorf("under an address: %s", got)
	}
}
