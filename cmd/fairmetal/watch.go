package main

import (
	"context"
	"io"
	"log/slog"
	"runtime"
	"strconv"
	"time"

	"fairmetal/door"
	"fairmetal/inspection"
	"fairmetal/job"
	"fairmetal/meter"
	"fairmetal/store"
	"fairmetal/workshop"
)

// logTo makes the program's log write to w: lines for people, or one JSON object a line for programs.
func logTo(w io.Writer, form string) {
	var h slog.Handler = slog.NewTextHandler(w, nil)
	if form == "json" {
		h = slog.NewJSONHandler(w, nil)
	}
	slog.SetDefault(slog.New(h))
}

// watch meters what the door and the workshop do, and lets the door tell health and metrics.
func watch(ctx context.Context, d *door.Door, st *store.Store, w *workshop.Workshop) {
	m := meter.New()
	requests := m.Counter("fairmetal_requests", "Requests answered, by route.", "route", "status")
	took := m.Histogram("fairmetal_request_seconds", "Time that requests took, streams left out.", []float64{0.01, 0.03, 0.1, 0.3, 1, 3, 10})
	d.Observe = func(route string, status int, t time.Duration) {
		requests.Add(1, route, strconv.Itoa(status))
		if route != "GET /events" {
			took.Observe(t)
		}
	}
	measured := m.Histogram("fairmetal_measure_seconds", "Time that measuring took here, by what came of it.", []float64{1, 3, 10, 30, 100, 300, 1000}, "state")
	w.Observe = func(s job.State, t time.Duration) { measured.Observe(t, string(s)) }
	m.Gauge("fairmetal_captures", "Captures by how far their measuring is.", []string{"state"}, func(put func(float64, ...string)) {
		states, err := st.States(ctx)
		if err != nil {
			slog.Warn("metrics", "error", err) // the rest is told all the same
		}
		for s, n := range states {
			put(float64(n), string(s))
		}
	})
	m.Gauge("fairmetal_memory_bytes", "Memory in use by the program's own data, and taken from the system.", []string{"kind"}, func(put func(float64, ...string)) {
		var mem runtime.MemStats
		runtime.ReadMemStats(&mem)
		put(float64(mem.HeapAlloc), "heap")
		put(float64(mem.Sys), "system")
	})
	m.Gauge("fairmetal_goroutines", "Tasks under way.", nil, func(put func(float64, ...string)) { put(float64(runtime.NumGoroutine())) })
	begun := float64(time.Now().Unix())
	m.Gauge("fairmetal_start_time_seconds", "When the program started, seconds since 1970.", nil, func(put func(float64, ...string)) { put(begun) })
	m.Gauge("fairmetal_build", "The program.", []string{"program", "go"}, func(put func(float64, ...string)) { put(1, inspection.Program, runtime.Version()) })
	d.Metrics, d.Health = m, st.Health
}
