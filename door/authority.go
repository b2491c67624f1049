package door

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"fairmetal/internal/whole"
	"fairmetal/job"
)

// Authority is the workshop's own certificate authority. Its certificate is limited to names and addresses of private networks, so
// that a stolen key cannot stand in for any site of the world.
type Authority struct {
	// Page is where phones get the certificate from.
	Page string

	cert  *x509.Certificate
	key   *ecdsa.PrivateKey
	names []string
	now   func() time.Time

	mu   sync.Mutex
	leaf *tls.Certificate
}

// Life of certificates. Browsers refuse leaves of more than 398 days.
const (
	authorityYears = 10
	leafDays       = 397
	renewDays      = 30
)

// localName is the top of names on a local network, RFC 6762.
const localName = "local"

// private are the networks that the authority may vouch for: RFC 1918, RFC 3927, RFC 6598, RFC 4193, RFC 4291 and loopback.
var private = func() (out []*net.IPNet) {
	for _, n := range []string{"10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "100.64.0.0/10", "127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128"} {
		_, network, err := net.ParseCIDR(n)
		if err != nil {
			panic(err) // the list stands above
		}
		out = append(out, network)
	}
	return out
}()

func isPrivate(ip net.IP) bool {
	return slices.ContainsFunc(private, func(n *net.IPNet) bool { return n.Contains(ip) })
}

// OpenAuthority reads the authority of a folder, and makes it on first use.
func OpenAuthority(dir string, names []string, now func() time.Time) (*Authority, error) {
	a := &Authority{now: now}
	for _, n := range names {
		if a.vouches(n) {
			a.names = append(a.names, n)
		}
	}
	if len(a.names) == 0 {
		return nil, errors.New("this computer has no address on a private network; connect it to the workshop's network and try again")
	}
	certPEM, err := os.ReadFile(filepath.Join(dir, "ca.crt"))
	if errors.Is(err, fs.ErrNotExist) {
		return a, a.found(dir)
	}
	if err != nil {
		return nil, err
	}
	keyPEM, err := os.ReadFile(filepath.Join(dir, "ca.key"))
	if err != nil {
		return nil, fmt.Errorf("the key of the workshop's authority cannot be read (%w); move %s away to make a new one, then install it on every phone again", err, dir)
	}
	pair, err := tls.X509KeyPair(certPEM, keyPEM)
	if err == nil {
		a.cert = pair.Leaf
		a.key, _ = pair.PrivateKey.(*ecdsa.PrivateKey)
	}
	switch {
	case err != nil || a.key == nil || !a.cert.IsCA:
		return nil, fmt.Errorf("the workshop's authority in %s is damaged; move the folder away to make a new one, then install it on every phone again", dir)
	case !now().Before(a.cert.NotAfter):
		return nil, fmt.Errorf("the workshop's authority in %s ended on %s; move the folder away to make a new one, then install it on every phone again", dir, a.cert.NotAfter.Format("2 January 2006"))
	}
	return a, nil
}

// vouches tells whether a name lies inside the authority's limits.
func (a *Authority) vouches(name string) bool {
	if ip := net.ParseIP(name); ip != nil {
		return isPrivate(ip)
	}
	return name == "localhost" || strings.HasSuffix(name, "."+localName)
}

func serial() *big.Int {
	n, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		panic(err) // the system's randomness never fails on supported systems
	}
	return n
}

// found makes the authority.
func (a *Authority) found(dir string) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	now := a.now()
	t := &x509.Certificate{SerialNumber: serial(), Subject: pkix.Name{CommonName: "Fairmetal workshop " + now.Format("2006-01-02")},
		NotBefore: now.Add(-time.Hour), NotAfter: now.AddDate(authorityYears, 0, 0), IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign, PermittedDNSDomainsCritical: true, PermittedDNSDomains: []string{localName, "localhost"}, PermittedIPRanges: private}
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return err
	}
	if a.cert, err = x509.ParseCertificate(der); err != nil {
		return err
	}
	a.key = key
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	// The key first: a certificate alone says that all is there.
	if err := whole.Write(filepath.Join(dir, "ca.key"), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER})); err != nil {
		return err
	}
	return whole.Write(filepath.Join(dir, "ca.crt"), a.pem())
}

func (a *Authority) pem() []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.cert.Raw})
}

// Fingerprint is the SHA-256 of the authority's certificate, in fours of hex digits for people to compare.
func (a *Authority) Fingerprint() string {
	h := fmt.Sprintf("%X", sha256.Sum256(a.cert.Raw))
	var parts []string
	for i := 0; i < len(h); i += 4 {
		parts = append(parts, h[i:i+4])
	}
	return strings.Join(parts, " ")
}

// Names are those that the workshop answers to.
func (a *Authority) Names() []string { return slices.Clone(a.names) }

// TLS is the configuration of a server under the authority. Its certificate is made at need and renewed while the server runs.
func (a *Authority) TLS() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
		a.mu.Lock()
		defer a.mu.Unlock()
		if a.leaf == nil || a.now().AddDate(0, 0, renewDays).After(a.leaf.Leaf.NotAfter) {
			leaf, err := a.issue()
			if err != nil {
				return nil, err
			}
			a.leaf = leaf
		}
		return a.leaf, nil
	}}
}

func (a *Authority) issue() (*tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	begins := a.now().Add(-time.Hour)
	t := &x509.Certificate{SerialNumber: serial(), Subject: pkix.Name{CommonName: "Fairmetal"}, NotBefore: begins, NotAfter: begins.AddDate(0, 0, leafDays),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	if t.NotAfter.After(a.cert.NotAfter) {
		t.NotAfter = a.cert.NotAfter
	}
	for _, n := range a.names {
		if ip := net.ParseIP(n); ip != nil {
			t.IPAddresses = append(t.IPAddresses, ip)
		} else {
			t.DNSNames = append(t.DNSNames, n)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, t, a.cert, &key.PublicKey, a.key)
	if err != nil {
		return nil, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, err
	}
	return &tls.Certificate{Certificate: [][]byte{der, a.cert.Raw}, PrivateKey: key, Leaf: leaf}, nil
}

// LocalNames lists the private addresses of this computer, the short ones first, and its names.
func LocalNames() []string {
	var out, long []string
	list, err := net.InterfaceAddrs()
	if err == nil {
		for _, a := range list {
			n, ok := a.(*net.IPNet)
			switch {
			case !ok || !isPrivate(n.IP) || n.IP.IsLoopback() || n.IP.IsLinkLocalUnicast():
			case n.IP.To4() != nil:
				out = append(out, n.IP.String())
			default:
				long = append(long, n.IP.String())
			}
		}
	}
	out = append(out, long...)
	if h, err := os.Hostname(); err == nil && h != "" {
		h, _, _ = strings.Cut(strings.ToLower(h), ".")
		out = append(out, h+"."+localName)
	}
	return append(out, "localhost", "127.0.0.1", "::1")
}

// trustRoutes hand the authority's certificate out: it is public, and of use only to whom it is compared with.
func (d *Door) trustRoutes() []Route {
	if d.Trust == nil {
		return nil
	}
	return []Route{
		{Pattern: "GET /trust", Least: job.Anybody, Handle: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			d.show(w, r, http.StatusOK, "trust", page{Title: "Trust this workshop", Address: d.Address, Fingerprint: d.Trust.Fingerprint()})
		})},
		{Pattern: "GET /trust/ca.crt", Least: job.Anybody, Handle: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "application/x-x509-ca-cert")
			w.Header().Set("Content-Disposition", `attachment; filename="fairmetal-workshop.crt"`)
			w.Write(d.Trust.pem())
		})},
	}
}

// TrustOnly serves the certificate's page without TLS, to phones that do not trust the workshop yet, and sends all else to the TLS
// door. assets are the public routes that the page looks by.
func (d *Door) TrustOnly(assets []Route) http.Handler {
	m := http.NewServeMux()
	for _, r := range append(d.trustRoutes(), assets...) {
		if r.Least == job.Anybody {
			m.Handle(r.Pattern, r.Handle)
		}
	}
	m.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			d.say(w, r, http.StatusForbidden, "This line is not secret. Use "+d.Address)
			return
		}
		// Without the path: it may hold a secret, which has no business on an open line.
		http.Redirect(w, r, d.Address+"/", http.StatusSeeOther)
	})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		headers(w.Header(), false)
		if !d.ask.allow(from(r)) {
			d.say(w, r, http.StatusTooManyRequests, busyDevice)
			return
		}
		m.ServeHTTP(w, r)
	})
}
