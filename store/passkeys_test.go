package store

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"fairmetal/job"
)

func TestPasskeys(t *testing.T) { both(t, testPasskeys) }

func testPasskeys(t *testing.T, s *Store) {
	ctx := t.Context()
	var users []User
	for _, name := range []string{"ann", "ben"} {
		u, err := s.AddUser(ctx, User{Name: name, Role: job.Owner, Hash: "hash"})
		if err != nil {
			t.Fatal(err)
		}
		users = append(users, u)
	}
	ann, ben := users[0].ID, users[1].ID
	// A counter has 32 bits without a sign (W3C, Web Authentication Level 3, section 6.1).
	const most = 1<<32 - 1
	if err := s.AddPasskey(ctx, Passkey{ID: "k0", UserID: ann, Host: "shop.local", Name: " my  phone ", Key: "key", Counter: most - 1, Synced: true}); err != nil {
		t.Fatal(err)
	}
	had, err := s.Passkeys(ctx, ann)
	if err != nil || len(had) != 1 || had[0].Name != "my phone" || had[0].Counter != most-1 || !had[0].Synced || !had[0].Used.IsZero() || had[0].Created.IsZero() {
		t.Fatalf("%+v, %v", had, err)
	}
	// Of two uses that read the same counter one counts.
	if err := s.UsePasskey(ctx, had[0], most); err != nil {
		t.Error(err)
	}
	if err := s.UsePasskey(ctx, had[0], most); !errors.Is(err, ErrNotFound) {
		t.Errorf("used twice: %v", err)
	}
	if had, err = s.Passkeys(ctx, ann); err != nil || had[0].Counter != most || had[0].Used.IsZero() {
		t.Errorf("%+v, %v", had, err)
	}
	var field *job.FieldError
	for what, p := range map[string]Passkey{"known": {ID: "k0", UserID: ben, Name: "x"}, "no name": {ID: "k1", UserID: ann}, "a long name": {ID: "k1", UserID: ann, Name: strings.Repeat("ü", 61)}} {
		if err := s.AddPasskey(ctx, p); !errors.As(err, &field) {
			t.Errorf("%s: %v", what, err)
		}
	}
	for i := 1; i <= maxPasskeys; i++ {
		err := s.AddPasskey(ctx, Passkey{ID: fmt.Sprint("k", i), UserID: ann, Name: strings.Repeat("ü", 60)})
		if (err == nil) != (i < maxPasskeys) || err != nil && !errors.As(err, &field) {
			t.Errorf("passkey %d: %v", i+1, err)
		}
	}
	if err := s.RemovePasskey(ctx, ben, "k0"); !errors.Is(err, ErrNotFound) {
		t.Errorf("removed by somebody else: %v", err)
	}
	if err := s.RemovePasskey(ctx, ann, "k0"); err != nil {
		t.Error(err)
	}
	if err := s.AddPasskey(ctx, Passkey{ID: "k0", UserID: ben, Name: "x"}); err != nil {
		t.Error(err)
	}
	// A new passphrase, and access taken away, remove them.
	if err := s.SetPassphrase(ctx, ann, "new"); err != nil {
		t.Error(err)
	}
	if err := s.RemoveUser(ctx, ben); err != nil {
		t.Error(err)
	}
	for _, id := range []string{ann, ben} {
		if had, err := s.Passkeys(ctx, id); err != nil || len(had) != 0 {
			t.Errorf("still there: %+v, %v", had, err)
		}
	}
}
