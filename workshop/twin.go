package workshop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"

	"fairmetal/capture"
	"fairmetal/inspection"
	"fairmetal/job"
)

// twinName is the file of a capture that is measured over the form of the vehicle's other side: which capture lends it.
const twinName = "twin.json"

type twinFile struct {
	Capture string `json:"capture"`
}

// OverTwin is the title of a capture that was measured over the other side.
const OverTwin = "over the other side"

// MeasureOver measures the photos of a capture once more, over the form of another one: the undamaged other side of the same vehicle. It is a
// capture by itself, so that both results can be seen and neither changes.
func (w *Workshop) MeasureOver(ctx context.Context, jobID, captureID, twinID string) (job.Capture, error) {
	j, err := w.Store.Job(ctx, jobID)
	if err != nil {
		return job.Capture{}, err
	}
	if len(j.Record.Work.Hits) > 0 {
		return job.Capture{}, &job.FieldError{Field: "twin", Text: "Work has begun on this panel: its plan stays. Take new photos to measure over the other side."}
	}
	c, err := w.Store.Capture(ctx, captureID)
	if err != nil {
		return c, err
	}
	twin, err := w.Store.Capture(ctx, twinID)
	if err != nil {
		return c, err
	}
	other, err := w.Store.Job(ctx, twin.JobID)
	if err != nil {
		return c, err
	}
	if c.JobID != jobID || twin.State != job.Measured || !job.Twins(j, other) {
		return c, &job.FieldError{Field: "twin", Text: "Choose measured photos of the same panel on the other side of this vehicle."}
	}
	folder := w.Store.Folder(ctx, captureID)
	doc, err := capture.ReadDir(folder)
	if err != nil {
		return c, err
	}
	files := map[string][]byte{}
	if files[twinName], err = json.Marshal(twinFile{twinID}); err != nil {
		return c, err
	}
	names := []string{"capture.json"}
	for _, s := range doc.Sets {
		for _, f := range s.Frames {
			names = append(names, f.File)
		}
	}
	for _, n := range names {
		if files[n], err = fs.ReadFile(folder, n); err != nil {
			return c, err
		}
	}
	return w.AddCapture(ctx, jobID, OverTwin, files)
}

// twin is the measured other side that a capture is to be measured over; nil: none.
func (w *Workshop) twin(ctx context.Context, folder fs.FS, reads *reads) (*inspection.Stored, error) {
	data, err := fs.ReadFile(folder, twinName)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var of twinFile
	if err == nil {
		err = json.Unmarshal(data, &of)
	}
	var twin *inspection.Stored
	if err == nil {
		twin, err = inspection.Load(reads.of(w.Store.Folder(ctx, of.Capture)))
	}
	if err != nil {
		return nil, fmt.Errorf("the photos of the other side cannot be read (%w); these photos measured by themselves still stand", err)
	}
	return twin, nil
}
