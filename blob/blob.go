package blob

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"
)

// ErrMissing says that a blob is not there.
var ErrMissing = errors.New("the file is missing; restore it from a backup")

// ErrTorn says that a blob is not what was stored: shorter, longer or altered.
var ErrTorn = errors.New("a stored file was altered or torn; restore it from a backup")

// ErrAway says that the place of the blobs does not answer: nothing is known of the blob itself.
var ErrAway = errors.New("the store of photos does not answer")

// away puts ErrAway before an error, and nothing else that could be asked for: a folder that is not there must not pass for a file that
// is not.
func away(err error) error { return fmt.Errorf("%w (%v)", ErrAway, err) }

// Info is what a listing tells of a blob.
type Info struct {
	Hash    string // hex SHA-256; empty for what is no blob
	Name    string // where it lies
	Size    int64
	Changed time.Time
}

// Store keeps blobs.
type Store interface {
	// Put stores data under its hash. It returns when the data would survive a power cut.
	Put(ctx context.Context, hash string, data []byte) error
	// Get returns the data of a hash, checked against it: ErrMissing, ErrTorn, ErrAway.
	Get(ctx context.Context, hash string) ([]byte, error)
	// List tells all that lies in the store, blobs and foreign things, in any order.
	List(ctx context.Context, f func(Info) error) error
	// Remove takes away what List told.
	Remove(ctx context.Context, i Info) error
}

// Hash is the name of data: its SHA-256 in hex.
func Hash(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// Valid tells whether h can be the name of a blob: 64 small hex digits.
func Valid(h string) bool {
	if len(h) != 2*sha256.Size {
		return false
	}
	for _, c := range []byte(h) {
		if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f') {
			return false
		}
	}
	return true
}

// Put stores data and returns its hash.
func Put(ctx context.Context, s Store, data []byte) (string, error) {
	h := Hash(data)
	return h, s.Put(ctx, h, data)
}
