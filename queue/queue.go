package queue

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"syscall"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"

	"fairmetal/job"
	"fairmetal/store"
)

// Records is what the queue needs of the store.
type Records interface {
	Database() *sql.DB
	Shared() bool
	Alone(ctx context.Context, f func() error) error
	OnQueue(f func(ctx context.Context, tx *sql.Tx, captureID string, try int) error)
	Claim(ctx context.Context, captureID, holder string, stale time.Duration) (job.Capture, error)
	Beat(ctx context.Context, captureID, holder string) error
	Release(ctx context.Context, captureID, holder, why string) (waits int, err error)
	Rescue(ctx context.Context, stale time.Duration) (int, error)
}

// Runner measures what waits.
type Runner struct {
	Records Records
	// Do measures one capture. An error means that it could not be tried, not that the photos are no good.
	Do func(ctx context.Context, c job.Capture) error
	// Workers is how many captures are measured at a time; 0: this process only puts captures into the queue.
	Workers int
	// Waits is told of captures that could not be tried and wait again, with the words for who looks at them.
	Waits func(c job.Capture, why string)
	// Stale is how long a holder may be silent; DefaultStale where 0.
	Stale time.Duration
	// Again is how long a capture rests at first that could not be tried; 10 s where 0.
	Again time.Duration
}

// DefaultStale is six heartbeats.
const DefaultStale = 30 * time.Second

// poll is how often the queue is looked at: what a person who waits does not notice.
const poll = 300 * time.Millisecond

// How long a capture rests that could not be tried: twice as long each time, up to a bound that is well before it counts as forgotten.
const (
	again     = 10 * time.Second
	atLongest = 5 * time.Minute
)

// rest is how long a capture rests after it had to wait so many times in a row.
func rest(first time.Duration, waits int) time.Duration {
	return min(atLongest, first<<min(max(0, waits-1), 10))
}

// Words for who looks at a capture that waits.
const (
	Unreached = "The photos or the records cannot be reached at present. Nothing is lost: measuring is tried again by itself."
	Full      = "The disk is full. Nothing is lost: free some space, and measuring is tried again by itself."
)

func why(err error) string {
	if errors.Is(err, syscall.ENOSPC) {
		return Full
	}
	return Unreached
}

// longest is how long measuring may take. A job that is taken but not claimed when its worker dies waits as long.
const longest = 30 * time.Minute

// name of the queue.
const name = "measure"

// task is a job of the queue. Try makes the job of a rescued capture another than the one that its dead holder still has.
type task struct {
	Capture string `json:"capture"`
	Try     int    `json:"try"`
}

// Kind implements river.JobArgs.
func (task) Kind() string { return name }

// waiting are the states in which a job is still to come or under way: one job of a task is enough.
var waiting = []rivertype.JobState{rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRetryable, rivertype.JobStateRunning, rivertype.JobStateScheduled}

// Run works until ctx ends.
func (q *Runner) Run(ctx context.Context) error {
	stale := q.Stale
	if stale == 0 {
		stale = DefaultStale
	}
	client, err := q.client(ctx, stale)
	if err != nil {
		if ctx.Err() != nil {
			return nil
		}
		return fmt.Errorf("the queue cannot be used (%w); restore the last backup or use the program version that wrote it", err)
	}
	q.Records.OnQueue(func(ctx context.Context, tx *sql.Tx, captureID string, try int) error {
		_, err := client.InsertTx(ctx, tx, task{captureID, try}, &river.InsertOpts{Queue: name, UniqueOpts: river.UniqueOpts{ByArgs: true, ByState: waiting}})
		return err
	})
	first := stale
	if !q.Records.Shared() {
		// One process holds the folder: whoever measured is gone, and the jobs are made anew.
		first = 0
		if _, err := q.Records.Database().ExecContext(ctx, "DELETE FROM river_job"); err != nil && ctx.Err() == nil {
			return err
		}
	}
	if _, err := q.Records.Rescue(ctx, first); err != nil && ctx.Err() == nil {
		return err
	}
	if q.Workers > 0 {
		if err := client.Start(context.WithoutCancel(ctx)); err != nil {
			return err
		}
		defer func() {
			quiet, done := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
			defer done()
			client.StopAndCancel(quiet)
		}()
	}
	q.rescue(ctx, stale)
	return nil
}

// rescue looks for captures whose holder is silent, until ctx ends.
func (q *Runner) rescue(ctx context.Context, stale time.Duration) {
	tick := time.NewTicker(stale / 3)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		n, err := q.Records.Rescue(ctx, stale)
		if err != nil && ctx.Err() == nil {
			slog.Warn("looking for silent workers", "error", err) // the next look may succeed
		}
		if n > 0 {
			slog.Warn("a worker fell silent; its captures wait again", "captures", n)
		}
	}
}

func (q *Runner) client(ctx context.Context, stale time.Duration) (*river.Client[*sql.Tx], error) {
	var driver riverdriver.Driver[*sql.Tx] = riversqlite.New(q.Records.Database())
	if q.Records.Shared() {
		driver = riverdatabasesql.New(q.Records.Database())
	}
	logger := slog.New(quiet{slog.Default().Handler()})
	m, err := rivermigrate.New(driver, &rivermigrate.Config{Logger: logger})
	if err != nil {
		return nil, err
	}
	err = q.Records.Alone(ctx, func() error {
		_, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil)
		return err
	})
	if err != nil {
		return nil, err
	}
	c := &river.Config{Logger: logger, JobTimeout: longest, RescueStuckJobsAfter: longest + time.Minute, FetchPollInterval: poll, FetchCooldown: 100 * time.Millisecond, PollOnly: true}
	if q.Workers > 0 {
		c.Queues = map[string]river.QueueConfig{name: {MaxWorkers: q.Workers}}
		c.Workers = river.NewWorkers()
		river.AddWorker(c.Workers, &worker{q: q, stale: stale})
	}
	return river.NewClient(driver, c)
}

type worker struct {
	river.WorkerDefaults[task]
	q     *Runner
	stale time.Duration
}

// Work implements river.Worker.
func (w *worker) Work(ctx context.Context, j *river.Job[task]) error {
	holder := rand.Text()
	c, err := w.q.Records.Claim(ctx, j.Args.Capture, holder, w.stale)
	switch {
	case errors.Is(err, store.ErrDone), errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrTaken):
		// Measured, removed, or another's: if that one dies, its capture gets a new job.
		return nil
	case err != nil:
		return err
	}
	ctx, stop := context.WithCancelCause(store.Holding(ctx, holder))
	defer stop(nil)
	go w.beat(ctx, stop, c.ID, holder)
	err = w.q.Do(ctx, c)
	if errors.Is(context.Cause(ctx), store.ErrTaken) || errors.Is(err, store.ErrTaken) {
		slog.Warn("another took over", "capture", c.ID)
		w.release(ctx, c, holder, "")
		return nil
	}
	if err != nil {
		// Back into the queue, for whoever is there.
		ended := errors.Is(err, context.Canceled)
		words := ""
		if !ended {
			words = why(err)
			slog.Error("measuring", "capture", c.ID, "error", err)
		}
		waits := w.release(ctx, c, holder, words)
		if ended {
			return river.JobSnooze(0)
		}
		if w.q.Waits != nil {
			w.q.Waits(c, words)
		}
		first := w.q.Again
		if first == 0 {
			first = again
		}
		return river.JobSnooze(rest(first, waits))
	}
	return nil
}

// How long a worker tries to put a capture back: at its own end, and while it goes on and the server may be restarting.
const (
	atEnd     = 5 * time.Second
	meanwhile = 5 * time.Minute
)

func (w *worker) release(ctx context.Context, c job.Capture, holder, words string) (waits int) {
	patience := meanwhile
	if ctx.Err() != nil && words == "" {
		patience = atEnd
	}
	quiet, done := context.WithTimeout(context.WithoutCancel(ctx), patience)
	defer done()
	for {
		waits, err := w.q.Records.Release(quiet, c.ID, holder, words)
		if err == nil {
			return waits
		}
		select {
		case <-quiet.Done():
			slog.Warn("a capture could not be put back; it is when this worker is found silent", "capture", c.ID, "error", err)
			return 0
		case <-time.After(time.Second):
		}
	}
}

// beat tells that the holder is alive, and stops it once another has taken over.
func (w *worker) beat(ctx context.Context, stop context.CancelCauseFunc, captureID, holder string) {
	tick := time.NewTicker(w.stale / 6)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			if err := w.q.Records.Beat(ctx, captureID, holder); errors.Is(err, store.ErrTaken) {
				stop(store.ErrTaken)
			}
		}
	}
}

// quiet passes warnings on and no more: the queue talks much.
type quiet struct{ slog.Handler }

// Enabled implements slog.Handler.
func (quiet) Enabled(_ context.Context, l slog.Level) bool { return l >= slog.LevelWarn }
