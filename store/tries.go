package store

import (
	"context"
	"errors"
	"time"
)

// PutChallenge keeps what a device is to answer until it ends, and clears away those that have.
func (s *Store) PutChallenge(ctx context.Context, token, body string, now, ends time.Time) error {
	return s.tx(ctx, func(tx runner) error {
		if _, err := tx.exec(ctx, "DELETE FROM challenges WHERE ends_at <= ? OR token = ?", now.UTC().Format(timeLayout), token); err != nil {
			return err
		}
		_, err := tx.exec(ctx, "INSERT INTO challenges (token, body, ends_at) VALUES (?, ?, ?)", token, body, ends.UTC().Format(timeLayout))
		return err
	})
}

// TakeChallenge gives a challenge out for good: of two who ask one finds nothing.
func (s *Store) TakeChallenge(ctx context.Context, token string, now time.Time) (body string, err error) {
	var ends string
	err = s.tx(ctx, func(tx runner) error {
		if err := tx.row(ctx, "SELECT body, ends_at FROM challenges WHERE token = ?", token).Scan(&body, &ends); err != nil {
			return missing(err)
		}
		_, err := tx.exec(ctx, "DELETE FROM challenges WHERE token = ?", token)
		return err
	})
	if err == nil && !now.Before(parseTime(ends)) {
		return "", ErrNotFound
	}
	return body, err
}

// Allowance is how many tries somebody has: so many at once, and more at a steady rate.
type Allowance struct {
	Burst float64
	Every time.Duration // for one more
}

// Bounds of what is remembered of tries: for how long, in which anybody's are all there again, and of how many, beyond which all are
// forgotten.
const (
	triedFor = time.Hour
	maxTried = 20_000
)

// Try takes a try of somebody's and tells whether there was one left.
func (s *Store) Try(ctx context.Context, whom string, a Allowance, now time.Time) (ok bool, err error) {
	err = s.tx(ctx, func(tx runner) error {
		left, seen := a.Burst, ""
		err := missing(tx.row(ctx, "SELECT tokens, seen_at FROM tries WHERE of_whom = ?", whom).Scan(&left, &seen))
		switch {
		case errors.Is(err, ErrNotFound):
			var n int
			if err := tx.row(ctx, "SELECT count(*) FROM tries").Scan(&n); err != nil {
				return err
			}
			until := now.Add(-triedFor)
			if n >= maxTried {
				until = now
			}
			if _, err := tx.exec(ctx, "DELETE FROM tries WHERE seen_at <= ?", until.UTC().Format(timeLayout)); err != nil {
				return err
			}
		case err != nil:
			return err
		default:
			left = min(a.Burst, left+max(0, now.Sub(parseTime(seen)).Seconds())/a.Every.Seconds())
		}
		if ok = left >= 1; ok {
			left--
		}
		_, err = tx.exec(ctx, "INSERT INTO tries (of_whom, tokens, seen_at) VALUES (?, ?, ?) ON CONFLICT (of_whom) DO UPDATE SET tokens = excluded.tokens, seen_at = excluded.seen_at", whom, left, now.UTC().Format(timeLayout))
		return err
	})
	return ok, err
}
