package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"fairmetal/job"
)

// ErrTaken says that a capture is another's to measure.
var ErrTaken = errors.New("another computer measures this capture")

// ErrDone says that a capture is measured or refused already.
var ErrDone = errors.New("this capture is measured already")

// maxTries bounds how often a capture may take its measuring process down with it.
const maxTries = 3

// Database is the database beneath, for a queue that shares its transactions.
func (s *Store) Database() *sql.DB { return s.db }

// OnQueue calls f, inside the same transaction, whenever a capture comes to wait for its measuring. try counts from 0.
func (s *Store) OnQueue(f func(ctx context.Context, tx *sql.Tx, captureID string, try int) error) {
	s.onQueue.Store(&f)
}

func (s *Store) queued(ctx context.Context, tx runner, captureID string, try int) error {
	f := s.onQueue.Load()
	if f == nil {
		return nil
	}
	return (*f)(ctx, tx.on.(*sql.Tx), captureID, try)
}

// Alone runs f while no other process of a shared workshop does: for the queue's own tables, which processes that start together would
// make at once.
func (s *Store) Alone(ctx context.Context, f func() error) error {
	if !s.Shared() {
		return f()
	}
	c, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer c.Close()
	if _, err := c.ExecContext(ctx, "SELECT pg_advisory_lock($1)", starters); err != nil {
		return err
	}
	err = f()
	return errors.Join(err, unlock(ctx, c))
}

func unlock(ctx context.Context, c *sql.Conn) error {
	_, err := c.ExecContext(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock($1)", starters)
	return err
}

type holderKey struct{}

// Holding names the holder of a capture for the calls that measuring makes: they fail with ErrTaken once another has taken over.
func Holding(ctx context.Context, holder string) context.Context {
	return context.WithValue(ctx, holderKey{}, holder)
}

// heldStill refuses what a holder sends that was taken for dead. now is the time of the records.
func (s *Store) heldStill(ctx context.Context, tx runner, captureID string) (now string, err error) {
	if now, err = s.engine.clock(ctx, tx, s.stamp()); err != nil {
		return "", err
	}
	holder, ok := ctx.Value(holderKey{}).(string)
	if !ok {
		return now, nil
	}
	r, err := tx.exec(ctx, "UPDATE runs SET beat_at = ? WHERE capture_id = ? AND holder = ?", now, captureID, holder)
	if errors.Is(found(r, err), ErrNotFound) {
		return "", ErrTaken
	}
	return now, err
}

// run is what is known of who measures a capture.
type run struct {
	holder string
	tries  int
	beat   string
	waits  int // how often in a row it had to wait again, as something could not be reached
}

func readRun(ctx context.Context, tx runner, captureID string) (r run, err error) {
	err = tx.row(ctx, "SELECT holder, tries, beat_at, waits FROM runs WHERE capture_id = ?", captureID).Scan(&r.holder, &r.tries, &r.beat, &r.waits)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return r, err
}

func writeRun(ctx context.Context, tx runner, captureID string, r run) error {
	_, err := tx.exec(ctx, `INSERT INTO runs (capture_id, holder, tries, beat_at, waits) VALUES (?, ?, ?, ?, ?)
		ON CONFLICT (capture_id) DO UPDATE SET holder = excluded.holder, tries = excluded.tries, beat_at = excluded.beat_at, waits = excluded.waits`, captureID, r.holder, r.tries, r.beat, r.waits)
	return err
}

// silent tells whether a beat is older than a time.
func silent(beat, now string, stale time.Duration) bool {
	return parseTime(now).Sub(parseTime(beat)) > stale
}

// Claim takes a capture for a holder to measure: ErrDone, ErrTaken while another holder is heard of, ErrNotFound. A capture that took
// its process down too often is refused here.
func (s *Store) Claim(ctx context.Context, captureID, holder string, stale time.Duration) (c job.Capture, err error) {
	err = s.tx(ctx, func(tx runner) error {
		if c, err = scanCapture(tx.row(ctx, "SELECT "+captureColumns+" FROM captures WHERE id = ?", captureID)); err != nil {
			return err
		}
		now, err := s.engine.clock(ctx, tx, s.stamp())
		if err != nil {
			return err
		}
		r, err := readRun(ctx, tx, captureID)
		if err != nil {
			return err
		}
		switch {
		case c.State != job.Queued && c.State != job.Measuring:
			return ErrDone
		case c.State == job.Measuring && r.holder != "" && !silent(r.beat, now, stale):
			return ErrTaken
		}
		if r.tries >= maxTries {
			if _, err := tx.exec(ctx, "UPDATE captures SET state = ?, doing = '', message = ? WHERE id = ?", string(job.Refused), "Measuring these photos ended the program three times. They are kept; please report it with a support bundle.", captureID); err != nil {
				return err
			}
			c.State = job.Refused
			return writeRun(ctx, tx, captureID, run{"", r.tries, now, 0})
		}
		if _, err := tx.exec(ctx, "UPDATE captures SET state = ?, doing = '', progress = 0 WHERE id = ?", string(job.Measuring), captureID); err != nil {
			return err
		}
		c.State = job.Measuring
		return writeRun(ctx, tx, captureID, run{holder, r.tries + 1, now, r.waits})
	})
	if err == nil && c.State == job.Refused {
		err = ErrDone
	}
	return c, err
}

// Beat tells that a holder is alive: ErrTaken once another has taken over.
func (s *Store) Beat(ctx context.Context, captureID, holder string) error {
	return s.tx(ctx, func(tx runner) error {
		_, err := s.heldStill(Holding(ctx, holder), tx, captureID)
		return err
	})
}

// Release puts a capture back that its holder could not finish through no fault of the photos; the holder's job tries it again. why is
// shown meanwhile; empty where the holder only ends its work. It tells how often in a row the capture has come back with a reason. Of a
// capture that was taken over meanwhile only the try is given back: its holder was silent, and did not end with it.
func (s *Store) Release(ctx context.Context, captureID, holder, why string) (waits int, err error) {
	err = s.tx(ctx, func(tx runner) error {
		r, err := readRun(ctx, tx, captureID)
		if err != nil {
			return err
		}
		if r.holder != holder {
			_, err := tx.exec(ctx, "UPDATE runs SET tries = tries - 1 WHERE capture_id = ? AND tries > 0", captureID)
			return err
		}
		now, err := s.engine.clock(ctx, tx, s.stamp())
		if err != nil {
			return err
		}
		if waits = r.waits; why != "" {
			waits++
		}
		return await(ctx, tx, captureID, why, run{"", max(0, r.tries-1), now, waits})
	})
	return waits, err
}

// await lets a capture wait again.
func await(ctx context.Context, tx runner, captureID, why string, r run) error {
	if _, err := tx.exec(ctx, "UPDATE captures SET state = ?, doing = ?, progress = 0 WHERE id = ?", string(job.Queued), why, captureID); err != nil {
		return err
	}
	return writeRun(ctx, tx, captureID, r)
}

// Rescue puts captures back in the queue whose holder was not heard of for stale: all whose measuring is under way where stale is 0. It
// puts those forward again, too, that wait for long and may have been forgotten.
func (s *Store) Rescue(ctx context.Context, stale time.Duration) (rescued int, err error) {
	err = s.tx(ctx, func(tx runner) error {
		now, err := s.engine.clock(ctx, tx, s.stamp())
		if err != nil {
			return err
		}
		rows, err := tx.query(ctx, "SELECT "+captureColumns+" FROM captures WHERE state IN (?, ?) ORDER BY created_at, id", string(job.Queued), string(job.Measuring))
		list, err := all(rows, err, scanCapture)
		if err != nil {
			return err
		}
		for _, c := range list {
			r, err := readRun(ctx, tx, c.ID)
			if err != nil {
				return err
			}
			long := stale
			if c.State == job.Queued {
				long *= forgotten
			}
			// One that was never put forward by the queue is, whatever its age: its job, if there is one, is the same.
			if stale > 0 && r.beat != "" && !silent(r.beat, now, long) {
				continue
			}
			why := ""
			if c.State == job.Queued {
				why = c.Doing
			}
			if err := await(ctx, tx, c.ID, why, run{"", r.tries, now, r.waits}); err != nil {
				return err
			}
			if err := s.queued(ctx, tx, c.ID, r.tries); err != nil {
				return err
			}
			if c.State == job.Measuring {
				rescued++
			}
		}
		return nil
	})
	return rescued, err
}

// forgotten is how many times longer a capture may wait than a holder may be silent, before it is put forward again.
const forgotten = 20

// Moved lists the captures whose measuring was heard of after a time of the records, and tells that time now; the time alone where
// after is empty.
func (s *Store) Moved(ctx context.Context, after string) (list []job.Capture, now string, err error) {
	if now, err = s.engine.clock(ctx, s.runner, s.stamp()); err != nil || after == "" {
		return nil, now, err
	}
	rows, err := s.query(ctx, "SELECT "+captureColumns+" FROM captures WHERE id IN (SELECT capture_id FROM runs WHERE beat_at >= ?) ORDER BY created_at, id", after)
	list, err = all(rows, err, scanCapture)
	return list, now, err
}
