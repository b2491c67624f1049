package door

import (
	"net"
	"net/http"
	"sync"
	"time"
)

// limiter lets each key through at a steady rate after a burst.
type limiter struct {
	rate  float64 // a second
	burst float64
	now   func() time.Time

	mu      sync.Mutex
	buckets map[string]bucket
}

type bucket struct {
	left float64
	at   time.Time
}

// maxKeys bounds the memory of a limiter: beyond it full buckets are forgotten, and when there are none all are.
const maxKeys = 20_000

func newLimiter(rate, burst float64, now func() time.Time) *limiter {
	return &limiter{rate: rate, burst: burst, now: now, buckets: map[string]bucket{}}
}

func (l *limiter) allow(key string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	if len(l.buckets) >= maxKeys {
		l.forget(now)
	}
	b, ok := l.buckets[key]
	if !ok {
		b = bucket{l.burst, now}
	}
	b.left, b.at = min(l.burst, b.left+l.rate*max(0, now.Sub(b.at).Seconds())), now
	if b.left < 1 {
		l.buckets[key] = b
		return false
	}
	b.left--
	l.buckets[key] = b
	return true
}

func (l *limiter) forget(now time.Time) {
	for k, b := range l.buckets {
		if b.left+l.rate*now.Sub(b.at).Seconds() >= l.burst {
			delete(l.buckets, k)
		}
	}
	if len(l.buckets) >= maxKeys {
		clear(l.buckets)
	}
}

// from is the address that a request comes from; of an IPv6 address the network, as one device has them all.
func from(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	ip := net.ParseIP(host)
	if ip != nil && ip.To4() == nil {
		return ip.Mask(net.CIDRMask(64, 128)).String()
	}
	return host
}
