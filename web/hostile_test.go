package web

import (
	"bytes"
	"errors"
	"mime/multipart"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"

	"fairmetal/capture"
	"fairmetal/internal/hostile"
	"fairmetal/job"
)

// send makes an upload and takes it in as the app does.
func send(t testing.TB, files map[string][]byte, values map[string]string) (map[string][]byte, error) {
	t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for n, data := range files {
		p, err := w.CreateFormFile("photos", n)
		if err != nil {
			t.Fatal(err)
		}
		p.Write(data)
	}
	for k, v := range values {
		w.WriteField(k, v)
	}
	w.Close()
	r := httptest.NewRequest("POST", "/jobs/1/captures", &b)
	r.Header.Set("Content-Type", w.FormDataContentType())
	photos, order, got, err := receive(r)
	if err != nil {
		return nil, err
	}
	return pack(job.Job{Vehicle: "Van", Panel: "Door"}, photos, order, got)
}

var form = map[string]string{"kind": "single", "distance": "500", "width": "800", "height": "600", "fine": "16", "coarse": "128", "profile": "sine"}

// TestHostileUploads: every file that means harm is refused in words before anything is kept.
func TestHostileUploads(t *testing.T) {
	good := hostile.JPEG()
	if kept, err := send(t, map[string][]byte{"u.jpg": good, "v.jpg": good}, form); err != nil || len(kept) != 3 {
		t.Fatalf("an honest upload: %d, %v", len(kept), err)
	}
	for name, f := range hostile.Photos() {
		if f.Code == "truncated" && name == "half.jpg" || name == "half.heic" || name == "cut.png" || name == "more-than-it-says.png" || name == "no-data.png" || len(f.Data) == 0 {
			continue // found when it is decoded; an empty one counts as not sent
		}
		_, err := send(t, map[string][]byte{"a.jpg": good, name: f.Data}, form)
		var e *capture.Error
		if !errors.As(err, &e) || e.Code != f.Code || !strings.Contains(e.Text, filepath.Ext(name)) || e.Advice == "" {
			t.Errorf("%s: %v, want %s", name, err, f.Code)
		}
	}
	for what, doc := range hostile.Captures() {
		if len(doc) == 0 {
			continue
		}
		kept, err := send(t, map[string][]byte{"capture.json": doc, "u.jpg": good}, form)
		var e *capture.Error
		if !errors.As(err, &e) || len(kept) != 0 || len(e.Text) > 400 {
			t.Errorf("capture.json, %s: %d files, %.200v", what, len(kept), err)
		}
	}
	// A right capture.json brings in what it names, and nothing beside.
	own := []byte(`{"format":1,"board":{"distance_mm":500,"width_mm":800,"height_mm":600},"cards":{"scheme":"FM1"},"sets":[{"kind":"single","frames":[{"file":"u.jpg","stripes":"u","pitch_mm":16,"profile":"sine"},{"file":"v.jpg","stripes":"v","pitch_mm":16,"profile":"sine"}]}]}`)
	kept, err := send(t, map[string][]byte{"capture.json": own, "u.jpg": good, "v.jpg": good, "evil.html": []byte("<script>")}, nil)
	if _, in := kept["evil.html"]; err != nil || in || len(kept) != 3 {
		t.Errorf("%d files, %v", len(kept), err)
	}
	if _, err := send(t, map[string][]byte{"capture.json": own, "u.jpg": good, "v.jpg": []byte("<script>")}, nil); err == nil {
		t.Error("a script came in as a photo that capture.json names")
	}
	// Counts.
	many := map[string][]byte{}
	for i := range maxPhotos + 1 {
		many["p"+strings.Repeat("x", i)+".jpg"] = good
	}
	if _, err := send(t, many, form); err == nil || !strings.Contains(err.Error(), "more than") {
		t.Errorf("%d photos: %v", len(many), err)
	}
	values := map[string]string{}
	for i := range maxValues + 1 {
		values[strings.Repeat("k", i+1)] = "v"
	}
	if _, err := send(t, map[string][]byte{"u.jpg": good}, values); err == nil || !strings.Contains(err.Error(), "more fields") {
		t.Errorf("%d fields: %v", len(values), err)
	}
}

// TestNames: whatever a file is called, its kept name is plain.
func TestNames(t *testing.T) {
	for i, n := range hostile.Names {
		got := safeName(n, i)
		if got == "" || len(got) > 80 || strings.ContainsAny(got, "/\\:\x00\r\n<>\"%") || strings.HasPrefix(got, ".") || strings.HasPrefix(got, "-") || got != filepath.Base(got) {
			t.Errorf("%q is kept as %q", n, got)
		}
	}
}

func FuzzReceive(f *testing.F) {
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	w.SetBoundary("x")
	p, err := w.CreateFormFile("photos", "../u016-00.jpg")
	if err != nil {
		f.Fatal(err)
	}
	p.Write([]byte("\xff\xd8\xff"))
	w.WriteField("kind", "shifted")
	w.Close()
	f.Add(b.Bytes())
	f.Add([]byte("--x\r\nContent-Disposition: form-data; name=\"photos\"; filename=\"capture.json\"\r\n\r\n{\"format\":1}\r\n--x--"))
	f.Add([]byte("--x\r\n\r\n"))
	f.Fuzz(func(t *testing.T, body []byte) {
		r := httptest.NewRequest("POST", "/", bytes.NewReader(body))
		r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
		photos, order, values, err := receive(r)
		if err != nil {
			return
		}
		for n := range photos {
			if n != safeName(n, 0) && !strings.Contains(n, "-") || strings.ContainsAny(n, "/\\\x00") {
				t.Errorf("a photo is called %q", n)
			}
		}
		kept, err := pack(job.Job{Vehicle: "Van", Panel: "Door"}, photos, order, values)
		if err != nil {
			return
		}
		if _, err := capture.Parse(kept["capture.json"]); err != nil {
			t.Errorf("a capture was kept that cannot be read: %v", err)
		}
	})
}
