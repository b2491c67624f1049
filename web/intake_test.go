package web

import (
	"os"
	"testing"

	"fairmetal/capture"
	"fairmetal/job"
)

// TestCrossedPhoto: one photo of crossed stripes becomes a single set that says so.
func TestCrossedPhoto(t *testing.T) {
	photo, err := os.ReadFile("../inspection/testdata/one-ding/u016-00.jpg")
	if err != nil {
		t.Fatal(err)
	}
	files, err := pack(job.Job{Vehicle: "Van 07", Panel: "Door"}, map[string][]byte{"IMG_1.jpg": photo}, []string{"IMG_1.jpg"},
		map[string]string{"kind": "crossed", "profile": "sine", "fine": "16", "distance": "450", "width": "800", "height": "600"})
	if err != nil {
		t.Fatal(err)
	}
	c, err := capture.Parse(files["capture.json"])
	if err != nil || len(c.Sets) != 1 || c.Sets[0].Kind != capture.Single || len(c.Sets[0].Frames) != 1 {
		t.Fatalf("%+v, %v", c, err)
	}
	if f := c.Sets[0].Frames[0]; f.Stripes != "uv" || f.PitchMM != 16 || f.Shift != nil {
		t.Errorf("%+v", f)
	}
}
