package backup

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"unicode/utf8"

	"filippo.io/age"
)

// Backups may be encrypted with a passphrase, in the format age-encryption.org/v1: the program age of that name opens them too.

// lockedBegins is how such a file begins.
const lockedBegins = "age-encryption.org/v1\n"

// workFactor is the power of two of scrypt's cost (RFC 7914; r = 8): 256 MB and about a second for each try. No file is given more, so that
// a hostile one cannot ask for all of the memory.
const workFactor = 18

// ErrLocked says that a backup is encrypted and no passphrase was given.
var ErrLocked = errors.New("this backup is encrypted; give the file that holds its passphrase with --passphrase-file")

// CheckPassphrase says what is wrong with a passphrase for a backup. Whoever finds the file can try as often as he likes.
func CheckPassphrase(pass string) error {
	if utf8.RuneCountInString(pass) < 16 {
		return errors.New("the passphrase needs 16 letters or more: five words that do not belong together are good; write it down where the backup is not")
	}
	return nil
}

// lock encrypts what is written to the result, which must be closed; without a passphrase it passes all on.
func lock(w io.Writer, pass string) (io.WriteCloser, error) {
	if pass == "" {
		return bare{w}, nil
	}
	if err := CheckPassphrase(pass); err != nil {
		return nil, err
	}
	r, err := age.NewScryptRecipient(pass)
	if err != nil {
		return nil, err
	}
	r.SetWorkFactor(workFactor)
	return age.Encrypt(w, r)
}

// bare passes on what is not encrypted.
type bare struct{ io.Writer }

// Close implements io.Closer.
func (bare) Close() error { return nil }

// unlock shows what a file holds.
func unlock(f *os.File, pass string) (plain *io.SectionReader, err error) {
	st, err := f.Stat()
	if err != nil {
		return nil, err
	}
	head := make([]byte, len(lockedBegins))
	if n, _ := f.ReadAt(head, 0); !bytes.Equal(head[:n], []byte(lockedBegins)) {
		return io.NewSectionReader(f, 0, st.Size()), nil
	}
	if pass == "" {
		return nil, ErrLocked
	}
	id, err := age.NewScryptIdentity(pass)
	if err != nil {
		return nil, err
	}
	id.SetMaxWorkFactor(workFactor)
	r, size, err := age.DecryptReaderAt(f, st.Size(), id)
	var no *age.NoIdentityMatchError
	if errors.As(err, &no) {
		return nil, fmt.Errorf("the passphrase does not open %s; try another one", f.Name())
	}
	if err != nil {
		return nil, unreadable(f.Name(), "%v", err)
	}
	return io.NewSectionReader(r, 0, size), nil
}
