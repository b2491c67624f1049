package store

import (
	"context"
	"strings"
	"time"

	"fairmetal/job"
)

// User is somebody who may sign in.
type User struct {
	ID      string
	Name    string
	Role    job.Role
	Hash    string // of the passphrase
	Created time.Time
}

const userColumns = "id, name, role, passphrase, created_at"

func scanUser(r scanner) (User, error) {
	var u User
	var role, created string
	err := r.Scan(&u.ID, &u.Name, &role, &u.Hash, &created)
	u.Role, u.Created = job.Role(role), parseTime(created)
	return u, missing(err)
}

// AddUser stores a new user.
func (s *Store) AddUser(ctx context.Context, u User) (User, error) {
	u.Name = strings.Join(strings.Fields(u.Name), " ")
	switch {
	case u.Name == "" || len(u.Name) > 60:
		return u, &job.FieldError{Field: "name", Text: "Give a name of 1 to 60 letters."}
	case u.Role != job.Owner && u.Role != job.Technician && u.Role != job.Viewer:
		return u, &job.FieldError{Field: "role", Text: "The role is owner, technician or viewer."}
	}
	u.ID = newID()
	err := s.tx(ctx, func(tx runner) error {
		var n int
		if err := tx.row(ctx, "SELECT count(*) FROM users WHERE lower(name) = lower(?)", u.Name).Scan(&n); err != nil {
			return err
		}
		if n > 0 {
			return &job.FieldError{Field: "name", Text: "Somebody of this name signs in already: choose another."}
		}
		now := s.stamp()
		u.Created = parseTime(now)
		if _, err := tx.exec(ctx, "INSERT INTO users ("+userColumns+") VALUES (?, ?, ?, ?, ?)", u.ID, u.Name, string(u.Role), u.Hash, now); err != nil {
			return err
		}
		return s.note(ctx, tx, "user added", "", u.Name+", "+string(u.Role))
	})
	return u, err
}

// SetPassphrase stores a new hash, ends the user's sessions and removes the passkeys: whatever was lost is of no use any more.
func (s *Store) SetPassphrase(ctx context.Context, id, hash string) error {
	return s.tx(ctx, func(tx runner) error {
		r, err := tx.exec(ctx, "UPDATE users SET passphrase = ? WHERE id = ?", hash, id)
		if err := found(r, err); err != nil {
			return err
		}
		for _, table := range []string{"sessions", "passkeys"} {
			if _, err := tx.exec(ctx, "DELETE FROM "+table+" WHERE user_id = ?", id); err != nil {
				return err
			}
		}
		return s.note(ctx, tx, "passphrase changed", "", id)
	})
}

// RemoveUser takes a user's access away; what was noted of them stays. The last owner stays.
func (s *Store) RemoveUser(ctx context.Context, id string) error {
	return s.tx(ctx, func(tx runner) error {
		u, err := scanUser(tx.row(ctx, "SELECT "+userColumns+" FROM users WHERE id = ?", id))
		if err != nil {
			return err
		}
		var others int
		if err := tx.row(ctx, "SELECT count(*) FROM users WHERE role = ? AND id <> ?", string(job.Owner), id).Scan(&others); err != nil {
			return err
		}
		if u.Role == job.Owner && others == 0 {
			return &job.FieldError{Field: "user", Text: "The last owner stays: add another first."}
		}
		if _, err := tx.exec(ctx, "DELETE FROM users WHERE id = ?", id); err != nil {
			return err
		}
		return s.note(ctx, tx, "user removed", "", u.Name)
	})
}

// Users lists who may sign in, by name.
func (s *Store) Users(ctx context.Context) ([]User, error) {
	rows, err := s.query(ctx, "SELECT "+userColumns+" FROM users ORDER BY lower(name)")
	return all(rows, err, scanUser)
}

// User reads a user.
func (s *Store) User(ctx context.Context, id string) (User, error) {
	return scanUser(s.row(ctx, "SELECT "+userColumns+" FROM users WHERE id = ?", id))
}

// UserNamed reads a user by name, small and capital letters being the same.
func (s *Store) UserNamed(ctx context.Context, name string) (User, error) {
	return scanUser(s.row(ctx, "SELECT "+userColumns+" FROM users WHERE lower(name) = lower(?)", strings.Join(strings.Fields(name), " ")))
}

// Session is a browser that is signed in.
type Session struct {
	Token  string // hashed
	UserID string
	Device string
	Seen   time.Time
	Ends   time.Time
}

// AddSession stores a session and clears away those that have ended.
func (s *Store) AddSession(ctx context.Context, n Session) error {
	return s.tx(ctx, func(tx runner) error {
		if _, err := tx.exec(ctx, "DELETE FROM sessions WHERE ends_at <= ?", s.stamp()); err != nil {
			return err
		}
		if _, err := tx.exec(ctx, "INSERT INTO sessions (token, user_id, device, seen_at, ends_at) VALUES (?, ?, ?, ?, ?)", n.Token, n.UserID, n.Device, n.Seen.UTC().Format(timeLayout), n.Ends.UTC().Format(timeLayout)); err != nil {
			return err
		}
		return s.note(ctx, tx, "signed in", "", n.Device)
	})
}

// Session reads a session and its user.
func (s *Store) Session(ctx context.Context, token string) (Session, User, error) {
	n := Session{Token: token}
	var seen, ends string
	if err := s.row(ctx, "SELECT user_id, device, seen_at, ends_at FROM sessions WHERE token = ?", token).Scan(&n.UserID, &n.Device, &seen, &ends); err != nil {
		return n, User{}, missing(err)
	}
	n.Seen, n.Ends = parseTime(seen), parseTime(ends)
	u, err := s.User(ctx, n.UserID)
	return n, u, err
}

// SeeSession notes that a session was used.
func (s *Store) SeeSession(ctx context.Context, token string, at time.Time) error {
	_, err := s.exec(ctx, "UPDATE sessions SET seen_at = ? WHERE token = ?", at.UTC().Format(timeLayout), token)
	return err
}

// EndSession ends one session.
func (s *Store) EndSession(ctx context.Context, token string) error {
	_, err := s.exec(ctx, "DELETE FROM sessions WHERE token = ?", token)
	return err
}

// EndSessions ends all sessions of a user.
func (s *Store) EndSessions(ctx context.Context, userID string) error {
	return s.tx(ctx, func(tx runner) error {
		if _, err := tx.exec(ctx, "DELETE FROM sessions WHERE user_id = ?", userID); err != nil {
			return err
		}
		return s.note(ctx, tx, "sessions ended", "", userID)
	})
}

// Note writes a line of the trail that belongs to no change of a record.
func (s *Store) Note(ctx context.Context, what, text string) error {
	return s.tx(ctx, func(tx runner) error { return s.note(ctx, tx, what, "", text) })
}
