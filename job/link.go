package job

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"encoding/hex"
	"strconv"
	"strings"
	"time"
)

// linkBytes of chance in a code: 120 bits cannot be guessed over a network.
const linkBytes = 15

// NewLink makes a code for the quote of the job of a number, and what is kept of it: its hash and the day it ends.
func NewLink(number int64, until time.Time) (code string, l Link) {
	b := make([]byte, linkBytes)
	if _, err := rand.Read(b); err != nil {
		panic(err) // the system's randomness never fails on supported systems
	}
	code = strconv.FormatInt(number, 10) + "-" + strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b))
	return code, Link{Hash: hashed(code), Until: until.UTC().Truncate(time.Second)}
}

// LinkNumber is the number of the job that a code is about; 0 for what is no code.
func LinkNumber(code string) int64 {
	head, _, ok := strings.Cut(code, "-")
	n, err := strconv.ParseInt(head, 10, 64)
	if !ok || err != nil || n < 1 {
		return 0
	}
	return n
}

// Opens tells whether a code is the link's.
func (l Link) Opens(code string) bool {
	return l.Hash != "" && subtle.ConstantTimeCompare([]byte(hashed(code)), []byte(l.Hash)) == 1
}

func hashed(code string) string {
	h := sha256.Sum256([]byte(code))
	return hex.EncodeToString(h[:])
}
