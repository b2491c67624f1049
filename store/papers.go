package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"

	"fairmetal/job"
)

// AddPaper stores a document that leaves the house together with its files, which are kept as attachments of the job under
// PAPER-ID/NAME. A new one of a kind and number is its next version.
func (s *Store) AddPaper(ctx context.Context, p job.Paper, files map[string][]byte) (job.Paper, error) {
	p.ID = newID()
	named := map[string][]byte{}
	for n, b := range files {
		named[p.ID+"/"+n] = b
	}
	kept, err := s.keep(ctx, named)
	if err != nil {
		return p, err
	}
	err = s.tx(ctx, func(tx runner) error {
		if err := tx.row(ctx, "SELECT coalesce(max(version), 0) + 1 FROM papers WHERE kind = ? AND number = ?", p.Kind, p.Number).Scan(&p.Version); err != nil {
			return err
		}
		if (p.Kind == "invoice" || p.Kind == "credit") && p.Version > 1 {
			return fmt.Errorf("there is a paper with the number %s already; reload the page and try again", p.Number)
		}
		now := s.stamp()
		p.Created = parseTime(now)
		if _, err := tx.exec(ctx, "INSERT INTO papers ("+paperColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", p.ID, p.JobID, p.Kind, p.Number, p.Version, p.Lang, p.Currency, p.TotalMinor, p.State, now); err != nil {
			return err
		}
		if err := attach(ctx, tx, p.JobID, kept); err != nil {
			return err
		}
		return s.note(ctx, tx, "paper made", p.JobID, p.Kind+" "+p.Number)
	})
	return p, err
}

const paperColumns = "id, job_id, kind, number, version, lang, currency, total_minor, state, created_at"

func scanPaper(r scanner) (job.Paper, error) {
	var p job.Paper
	var created string
	err := r.Scan(&p.ID, &p.JobID, &p.Kind, &p.Number, &p.Version, &p.Lang, &p.Currency, &p.TotalMinor, &p.State, &created)
	p.Created = parseTime(created)
	return p, missing(err)
}

// Paper reads one paper.
func (s *Store) Paper(ctx context.Context, id string) (job.Paper, error) {
	return scanPaper(s.row(ctx, "SELECT "+paperColumns+" FROM papers WHERE id = ?", id))
}

// Papers lists papers, the newest first; of one job, or of all where jobID is empty.
func (s *Store) Papers(ctx context.Context, jobID string, limit int) ([]job.Paper, error) {
	where, args := "", []any{}
	if jobID != "" {
		where, args = " WHERE job_id = ?", append(args, jobID)
	}
	rows, err := s.query(ctx, "SELECT "+paperColumns+" FROM papers"+where+" ORDER BY created_at DESC, id LIMIT ?", append(args, limit)...)
	return all(rows, err, scanPaper)
}

// SetPaperState notes what became of a paper.
func (s *Store) SetPaperState(ctx context.Context, id, state string) error {
	return s.tx(ctx, func(tx runner) error {
		r, err := tx.exec(ctx, "UPDATE papers SET state = ? WHERE id = ?", state, id)
		if err := found(r, err); err != nil {
			return err
		}
		return s.note(ctx, tx, "paper "+state, "", id)
	})
}

// NextNumber counts the papers of a kind whose number starts so: one more than the highest count that follows the start.
func (s *Store) NextNumber(ctx context.Context, kind, start string) (int, error) {
	var n int
	err := s.row(ctx, `SELECT coalesce(max(CAST(substr(number, ?) AS integer)), 0) + 1 FROM papers WHERE kind = ? AND number LIKE ? ESCAPE '\'`, len(start)+1, kind, like(start)[1:]).Scan(&n)
	return n, err
}

// Attach stores files that belong to a job.
func (s *Store) Attach(ctx context.Context, jobID string, files map[string][]byte) error {
	kept, err := s.keep(ctx, files)
	if err != nil {
		return err
	}
	return s.tx(ctx, func(tx runner) error { return attach(ctx, tx, jobID, kept) })
}

func attach(ctx context.Context, tx runner, jobID string, files []kept) error {
	for _, b := range files {
		if _, err := tx.exec(ctx, `INSERT INTO attachments (job_id, name, sha256, size) VALUES (?, ?, ?, ?)
			ON CONFLICT (job_id, name) DO UPDATE SET sha256 = excluded.sha256, size = excluded.size`, jobID, b.name, b.hash, b.size); err != nil {
			return err
		}
	}
	return nil
}

// Attachment reads a file of a job and checks it against its hash.
func (s *Store) Attachment(ctx context.Context, jobID, name string) ([]byte, error) {
	var hash string
	if err := s.row(ctx, "SELECT sha256 FROM attachments WHERE job_id = ? AND name = ?", jobID, name).Scan(&hash); err != nil {
		return nil, missing(err)
	}
	return s.read(ctx, name, hash)
}

// Setting reads a setting of the house into v and returns its revision; 0, with v untouched, where it was never saved.
func (s *Store) Setting(ctx context.Context, name string, v any) (int64, error) {
	var rev int64
	var body string
	err := missing(s.row(ctx, "SELECT rev, body FROM settings WHERE name = ?", name).Scan(&rev, &body))
	if errors.Is(err, ErrNotFound) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	if err := json.Unmarshal([]byte(body), v); err != nil {
		return 0, unreadable(name, err)
	}
	return rev, nil
}

// Settings reads several settings at once, each into what its name stands for; what is not set stays as it is.
func (s *Store) Settings(ctx context.Context, into map[string]any) error {
	in, args := oneOf(slices.Sorted(maps.Keys(into)))
	rows, err := s.query(ctx, "SELECT name, body FROM settings WHERE name"+in, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var name, body string
		if err := rows.Scan(&name, &body); err != nil {
			return err
		}
		if err := json.Unmarshal([]byte(body), into[name]); err != nil {
			return unreadable(name, err)
		}
	}
	return rows.Err()
}

func unreadable(name string, err error) error {
	return fmt.Errorf("the setting %s cannot be read (%w); save it anew", name, err)
}

// SaveSetting stores a setting; rev is the revision that was read.
func (s *Store) SaveSetting(ctx context.Context, name string, rev int64, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return s.tx(ctx, func(tx runner) error {
		r, err := tx.exec(ctx, `INSERT INTO settings (name, rev, body, updated_at) VALUES (?, ?, ?, ?)
			ON CONFLICT (name) DO UPDATE SET rev = excluded.rev, body = excluded.body, updated_at = excluded.updated_at WHERE settings.rev = ?`, name, rev+1, string(body), s.stamp(), rev)
		if err != nil {
			return err
		}
		if n, err := r.RowsAffected(); err == nil && n == 0 {
			return &job.ErrConflict{What: "setting"}
		}
		return s.note(ctx, tx, "setting saved", "", name)
	})
}

type userKey struct{}

// As names the user whose changes the store notes.
func As(ctx context.Context, user string) context.Context {
	return context.WithValue(ctx, userKey{}, user)
}

// note writes a line of the trail inside the change that it tells of.
func (s *Store) note(ctx context.Context, tx runner, what, jobID, text string) error {
	user, _ := ctx.Value(userKey{}).(string)
	now := s.stamp()
	var seq int64
	if err := tx.row(ctx, "SELECT coalesce(max(seq), 0) + 1 FROM entries WHERE at = ?", now).Scan(&seq); err != nil {
		return err
	}
	_, err := tx.exec(ctx, "INSERT INTO entries (at, seq, who, what, job_id, note) VALUES (?, ?, ?, ?, ?, ?)", now, seq, user, what, jobID, text)
	return err
}

// Entries lists the trail, the newest first; of one job, or of all where jobID is empty.
func (s *Store) Entries(ctx context.Context, jobID string, limit int) ([]job.Entry, error) {
	where, args := "", []any{}
	if jobID != "" {
		where, args = " WHERE job_id = ?", append(args, jobID)
	}
	rows, err := s.query(ctx, "SELECT at, who, what, job_id, note FROM entries"+where+" ORDER BY at DESC, seq DESC LIMIT ?", append(args, limit)...)
	return all(rows, err, func(r scanner) (job.Entry, error) {
		var e job.Entry
		var at string
		err := r.Scan(&at, &e.User, &e.What, &e.JobID, &e.Note)
		e.At = parseTime(at)
		return e, err
	})
}
