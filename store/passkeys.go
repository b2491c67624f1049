package store

import (
	"context"
	"strings"
	"time"
	"unicode/utf8"

	"fairmetal/job"
)

// Passkey is a public key that somebody signs in with. All but names and times is as the browser's standard has it (W3C, Web
// Authentication Level 3).
type Passkey struct {
	ID      string // of the credential, base64url
	UserID  string
	Host    string // that it belongs to
	Name    string // of the device, for people
	Key     string // public, COSE in base64url
	Counter int64  // of the device, which goes up with each use; 0 where the device has none
	Synced  bool   // may be on several devices
	Created time.Time
	Used    time.Time // zero where never
}

// maxPasskeys of one user.
const maxPasskeys = 10

const passkeyColumns = "id, user_id, host, name, public_key, counter, synced, created_at, used_at"

func scanPasskey(r scanner) (Passkey, error) {
	var p Passkey
	var synced int64
	var created, used string
	err := r.Scan(&p.ID, &p.UserID, &p.Host, &p.Name, &p.Key, &p.Counter, &synced, &created, &used)
	p.Synced, p.Created, p.Used = synced != 0, parseTime(created), parseTime(used)
	return p, missing(err)
}

// AddPasskey stores a new passkey of a user.
func (s *Store) AddPasskey(ctx context.Context, p Passkey) error {
	p.Name = strings.Join(strings.Fields(p.Name), " ")
	if p.Name == "" || utf8.RuneCountInString(p.Name) > 60 {
		return &job.FieldError{Field: "name", Text: "Give a name of 1 to 60 letters."}
	}
	return s.tx(ctx, func(tx runner) error {
		var had, same int
		if err := tx.row(ctx, "SELECT count(*) FROM passkeys WHERE user_id = ?", p.UserID).Scan(&had); err != nil {
			return err
		}
		if err := tx.row(ctx, "SELECT count(*) FROM passkeys WHERE id = ?", p.ID).Scan(&same); err != nil {
			return err
		}
		switch {
		case same > 0:
			return &job.FieldError{Field: "passkey", Text: "This passkey is here already."}
		case had >= maxPasskeys:
			return &job.FieldError{Field: "passkey", Text: "There are ten passkeys: remove one first."}
		}
		var synced int64
		if p.Synced {
			synced = 1
		}
		if _, err := tx.exec(ctx, "INSERT INTO passkeys ("+passkeyColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, '')", p.ID, p.UserID, p.Host, p.Name, p.Key, p.Counter, synced, s.stamp()); err != nil {
			return err
		}
		return s.note(ctx, tx, "passkey added", "", p.Name+", "+p.Host)
	})
}

// Passkeys lists the passkeys of a user, the oldest first.
func (s *Store) Passkeys(ctx context.Context, userID string) ([]Passkey, error) {
	rows, err := s.query(ctx, "SELECT "+passkeyColumns+" FROM passkeys WHERE user_id = ? ORDER BY created_at, id", userID)
	return all(rows, err, scanPasskey)
}

// UsePasskey notes that a passkey, as it was read, was used, and keeps the device's counter. Of two uses that read the same counter
// one finds nothing, unless the device does not count.
func (s *Store) UsePasskey(ctx context.Context, p Passkey, counter int64) error {
	return s.tx(ctx, func(tx runner) error {
		r, err := tx.exec(ctx, "UPDATE passkeys SET counter = ?, used_at = ? WHERE id = ? AND user_id = ? AND counter = ?", counter, s.stamp(), p.ID, p.UserID, p.Counter)
		if err := found(r, err); err != nil {
			return err
		}
		return s.note(ctx, tx, "passkey used", "", p.Name+", "+p.Host)
	})
}

// RemovePasskey takes a user's passkey away.
func (s *Store) RemovePasskey(ctx context.Context, userID, id string) error {
	return s.tx(ctx, func(tx runner) error {
		p, err := scanPasskey(tx.row(ctx, "SELECT "+passkeyColumns+" FROM passkeys WHERE id = ? AND user_id = ?", id, userID))
		if err != nil {
			return err
		}
		if _, err := tx.exec(ctx, "DELETE FROM passkeys WHERE id = ?", id); err != nil {
			return err
		}
		return s.note(ctx, tx, "passkey removed", "", p.Name+", "+p.Host)
	})
}
