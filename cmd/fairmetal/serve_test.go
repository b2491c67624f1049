package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"
)

// TestServeOnTheNetwork starts the real server, takes the authority's certificate from its page, and meets the sign-in behind TLS.
func TestServeOnTheNetwork(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	out, in, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	c := &serveCmd{place: place{Dir: t.TempDir()}, Workers: 1, Addr: "127.0.0.1:0", Network: true, NetAddr: "127.0.0.1:0", TrustAddr: "127.0.0.1:0"}
	done := make(chan error, 1)
	go func() {
		done <- c.Run(ctx, streams{in, io.Discard})
		in.Close()
	}()
	said := ""
	buf := make([]byte, 4096)
	both := regexp.MustCompile(`open (http://127[^ ]*) [\s\S]*on the network: https://.*:(\d+);`)
	for !both.MatchString(said) {
		n, err := out.Read(buf)
		if err != nil {
			t.Fatalf("it ended: %v, said %q", <-done, said)
		}
		said += string(buf[:n])
	}
	found := both.FindStringSubmatch(said)
	get := func(client *http.Client, url string) (int, string) {
		t.Helper()
		res, err := client.Get(url)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res.StatusCode, string(b)
	}
	_, page := get(http.DefaultClient, found[1]+"/door")
	trust := regexp.MustCompile(`<em>http://.*:(\d+)/trust</em>`).FindStringSubmatch(page)
	if trust == nil {
		t.Fatalf("the door page does not tell where the certificate is: %s", page)
	}
	code, ca := get(http.DefaultClient, "http://127.0.0.1:"+trust[1]+"/trust/ca.crt")
	roots := x509.NewCertPool()
	if code != 200 || !roots.AppendCertsFromPEM([]byte(ca)) {
		t.Fatalf("no certificate: %d", code)
	}
	client := &http.Client{Timeout: time.Minute, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}, ForceAttemptHTTP2: true}}
	if code, body := get(client, "https://127.0.0.1:"+found[2]+"/jobs/new"); code != 401 {
		t.Errorf("a stranger at the app: %d %s", code, body)
	}
	if code, _ := get(client, "https://localhost:"+found[2]+"/healthz"); code != 200 {
		t.Errorf("health: %d", code)
	}
	// The owner at the computer lets somebody in; she signs in on the network, and sees the bench.
	form := url.Values{"name": {"Ann"}, "role": {"viewer"}, "passphrase": {"four words of some length"}}
	if res, err := http.PostForm(found[1]+"/door/people", form); err != nil || res.StatusCode != 200 {
		t.Fatalf("letting in: %v, %v", res, err)
	}
	if client.Jar, err = cookiejar.New(nil); err != nil {
		t.Fatal(err)
	}
	form.Set("next", "/")
	res, err := client.PostForm("https://localhost:"+found[2]+"/sign-in", form)
	if err != nil {
		t.Fatal(err)
	}
	bench, err := io.ReadAll(res.Body)
	res.Body.Close()
	if err != nil || res.StatusCode != 200 || res.Request.URL.Path != "/" || !strings.Contains(string(bench), `<a href="/me">Ann</a>`) {
		t.Errorf("signed in: %d at %s, %v", res.StatusCode, res.Request.URL, err)
	}
	client.CloseIdleConnections()
	http.DefaultClient.CloseIdleConnections()
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
}
