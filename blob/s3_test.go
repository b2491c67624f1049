package blob_test

import (
	"bytes"
	"errors"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"

	"fairmetal/blob"
)

// TestS3 runs the suite on an S3 server in memory; the objects are damaged behind the client's back.
func TestS3(t *testing.T) {
	backend := s3mem.New()
	srv := httptest.NewServer(gofakes3.New(backend).Server())
	defer srv.Close()
	t.Setenv("FAIRMETAL_S3_KEY", "key")
	t.Setenv("FAIRMETAL_S3_SECRET", "secret")
	address := "s3://" + strings.TrimPrefix(srv.URL, "http://") + "/photos?plain=1"
	s, err := blob.OpenS3(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	suite(t, s, func(t *testing.T, hash string, data []byte) {
		if _, err := backend.PutObject("photos", "blobs/"+hash[:2]+"/"+hash[2:], map[string]string{}, bytes.NewReader(data), int64(len(data)), nil); err != nil {
			t.Fatal(err)
		}
	})
	if _, err := blob.OpenS3(t.Context(), address); err != nil {
		t.Errorf("opened again: %v", err)
	}
	h, err := blob.Put(t.Context(), s, []byte("photo"))
	if err != nil {
		t.Fatal(err)
	}
	srv.Close()
	if _, err := s.Get(t.Context(), h); !errors.Is(err, blob.ErrAway) {
		t.Errorf("from a store that does not answer: %v", err)
	}
	if err := s.Put(t.Context(), blob.Hash([]byte("more")), []byte("more")); !errors.Is(err, blob.ErrAway) {
		t.Errorf("to a store that does not answer: %v", err)
	}
	for _, bad := range []string{"", "http://x/y", "s3://host", "s3://host/a/b", "s3://key:hush@host/bucket"} {
		if _, err := blob.OpenS3(t.Context(), bad); err == nil || strings.Contains(err.Error(), "hush") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}
