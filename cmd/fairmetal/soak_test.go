package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"

	"fairmetal/internal/hostile"
	"fairmetal/internal/pgtest"
	"fairmetal/job"
	"fairmetal/store"
)

// childArgs makes a process of this test binary run the program with these arguments, one a line.
const childArgs = "FAIRMETAL_CHILD_ARGS"

func TestMain(m *testing.M) {
	if args := os.Getenv(childArgs); args != "" {
		os.Exit(run(strings.Split(args, "\n"), streams{os.Stdout, os.Stderr}))
	}
	code := m.Run()
	pgtest.Stop()
	os.Exit(code)
}

// process is a running program of its own.
type process struct {
	*exec.Cmd
	out  *bytes.Buffer
	mu   sync.Mutex
	peak []int // kB in memory, as time goes on
}

// Write keeps what the process says.
func (p *process) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.out.Write(b)
}

func (p *process) said() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.out.String()
}

func launch(t *testing.T, env []string, args ...string) *process {
	t.Helper()
	p := &process{Cmd: exec.Command(os.Args[0]), out: &bytes.Buffer{}}
	p.Env = append(append(os.Environ(), env...), childArgs+"="+strings.Join(args, "\n"))
	p.Stdout, p.Stderr = p, p
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		p.Process.Signal(os.Interrupt)
		p.Wait()
	})
	return p
}

// memory reads what a process holds in memory, kB; 0 where the system does not tell.
func (p *process) memory() int {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.Process.Pid))
	if err != nil {
		return 0
	}
	m := regexp.MustCompile(`VmRSS:\s+(\d+) kB`).FindSubmatch(b)
	if m == nil {
		return 0
	}
	n, _ := strconv.Atoi(string(m[1]))
	return n
}

// TestSharedShop starts the real program three times on one shared shop, the app and two workers: what a person sends in is measured by
// one of them. With FAIRMETAL_SOAK=30m, 20 people work on it for that long: no error that any of them would see, and memory that stays.
func TestSharedShop(t *testing.T) {
	soak := 0 * time.Second
	if v := os.Getenv("FAIRMETAL_SOAK"); v != "" {
		var err error
		if soak, err = time.ParseDuration(v); err != nil {
			t.Fatal(err)
		}
	}
	address := pgtest.Schema(t)
	bucket := httptest.NewServer(gofakes3.New(s3mem.New()).Server())
	defer bucket.Close()
	env := []string{"FAIRMETAL_STORE=" + address, "FAIRMETAL_BLOBS=s3://" + strings.TrimPrefix(bucket.URL, "http://") + "/photos?plain=1", "FAIRMETAL_S3_KEY=key", "FAIRMETAL_S3_SECRET=secret", "FAIRMETAL_LOG=json"}
	app := launch(t, env, "serve", "--addr", "127.0.0.1:0", "--workers", "0")
	var base string
	for range 600 {
		if m := regexp.MustCompile(`open (http://\S+)`).FindStringSubmatch(app.said()); m != nil {
			base = m[1]
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if base == "" {
		t.Fatalf("the app did not start: %s", app.said())
	}
	processes := []*process{app, launch(t, env, "worker"), launch(t, env, "worker")}
	crew := &crew{t: t, base: base, ding: dingPhotos(t)}
	first := crew.person(0)
	first.addJob()
	first.upload(crew.ding)
	st, err := store.OpenShared(t.Context(), address, store.Blobs(t.TempDir()))
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	waitMeasured(t, st, processes, 1, 4*time.Minute)
	if soak > 0 {
		crew.work(soak, processes)
	}
	states, err := st.States(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	crew.report(processes, states)
	for _, p := range processes {
		for line := range strings.Lines(p.said()) {
			if strings.Contains(line, `"level":"ERROR"`) {
				t.Errorf("a process complains: %s", line)
			}
		}
	}
}

func waitMeasured(t *testing.T, st *store.Store, processes []*process, n int, patience time.Duration) {
	t.Helper()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(200 * time.Millisecond) {
		states, err := st.States(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if states[job.Measured] >= n {
			return
		}
	}
	for _, p := range processes {
		t.Log(p.said())
	}
	t.Fatalf("%d captures are not measured after %v", n, patience)
}

// dingPhotos are the photos of a real small capture.
func dingPhotos(t *testing.T) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	list, err := os.ReadDir(ding)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if !e.IsDir() {
			if out[e.Name()], err = os.ReadFile(filepath.Join(ding, e.Name())); err != nil {
				t.Fatal(err)
			}
		}
	}
	return out
}

// crew are the people of the soak and what they met.
type crew struct {
	t    *testing.T
	base string
	ding map[string][]byte

	mu        sync.Mutex
	times     map[string][]time.Duration
	conflicts int
	errors    []string
	jobs      []string
}

// person is one of them.
type person struct {
	*crew
	client *http.Client
	random *rand.Rand
	mine   []string
}

func (c *crew) person(n int) *person {
	return &person{crew: c, random: rand.New(rand.NewPCG(uint64(n), 7)), client: &http.Client{Timeout: 2 * time.Minute,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// do sends one request and notes how it went; what a person would see as an error is one here.
func (p *person) do(what, method, path, kind string, body []byte) (place, page string) {
	begun := time.Now()
	r, err := http.NewRequest(method, p.base+path, bytes.NewReader(body))
	if err != nil {
		p.t.Error(err)
		return "", ""
	}
	r.Header.Set("Accept", "text/html")
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	res, err := p.client.Do(r)
	var b []byte
	if err == nil {
		b, err = io.ReadAll(res.Body)
		res.Body.Close()
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.times == nil {
		p.times = map[string][]time.Duration{}
	}
	p.times[what] = append(p.times[what], time.Since(begun))
	switch {
	case err != nil:
		p.errors = append(p.errors, fmt.Sprintf("%s: %v", what, err))
		return "", ""
	case res.StatusCode == http.StatusConflict:
		p.conflicts++
	case res.StatusCode >= 400:
		p.errors = append(p.errors, fmt.Sprintf("%s %s: %d %.200s", method, path, res.StatusCode, b))
	}
	return res.Header.Get("Location"), string(b)
}

func (p *person) form(what, path string, values url.Values) string {
	place, _ := p.do(what, "POST", path, "application/x-www-form-urlencoded", []byte(values.Encode()))
	return place
}

func (p *person) addJob() {
	place := p.form("new job", "/jobs", url.Values{"vehicle": {fmt.Sprint("Van ", p.random.IntN(1000))}, "panel": {"Roof"}, "kind": {"roof"}, "customer": {"Lindenhof Parcels"}, "material": {"steel"}})
	if m := regexp.MustCompile(`^/jobs/([0-9a-f]+)`).FindStringSubmatch(place); m != nil {
		p.mine = append(p.mine, m[1])
		p.mu.Lock()
		p.jobs = append(p.jobs, m[1])
		p.mu.Unlock()
	}
}

func (p *person) job() string { return p.mine[p.random.IntN(len(p.mine))] }

func (p *person) upload(photos map[string][]byte) {
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for n, data := range photos {
		f, err := w.CreateFormFile("photos", n)
		if err != nil {
			p.t.Error(err)
			return
		}
		f.Write(data)
	}
	w.WriteField("title", "before")
	for k, v := range map[string]string{"kind": "single", "distance": "500", "width": "800", "height": "600", "fine": "16", "coarse": "128", "profile": "sine"} {
		w.WriteField(k, v)
	}
	w.Close()
	p.do("upload", "POST", "/jobs/"+p.job()+"/captures", w.FormDataContentType(), b.Bytes())
}

// step is one thing that a person does: mostly looking, some changing, a few photos.
func (p *person) step() {
	switch n := p.random.IntN(100); {
	case n < 35:
		p.do("bench", "GET", "/", "", nil)
	case n < 70:
		p.do("job page", "GET", "/jobs/"+p.job()+"/look", "", nil)
	case n < 80:
		p.addJob()
	case n < 95:
		steps := []string{"arrive", "look", "offer", "work"}
		p.form("step", "/jobs/"+p.job()+"/step", url.Values{"step": {steps[p.random.IntN(len(steps))]}})
	case n < 98:
		small := hostile.JPEG()
		p.upload(map[string][]byte{"u.jpg": small, "v.jpg": small}) // refused by measuring: no cards in it
	default:
		p.upload(p.ding)
	}
}

// work lets 20 people work, each doing something every few seconds, and watches the processes' memory.
func (c *crew) work(for_ time.Duration, processes []*process) {
	ctx, stop := context.WithTimeout(context.Background(), for_)
	defer stop()
	var wg sync.WaitGroup
	for n := range 20 {
		wg.Go(func() {
			p := c.person(n + 1)
			p.addJob()
			for ctx.Err() == nil && len(p.mine) > 0 {
				p.step()
				select {
				case <-ctx.Done():
				case <-time.After(time.Duration(1000+p.random.IntN(4000)) * time.Millisecond):
				}
			}
		})
	}
	tick := time.NewTicker(for_ / 30)
	defer tick.Stop()
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-tick.C:
			for _, p := range processes {
				p.peak = append(p.peak, p.memory())
			}
		}
	}
	wg.Wait()
}

func (c *crew) report(processes []*process, states map[job.State]int) {
	t := c.t
	for _, e := range c.errors {
		t.Errorf("a person sees an error: %s", e)
	}
	t.Logf("captures %v, conflicts told %d, jobs %d", states, c.conflicts, len(c.jobs))
	for what, all := range c.times {
		slices.Sort(all)
		t.Logf("%-9s %5d times, median %v, 95 of 100 within %v", what, len(all), all[len(all)/2].Round(time.Millisecond), all[len(all)*95/100].Round(time.Millisecond))
	}
	for i, p := range processes {
		n := len(p.peak)
		if n < 9 {
			continue
		}
		middle, end := slices.Max(p.peak[n/3:2*n/3]), slices.Max(p.peak[2*n/3:])
		t.Logf("process %d: %d MB at most in the second third, %d MB in the last", i, middle>>10, end>>10)
		// Twice as much would be a leak: the same work was done in each third.
		if end > 2*middle {
			t.Errorf("process %d grows: %v kB", i, p.peak)
		}
	}
}
