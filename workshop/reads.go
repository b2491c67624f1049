package workshop

import (
	"errors"
	"io/fs"
	"sync"

	"fairmetal/blob"
)

// unreached says that a capture could not be tried, through no fault of its photos: what it needs does not answer at present.
type unreached struct{ error }

func (u *unreached) Unwrap() error { return u.error }

// reads watches what is read of stored folders. Measuring tells the technician about photos that are not there; whether they were never
// sent, are lost, or cannot be read at present is known here alone.
type reads struct {
	mu    sync.Mutex
	first error
}

// failed is the first reading that failed, but for files that were never there: *unreached, or what was lost for good.
func (r *reads) failed() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.first
}

// of watches a folder.
func (r *reads) of(f fs.FS) fs.FS { return watched{f, r} }

type watched struct {
	fs.FS
	reads *reads
}

// Open implements fs.FS.
func (w watched) Open(name string) (fs.File, error) {
	f, err := w.FS.Open(name)
	if err == nil || errors.Is(err, fs.ErrNotExist) {
		return f, err
	}
	w.reads.mu.Lock()
	defer w.reads.mu.Unlock()
	if w.reads.first == nil {
		w.reads.first = err
		if !errors.Is(err, blob.ErrMissing) && !errors.Is(err, blob.ErrTorn) {
			w.reads.first = &unreached{err}
		}
	}
	return nil, err
}
