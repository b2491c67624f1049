// Package workshop runs the workshop: it takes captures in, measures them one after another in the background, makes verdict, plan,
// price and paper of each, and tells whoever watches how far it is.
package workshop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"fairmetal/fair"
	"fairmetal/house"
	"fairmetal/inspection"
	"fairmetal/internal/memfs"
	"fairmetal/job"
	"fairmetal/offer"
	"fairmetal/photo"
	"fairmetal/queue"
	"fairmetal/quote"
	"fairmetal/rack"
	"fairmetal/rates"
	"fairmetal/route"
	"fairmetal/store"
	"fairmetal/trim"
	"fairmetal/words"
)

// Store is what the workshop needs of a store.
type Store interface {
	Job(ctx context.Context, id string) (job.Job, error)
	SaveJob(ctx context.Context, j job.Job) error
	AddCapture(ctx context.Context, jobID, title string, files map[string][]byte) (job.Capture, error)
	Capture(ctx context.Context, id string) (job.Capture, error)
	Moved(ctx context.Context, after string) (list []job.Capture, now string, err error)
	SetProgress(ctx context.Context, id, doing string, progress float64) error
	Finish(ctx context.Context, c job.Capture, results map[string][]byte) error
	queue.Records
	Folder(ctx context.Context, captureID string) fs.FS
	Attach(ctx context.Context, jobID string, files map[string][]byte) error
	Attachment(ctx context.Context, jobID, name string) ([]byte, error)
	SetOffer(ctx context.Context, c job.Capture) error
	Captures(ctx context.Context, jobID string) ([]job.Capture, error)
	JobNumbered(ctx context.Context, number int64) (job.Job, error)
	FindJobs(ctx context.Context, q store.Query) ([]job.Job, error)
	Person(ctx context.Context, id string) (job.Person, error)
	Paper(ctx context.Context, id string) (job.Paper, error)
	AddPaper(ctx context.Context, p job.Paper, files map[string][]byte) (job.Paper, error)
	SetPaperState(ctx context.Context, id, state string) error
	NextNumber(ctx context.Context, kind, start string) (int, error)
	Settings(ctx context.Context, into map[string]any) error
}

// Names of the house's settings in the store.
const (
	HouseSetting = "house"
	RackSetting  = "rack"
	RatesSetting = "rates"
	// LimitsSetting are the limits of the hand-over check, where the house has its own.
	LimitsSetting = "limits"
	// LessonsSetting are the finished jobs from which forecasts learn the technician's own minutes, as rates.Job.
	LessonsSetting = "lessons"
	// TrimSetting is the house's own trim list, PaintSetting its model of the body shop that would fill and paint.
	TrimSetting  = "trim"
	PaintSetting = "paint"
)

// Settings are what the house has set, or the usual where it has not.
type Settings struct {
	House house.House
	Rack  rack.Rack
	Rates quote.Rates
	// Limits of the hand-over check: the house's own, else the usual for its paint.
	Limits fair.Limits
	// Lessons are finished jobs; none: the usual minutes at the house's pace.
	Lessons []rates.Job
	// Trim and Paint are the house's own; nil: the usual.
	Trim  *trim.List
	Paint *route.Model
}

// Books are what offers on a job rest on beside the rates. A body shop charges the taxes that the house does.
func (s Settings) Books(j job.Job) offer.Books {
	b := offer.Books{Jobs: s.Lessons, Trim: s.Trim, When: j.Record.Arrival.When}
	if s.Paint != nil {
		paint := *s.Paint
		paint.Taxes = nil
		for _, t := range s.Rates.Taxes {
			paint.Taxes = append(paint.Taxes, route.Tax(t))
		}
		b.Paint = &paint
	}
	return b
}

// Settings reads the house's settings.
func (w *Workshop) Settings(ctx context.Context) (Settings, error) {
	s := Settings{House: house.Default(), Rack: rack.Default(), Rates: quote.DefaultRates()}
	if err := w.Store.Settings(ctx, map[string]any{HouseSetting: &s.House, RackSetting: &s.Rack, RatesSetting: &s.Rates, LimitsSetting: &s.Limits, LessonsSetting: &s.Lessons, TrimSetting: &s.Trim, PaintSetting: &s.Paint}); err != nil {
		return s, err
	}
	if s.Limits.Check() != nil {
		s.Limits = fair.DefaultLimits(fair.Paint(s.House.Paint))
	}
	return s, nil
}

// TrimWhen lists the conditions under which further trim of a kind of panel comes off.
func (s Settings) TrimWhen(kind string) (when []string) {
	list := trim.Default()
	if s.Trim != nil {
		list = *s.Trim
	}
	for _, p := range list.Parts {
		if p.Panel == kind && p.When != "" && !slices.Contains(when, p.When) {
			when = append(when, p.When)
		}
	}
	return when
}

// Workshop measures what is queued.
type Workshop struct {
	Store Store
	// Workers is how many captures are measured at a time; each uses the whole computer.
	Workers int
	// Observe is told of each measurement: what came of it, and how long it took.
	Observe func(state job.State, took time.Duration)

	again time.Duration // of the queue; its own where 0

	mu   sync.Mutex
	next int
	ears map[int]chan Event
}

// Event tells of a capture.
type Event struct {
	JobID     string    `json:"job"`
	CaptureID string    `json:"capture"`
	State     job.State `json:"state"`
	Doing     string    `json:"doing"`
	Progress  float64   `json:"progress"`
	Message   string    `json:"message"`
}

// New returns a workshop on a store.
func New(s Store) *Workshop {
	return &Workshop{Store: s, Workers: 1, Observe: func(job.State, time.Duration) {}, ears: map[int]chan Event{}}
}

// Listen returns a channel of events and a function that ends it. A listener that does not keep up misses events, not the truth:
// that is in the store.
func (w *Workshop) Listen() (<-chan Event, func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	id := w.next
	w.next++
	c := make(chan Event, 32)
	w.ears[id] = c
	return c, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.ears, id)
	}
}

func (w *Workshop) tell(e Event) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range w.ears {
		select {
		case c <- e:
		default:
		}
	}
}

// AddCapture stores a capture, which puts it into the queue.
func (w *Workshop) AddCapture(ctx context.Context, jobID, title string, files map[string][]byte) (job.Capture, error) {
	c, err := w.Store.AddCapture(ctx, jobID, title, files)
	if err == nil {
		w.tell(Event{JobID: jobID, CaptureID: c.ID, State: job.Queued})
	}
	return c, err
}

// Run puts captures into the queue and measures as many at a time as there are workers, until ctx ends. What a killed process left
// half done is taken up again.
func (w *Workshop) Run(ctx context.Context) error {
	q := queue.Runner{Records: w.Store, Workers: w.Workers, Do: w.Measure, Again: w.again, Waits: func(c job.Capture, why string) {
		w.tell(Event{JobID: c.JobID, CaptureID: c.ID, State: job.Queued, Doing: why})
	}}
	if w.Store.Shared() {
		go w.watch(ctx)
	}
	return q.Run(ctx)
}

// watch tells of what workers elsewhere do.
func (w *Workshop) watch(ctx context.Context) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	after := ""
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		w.mu.Lock()
		deaf := len(w.ears) == 0
		w.mu.Unlock()
		if deaf {
			after = ""
			continue
		}
		list, now, err := w.Store.Moved(ctx, after)
		if err != nil {
			continue // the page shows the truth when it is loaded again
		}
		if after != "" {
			for _, c := range list {
				w.tell(Event{JobID: c.JobID, CaptureID: c.ID, State: c.State, Doing: c.Doing, Progress: c.Progress, Message: c.Message})
			}
		}
		after = now
	}
}

// Measure measures one capture, prices it and stores the outcome.
func (w *Workshop) Measure(ctx context.Context, c job.Capture) error {
	begun := time.Now()
	j, err := w.Store.Job(ctx, c.JobID)
	if err != nil {
		return err
	}
	say := func(doing string, progress float64) {
		w.tell(Event{JobID: c.JobID, CaptureID: c.ID, State: job.Measuring, Doing: doing, Progress: progress})
	}
	if err := w.Store.SetProgress(ctx, c.ID, "starting", 0); err != nil {
		return err
	}
	last := -1.0
	results, err := w.results(ctx, j, &c, func(doing string, progress float64) {
		say(doing, progress)
		// The store hears of it in tenths: enough for a page that is opened meanwhile.
		if progress-last >= 0.1 {
			last = progress
			w.Store.SetProgress(ctx, c.ID, doing, progress)
		}
	})
	if ctx.Err() != nil {
		return ctx.Err()
	}
	var un *unreached
	if errors.As(err, &un) {
		return err // not the photos' fault: they wait
	}
	if err != nil {
		var r *inspection.Refusal
		if !errors.As(err, &r) {
			slog.Error("measuring", "capture", c.ID, "error", err)
		}
		c.State, c.Message = job.Refused, err.Error()
		results = nil
	}
	if err := w.Store.Finish(ctx, c, results); err != nil {
		return err
	}
	w.Observe(c.State, time.Since(begun))
	w.tell(Event{JobID: c.JobID, CaptureID: c.ID, State: c.State, Progress: 1, Message: c.Message})
	return nil
}

// alter changes a job as it stands now, again where somebody saved it in between; f tells whether there is something to save.
func (w *Workshop) alter(ctx context.Context, id string, f func(j *job.Job) bool) error {
	for {
		j, err := w.Store.Job(ctx, id)
		if err != nil || !f(&j) {
			return err
		}
		err = w.Store.SaveJob(ctx, j)
		var between *job.ErrConflict
		if !errors.As(err, &between) {
			return err
		}
	}
}

// results measures and makes all files of a capture; it fills in the capture's figures.
func (w *Workshop) results(ctx context.Context, j job.Job, c *job.Capture, progress inspection.Progress) (files map[string][]byte, err error) {
	// A fault in measuring must not take the workshop down with it.
	defer func() {
		if p := recover(); p != nil {
			slog.Error("measuring broke down", "capture", c.ID, "panic", p)
			files, err = nil, fmt.Errorf("these photos broke the measuring; they are kept, please report it: %v", p)
		}
	}()
	var reads reads
	folder := reads.of(w.Store.Folder(ctx, c.ID))
	twin, err := w.twin(ctx, folder, &reads)
	var res *inspection.Result
	if err == nil {
		res, err = inspection.RunTwin(ctx, folder, twin, progress)
	}
	if lost := reads.failed(); lost != nil {
		return nil, lost
	}
	if err != nil {
		return nil, err
	}
	if files, err = res.Files(); err != nil {
		return nil, err
	}
	stored, err := inspection.Load(memfs.FS(files))
	if err != nil {
		return nil, err
	}
	settings, err := w.Settings(ctx)
	if err != nil {
		return nil, &unreached{err}
	}
	f := w.knowing(ctx, j, c.ID, stored)
	o, more, err := Price(settings, j, f, stored, memfs.FS(files))
	if err != nil {
		return nil, err
	}
	maps.Copy(files, more)
	// Metal that cannot be judged is measured all the same: the page of the proof says why.
	if proof, err := Proof(settings, f, stored, o); err == nil {
		maps.Copy(files, proof)
	}
	if files[SmallName], err = Small(files["overlay.png"]); err != nil {
		return nil, err
	}
	c.State = job.Measured
	c.Count(stored.Marks)
	figures(c, o)
	return files, nil
}

// SmallName is the result with a picture for lists.
const SmallName = "small.jpg"

// smallSidePX is the longer side of that picture: twice what a card on the bench is wide, for fine screens.
const smallSidePX = 520

// Small is the overlay as lists show it.
func Small(overlay []byte) ([]byte, error) {
	return photo.Thumbnail(overlay, smallSidePX, photo.Limits{})
}

// Price makes verdict, plan, price and paper of a measured result, by what is known of the panel.
func Price(set Settings, j job.Job, f offer.Facts, stored *inspection.Stored, folder fs.FS) (offer.Offer, map[string][]byte, error) {
	o, err := offer.MakeWith(stored, f, set.Rack, set.Rates, set.Books(j))
	if err != nil {
		return o, nil, err
	}
	files, err := o.Files()
	if err != nil {
		return o, nil, err
	}
	l := letterhead(set, j, job.Person{}, words.Match(set.House.Lang))
	if files["quote.pdf"], err = o.Paper(stored, folder, l); err != nil {
		return o, nil, err
	}
	return o, files, nil
}

// Offer reads a capture's verdict, plan and price back.
func Offer(folder fs.FS) (offer.Offer, error) {
	var o offer.Offer
	for name, v := range map[string]any{"verdict.json": &o.Verdict, "plan.json": &o.Plan, "quote.json": &o.Quote} {
		data, err := fs.ReadFile(folder, name)
		if err != nil {
			return o, err
		}
		if err := json.Unmarshal(data, v); err != nil {
			return o, fmt.Errorf("%s cannot be read (%w); measure again", name, err)
		}
	}
	return o, nil
}
