package meter_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"fairmetal/meter"
)

// TestExposition is read by an independent parser of the older text format, which shares the sample lines, and meets the lines of the
// OpenMetrics specification (version 1.0, "Overall structure": types, units, "# EOF" at the end).
func TestExposition(t *testing.T) {
	m := meter.New()
	requests := m.Counter("fairmetal_requests", "Requests answered.", "route", "status")
	requests.Add(1, "GET /", "200")
	requests.Add(2, "GET /", "200")
	requests.Add(1, "POST /\"odd\"\n\\", "500")
	took := m.Histogram("fairmetal_request_seconds", "Time.", []float64{0.1, 1})
	for _, d := range []time.Duration{50 * time.Millisecond, 100 * time.Millisecond, 500 * time.Millisecond, 3 * time.Second} {
		took.Observe(d)
	}
	m.Gauge("fairmetal_captures", "By state.", []string{"state"}, func(put func(float64, ...string)) { put(7, "queued"); put(0.25, "measured") })
	var b bytes.Buffer
	if err := m.Write(&b); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, want := range []string{"# TYPE fairmetal_requests counter\n", "# UNIT fairmetal_request_seconds seconds\n", `fairmetal_requests_total{route="GET /",status="200"} 3.0` + "\n",
		`route="POST /\"odd\"\n\\"`, `fairmetal_request_seconds_bucket{le="0.1"} 2.0` + "\n", `fairmetal_request_seconds_bucket{le="+Inf"} 4.0` + "\n", "fairmetal_request_seconds_count 4.0\n", "fairmetal_request_seconds_sum 3.65\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if !strings.HasSuffix(text, "\n# EOF\n") || strings.Contains(text, "\n\n") {
		t.Errorf("the frame is wrong: %q", text)
	}
	// The older format names a counter's family as its samples.
	old := strings.NewReplacer("# TYPE fairmetal_requests counter", "# TYPE fairmetal_requests_total counter", "# HELP fairmetal_requests ", "# HELP fairmetal_requests_total ").Replace(text)
	p := expfmt.NewTextParser(model.UTF8Validation)
	got, err := p.TextToMetricFamilies(strings.NewReader(old))
	if err != nil {
		t.Fatalf("%v in\n%s", err, old)
	}
	if f := got["fairmetal_requests_total"]; f == nil || len(f.Metric) != 2 || f.Metric[0].Counter.GetValue()+f.Metric[1].Counter.GetValue() != 4 {
		t.Errorf("requests: %v", f)
	}
	if f := got["fairmetal_request_seconds"]; f == nil || f.Metric[0].Histogram.GetSampleCount() != 4 || len(f.Metric[0].Histogram.Bucket) != 3 || f.Metric[0].Histogram.Bucket[1].GetCumulativeCount() != 3 {
		t.Errorf("durations: %v", f)
	}
	if f := got["fairmetal_captures"]; f == nil || len(f.Metric) != 2 {
		t.Errorf("gauges: %v", f)
	}
}
