package photo

import (
	"bytes"
	"errors"
	"runtime"
	"testing"

	"fairmetal/internal/hostile"
)

// TestHostile: each file that means harm is refused with its code and advice, and none makes the decoder take much more memory than
// an honest photo may: the files here promise up to 14 GB.
func TestHostile(t *testing.T) {
	for name, f := range hostile.Photos() {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Decode(f.Data, Limits{})
		runtime.ReadMemStats(&after)
		var e *Error
		if !errors.As(err, &e) || e.Code != f.Code || e.Text == "" || e.Advice == "" {
			t.Errorf("%s: %v, want %s", name, err, f.Code)
		}
		// The HEIC decoder's sandbox is made once, 100 MB.
		if took := after.TotalAlloc - before.TotalAlloc; took > 200<<20 {
			t.Errorf("%s took %d MB", name, took>>20)
		}
		if _, err := Thumbnail(f.Data, 100, Limits{}); err == nil {
			t.Errorf("%s made a thumbnail", name)
		}
	}
}

// TestPlaceStaysHome: a photo tells where it was taken; what is made of it does not.
func TestPlaceStaysHome(t *testing.T) {
	at := hostile.WithPlace(hostile.JPEG())
	p, err := Decode(at, Limits{})
	if err != nil || !p.EXIF.HasGPS {
		t.Fatalf("the test's photo tells no place: %+v, %v", p, err)
	}
	// Something else may hang on behind a good photo.
	thumb, err := Thumbnail(append(at, "PK\x03\x04<script>"...), 100, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"Exif", "PLACE-OF-HOME", "PK\x03\x04", "<script>"} {
		if bytes.Contains(thumb, []byte(s)) {
			t.Errorf("the thumbnail holds %q", s)
		}
	}
	if again, err := Decode(thumb, Limits{}); err != nil || again.EXIF.HasGPS {
		t.Errorf("%+v, %v", again, err)
	}
}

// TestScans counts what is a scan and nothing else.
func TestScans(t *testing.T) {
	good := hostile.JPEG()
	if n, _ := scans(good); n != 1 {
		t.Errorf("an ordinary photo has %d scans", n)
	}
	// A picture inside the metadata, and a film behind the picture.
	inside := append([]byte{0xff, 0xd8, 0xff, 0xe1, byte((len(good) + 2) >> 8), byte(len(good) + 2)}, good...)
	inside = append(append(inside, good[2:]...), bytes.Repeat([]byte{0xff, 0xda, 0, 2}, 1000)...)
	if n, _ := scans(inside); n != 1 {
		t.Errorf("a photo with a small picture in it and a film behind it has %d scans", n)
	}
	if n, slow := scans(hostile.Photos()["passes.jpg"].Data); n != 4000 || !slow {
		t.Errorf("%d scans, made with 4000", n)
	}
}
