// Package meter counts what happens and writes it in the OpenMetrics text format, version 1.0.
//
// In: counts, durations, gauges that are asked for when somebody reads. Out: the exposition.
//
//	m := meter.New()
//	done := m.Counter("fairmetal_requests", "Requests answered.", "route", "status")
//	done.Add(1, "GET /", "200")
//	m.Write(w)
package meter

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Type is what an exposition is sent as.
const Type = "application/openmetrics-text; version=1.0.0; charset=utf-8"

// Set holds families of metrics.
type Set struct {
	mu       sync.Mutex
	families []*family
}

// New returns an empty set.
func New() *Set { return &Set{} }

type family struct {
	name, kind, unit, help string
	labels                 []string
	bounds                 []float64
	ask                    func(put func(v float64, labels ...string))

	mu     sync.Mutex
	series map[string]*series
}

type series struct {
	labels []string
	sum    float64
	counts []uint64 // of a histogram, by bound; the last one is everything
}

func (s *Set) add(f *family) *family {
	s.mu.Lock()
	defer s.mu.Unlock()
	f.series = map[string]*series{}
	s.families = append(s.families, f)
	return f
}

func (f *family) at(labels []string) *series {
	if len(labels) != len(f.labels) {
		panic(fmt.Sprintf("meter: %s has the labels %v, got %v", f.name, f.labels, labels)) // a programmer's slip
	}
	key := strings.Join(labels, "\x00")
	x, ok := f.series[key]
	if !ok {
		x = &series{labels: slices.Clone(labels), counts: make([]uint64, len(f.bounds)+1)}
		f.series[key] = x
	}
	return x
}

// Counter only grows.
type Counter struct{ f *family }

// Counter adds a family of counters; name without "_total".
func (s *Set) Counter(name, help string, labels ...string) Counter {
	return Counter{s.add(&family{name: name, kind: "counter", help: help, labels: labels})}
}

// Add counts.
func (c Counter) Add(n float64, labels ...string) {
	c.f.mu.Lock()
	defer c.f.mu.Unlock()
	c.f.at(labels).sum += n
}

// Histogram sorts durations into ranges.
type Histogram struct{ f *family }

// Histogram adds a family of durations; name ends in "_seconds", bounds are in seconds and rise.
func (s *Set) Histogram(name, help string, bounds []float64, labels ...string) Histogram {
	return Histogram{s.add(&family{name: name, kind: "histogram", unit: "seconds", help: help, labels: labels, bounds: bounds})}
}

// Observe counts a duration.
func (h Histogram) Observe(d time.Duration, labels ...string) {
	h.f.mu.Lock()
	defer h.f.mu.Unlock()
	x := h.f.at(labels)
	v := d.Seconds()
	x.sum += v
	i, _ := slices.BinarySearch(h.f.bounds, v)
	x.counts[i]++
}

// Gauge adds a family that is asked for when somebody reads.
func (s *Set) Gauge(name, help string, labels []string, ask func(put func(v float64, labels ...string))) {
	s.add(&family{name: name, kind: "gauge", help: help, labels: labels, ask: ask})
}

// Write writes the exposition.
func (s *Set) Write(w io.Writer) error {
	s.mu.Lock()
	families := slices.Clone(s.families)
	s.mu.Unlock()
	b := bufio.NewWriter(w)
	for _, f := range families {
		f.write(b)
	}
	fmt.Fprintln(b, "# EOF")
	return b.Flush()
}

func (f *family) write(b *bufio.Writer) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.ask != nil {
		clear(f.series)
		f.ask(func(v float64, labels ...string) { f.at(labels).sum = v })
	}
	fmt.Fprintf(b, "# TYPE %s %s\n", f.name, f.kind)
	if f.unit != "" {
		fmt.Fprintf(b, "# UNIT %s %s\n", f.name, f.unit)
	}
	fmt.Fprintf(b, "# HELP %s %s\n", f.name, escape(f.help))
	keys := make([]string, 0, len(f.series))
	for k := range f.series {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, k := range keys {
		x := f.series[k]
		switch f.kind {
		case "counter":
			line(b, f.name+"_total", f.labels, x.labels, "", x.sum)
		case "gauge":
			line(b, f.name, f.labels, x.labels, "", x.sum)
		case "histogram":
			n := uint64(0)
			for i, c := range x.counts {
				n += c
				le := "+Inf"
				if i < len(f.bounds) {
					le = number(f.bounds[i])
				}
				line(b, f.name+"_bucket", f.labels, x.labels, le, float64(n))
			}
			line(b, f.name+"_count", f.labels, x.labels, "", float64(n))
			line(b, f.name+"_sum", f.labels, x.labels, "", x.sum)
		}
	}
}

func line(b *bufio.Writer, name string, labels, values []string, le string, v float64) {
	var parts []string
	for i, l := range labels {
		parts = append(parts, l+`="`+escape(values[i])+`"`)
	}
	if le != "" {
		parts = append(parts, `le="`+le+`"`)
	}
	b.WriteString(name)
	if parts != nil {
		b.WriteString("{" + strings.Join(parts, ",") + "}")
	}
	b.WriteString(" " + number(v) + "\n")
}

func number(v float64) string {
	switch {
	case math.IsNaN(v):
		return "NaN"
	case math.IsInf(v, 1):
		return "+Inf"
	case math.IsInf(v, -1):
		return "-Inf"
	case v == math.Trunc(v) && math.Abs(v) < 1e15:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

var escaper = strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`)

func escape(s string) string { return escaper.Replace(strings.ToValidUTF8(s, "?")) }
