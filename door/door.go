package door

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"fairmetal/job"
	"fairmetal/meter"
	"fairmetal/store"
)

// Route is one address and the least role that may use it.
type Route struct {
	Pattern  string // of http.ServeMux, with its method
	Least    job.Role
	Handle   http.Handler
	MaxBytes int64 // of a request's body; DefaultMaxBytes where 0
}

// DefaultMaxBytes bounds the body of a request: forms are small.
const DefaultMaxBytes = 32 << 20

// Records is what the door needs of the store.
type Records interface {
	Users(ctx context.Context) ([]store.User, error)
	User(ctx context.Context, id string) (store.User, error)
	UserNamed(ctx context.Context, name string) (store.User, error)
	AddUser(ctx context.Context, u store.User) (store.User, error)
	SetPassphrase(ctx context.Context, id, hash string) error
	RemoveUser(ctx context.Context, id string) error
	AddSession(ctx context.Context, n store.Session) error
	Session(ctx context.Context, token string) (store.Session, store.User, error)
	SeeSession(ctx context.Context, token string, at time.Time) error
	EndSession(ctx context.Context, token string) error
	EndSessions(ctx context.Context, userID string) error
	AddPasskey(ctx context.Context, p store.Passkey) error
	Passkeys(ctx context.Context, userID string) ([]store.Passkey, error)
	UsePasskey(ctx context.Context, p store.Passkey, counter int64) error
	RemovePasskey(ctx context.Context, userID, id string) error
	PutChallenge(ctx context.Context, token, body string, now, ends time.Time) error
	TakeChallenge(ctx context.Context, token string, now time.Time) (body string, err error)
	Try(ctx context.Context, whom string, a store.Allowance, now time.Time) (ok bool, err error)
	Note(ctx context.Context, what, text string) error
}

// Who is somebody who asks.
type Who struct {
	ID   string // empty for the owner at this computer
	Name string
	Role job.Role
}

type whoKey struct{}

// User tells who asks; nobody has the role Anybody.
func User(ctx context.Context) Who {
	w, _ := ctx.Value(whoKey{}).(Who)
	return w
}

// As makes w the one who asks, for the handlers and for the trail.
func As(ctx context.Context, w Who) context.Context {
	return store.As(context.WithValue(ctx, whoKey{}, w), w.Name)
}

type addressKey struct{}

// Address is where others than this computer find the workshop, as https://NAME:PORT; empty where they do not.
func Address(ctx context.Context) string {
	a, _ := ctx.Value(addressKey{}).(string)
	return a
}

// Door guards the app.
type Door struct {
	Records Records
	// Observe is told of every request that was answered, by the pattern of its route.
	Observe func(pattern string, status int, took time.Duration)
	// Health tells why the workshop cannot work at present; nil where it can.
	Health func(ctx context.Context) error
	// Metrics are shown to owners; nil where there are none.
	Metrics *meter.Set
	// Trust hands the workshop's own authority to phones; nil where there is none.
	Trust *Authority
	// HouseLang is the language that the workshop has chosen; empty where it has not.
	HouseLang func(ctx context.Context) string
	// Address is where the network door answers, as https://NAME:PORT; empty without one.
	Address string

	now     func() time.Time
	ask     *limiter // all requests
	hashing chan struct{}
	large   chan struct{} // requests that may bring much at once
	nobody  func() string // a hash that fits no passphrase
}

// New returns a door before the records.
func New(r Records) *Door {
	d := &Door{Records: r, Observe: func(string, int, time.Duration) {}, Health: func(context.Context) error { return nil }, HouseLang: func(context.Context) string { return "" }, now: time.Now, hashing: make(chan struct{}, 2), large: make(chan struct{}, maxLarge), nobody: sync.OnceValue(hashOfNobody)}
	d.ask = newLimiter(60, 600, func() time.Time { return d.now() })
	return d
}

// Loopback serves this computer alone. Whoever sits at it is the owner.
func (d *Door) Loopback(routes []Route) http.Handler {
	return d.handler(routes, false, func(r *http.Request) (string, bool) {
		// What was forwarded comes from elsewhere, whatever name it asks for.
		for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Real-Ip"} {
			if r.Header.Get(h) != "" {
				return "This workshop answers on this computer only. To open it to others start it with: fairmetal serve --network", false
			}
		}
		host := hostOf(r)
		ip := net.ParseIP(host)
		return "This workshop answers on this computer only.", host == "localhost" || ip != nil && ip.IsLoopback()
	})
}

// Network serves the workshop's network, behind TLS, under the names of its certificate.
func (d *Door) Network(routes []Route, names []string) http.Handler {
	known := map[string]bool{}
	for _, n := range names {
		known[strings.ToLower(n)] = true
	}
	return d.handler(routes, true, func(r *http.Request) (string, bool) {
		return "This workshop does not answer to that name. Use the address that it prints when it starts.", r.TLS != nil && known[strings.ToLower(hostOf(r))]
	})
}

// busyDevice is told to who asks more than a person can.
const busyDevice = "Too many requests from this device. Wait a few seconds."

func hostOf(r *http.Request) string {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	return strings.Trim(host, "[]")
}

func (d *Door) handler(routes []Route, network bool, named func(*http.Request) (string, bool)) http.Handler {
	m := http.NewServeMux()
	for _, r := range append(d.routes(network), routes...) {
		m.Handle(r.Pattern, d.only(r))
	}
	m.Handle("/", d.only(Route{Least: job.Viewer, Handle: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d.problem(w, r, http.StatusNotFound, "There is no such page.")
	})}))
	inner := http.NewCrossOriginProtection().Handler(m)
	return http.HandlerFunc(func(out http.ResponseWriter, r *http.Request) {
		begun := d.now()
		w := &recorder{ResponseWriter: out}
		headers(w.Header(), network)
		ctx := context.WithValue(r.Context(), addressKey{}, d.Address)
		if !network {
			ctx = As(ctx, Who{Name: "owner", Role: job.Owner})
		}
		r = r.WithContext(ctx)
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				slog.Error("a page broke down", "method", r.Method, "route", r.Pattern, "panic", p, "stack", string(debug.Stack()))
				if w.status == 0 {
					d.problem(w, r, http.StatusInternalServerError, "Something went wrong in the workshop. Go back and try again; nothing was lost.")
				}
			}
			d.log(r, w.status, d.now().Sub(begun))
		}()
		text, ok := named(r)
		switch {
		case !ok:
			d.say(w, r, http.StatusForbidden, text)
		case !d.ask.allow(from(r)):
			w.Header().Set("Retry-After", "5")
			d.say(w, r, http.StatusTooManyRequests, busyDevice)
		default:
			inner.ServeHTTP(w, r)
		}
	})
}

// log tells of a request by its route, never by its address: that may hold a link's secret.
func (d *Door) log(r *http.Request, status int, took time.Duration) {
	if status == 0 {
		status = http.StatusOK
	}
	pattern := r.Pattern
	if pattern == "" {
		pattern = "none"
	}
	d.Observe(pattern, status, took)
	level := slog.LevelDebug
	switch {
	case status >= 500:
		level = slog.LevelError
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		level = slog.LevelInfo
	}
	slog.Log(r.Context(), level, "request", "method", r.Method, "route", pattern, "status", status, "ms", took.Milliseconds(), "role", string(User(r.Context()).Role))
}

// maxLarge uploads of more than largeBytes run at a time: each is held in memory until it is checked and kept.
const (
	maxLarge   = 4
	largeBytes = 128 << 20
)

// Time that a body may take to come in.
const (
	formTime   = time.Minute
	uploadTime = 15 * time.Minute
)

// arriveWithin bounds the time in which a body comes in; the handler may take longer. Without a body there is nothing to wait for, and
// the deadline would end the request itself.
func arriveWithin(w http.ResponseWriter, r *http.Request, within time.Duration) {
	if r.ContentLength != 0 {
		http.NewResponseController(w).SetReadDeadline(time.Now().Add(within)) // what cannot set one ends by the server's own
	}
}

// only lets those through whose role reaches to the route's.
func (d *Door) only(route Route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			most, within := int64(DefaultMaxBytes), formTime
			if route.MaxBytes > 0 {
				most, within = route.MaxBytes, uploadTime
			}
			r.Body = http.MaxBytesReader(w, r.Body, most)
			arriveWithin(w, r, within)
		}
		if User(r.Context()).Role == job.Anybody {
			if who, ok := d.signedIn(r); ok {
				*r = *r.WithContext(As(r.Context(), who))
			}
		}
		who := User(r.Context())
		switch {
		case who.Role.May(route.Least):
			if route.MaxBytes > largeBytes {
				select {
				case d.large <- struct{}{}:
					defer func() { <-d.large }()
				case <-r.Context().Done():
					return
				}
			}
			route.Handle.ServeHTTP(w, r)
		case who.Role != job.Anybody:
			d.problem(w, r, http.StatusForbidden, "Your role does not reach this far. Ask an owner of the workshop.")
		case r.Method == http.MethodGet && strings.Contains(r.Header.Get("Accept"), "text/html"):
			http.Redirect(w, r, "/sign-in?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
		default:
			d.say(w, r, http.StatusUnauthorized, "Sign in first.")
		}
	})
}

// headers keep pages to themselves: nothing is loaded from elsewhere, nobody frames or sniffs.
func headers(h http.Header, network bool) {
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'; worker-src 'self'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
	if network {
		h.Set("Strict-Transport-Security", "max-age=31536000")
	}
}

// recorder remembers the status of an answer.
type recorder struct {
	http.ResponseWriter
	status int
}

func (w *recorder) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

func (w *recorder) Write(b []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	return w.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach what lies beneath.
func (w *recorder) Unwrap() http.ResponseWriter { return w.ResponseWriter }
