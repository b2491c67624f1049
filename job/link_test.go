package job

import (
	"testing"
	"time"
)

func TestLink(t *testing.T) {
	code, l := NewLink(42, time.Now())
	other, _ := NewLink(42, time.Now())
	if LinkNumber(code) != 42 || !l.Opens(code) || l.Opens(other) || l.Opens("") || (Link{}).Opens(code) || l.Hash == code {
		t.Errorf("%s: %+v", code, l)
	}
	for _, bad := range []string{"", "42", "-x", "0-x", "x-y", "99999999999999999999-x"} {
		if LinkNumber(bad) != 0 {
			t.Errorf("%q names a job", bad)
		}
	}
}
