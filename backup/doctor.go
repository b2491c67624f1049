package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sort"
	"time"

	"fairmetal/blob"
	"fairmetal/store"
)

// Finding is one thing that doctor found.
type Finding struct {
	Code   string `json:"code"` // records, missing, torn, altered, unreadable, cut-off, spare, foreign
	Where  string `json:"where"`
	Text   string `json:"text"`
	Advice string `json:"advice"`
	Harm   bool   `json:"harm"` // something of the workshop is lost or in danger

	info blob.Info // of what can be cleared away
	hash string    // of what can be brought back
}

// Report is what doctor found, harm first.
type Report struct {
	Records  int64     `json:"records"`
	Files    int       `json:"files"`
	Bytes    int64     `json:"bytes"`
	Findings []Finding `json:"findings"`
}

// Harmed tells whether anything is lost or in danger.
func (r Report) Harmed() bool { return len(r.Findings) > 0 && r.Findings[0].Harm }

// young files may belong to an upload that is under way.
const young = 24 * time.Hour

// Examine looks a workshop over: the database against itself, each blob that the records name against its hash, and what lies about
// besides. It changes nothing.
func Examine(ctx context.Context, snap *store.Snapshot, blobs blob.Store, now time.Time, progress func(done float64)) (Report, error) {
	var r Report
	faults, err := snap.Faults(ctx)
	for _, f := range faults {
		r.Findings = append(r.Findings, Finding{Code: "records", Where: "workshop.db", Text: "the records are damaged: " + f, Advice: "restore the last backup into an empty folder; keep this folder until you have compared them", Harm: true})
	}
	if err != nil {
		return r, err
	}
	for _, t := range snap.Tables {
		if err := snap.Rows(ctx, t, func([]any) error { r.Records++; return nil }); err != nil {
			return r, err
		}
	}
	lies := map[string]blob.Info{}
	var rest []blob.Info
	err = blobs.List(ctx, func(i blob.Info) error {
		if i.Hash == "" {
			rest = append(rest, i)
		} else {
			lies[i.Hash] = i
		}
		return nil
	})
	if err != nil {
		return r, err
	}
	var uses []store.Use
	if err := snap.Uses(ctx, func(u store.Use) error { uses = append(uses, u); return nil }); err != nil {
		return r, err
	}
	read := map[string]*Finding{}
	for i, u := range uses {
		progress(float64(i) / float64(len(uses)))
		f, known := read[u.Hash]
		if !known {
			if f, err = r.look(ctx, blobs, u, lies); err != nil {
				return r, err
			}
			read[u.Hash] = f
		}
		if f != nil {
			f := *f
			f.Where = fmt.Sprintf("%s of %s %s", u.Name, u.Table, u.Owner)
			r.Findings = append(r.Findings, f)
		}
	}
	for h, i := range lies {
		if _, used := read[h]; !used && now.Sub(i.Changed) > young {
			r.Findings = append(r.Findings, Finding{Code: "spare", Where: i.Name, Text: fmt.Sprintf("no record names this file (%d kB); an upload or a measurement ended before it was booked", i.Size>>10), Advice: "harmless; fairmetal doctor --clear takes it away", info: i})
		}
	}
	for _, i := range rest {
		f := Finding{Code: "foreign", Where: i.Name, Text: "this file is none of the workshop's", Advice: "move it elsewhere if you need it"}
		if i.Unfinished() {
			if now.Sub(i.Changed) <= young {
				continue
			}
			f = Finding{Code: "cut-off", Where: i.Name, Text: "an upload was cut off while it was written; whoever sent it was not told that it arrived", Advice: "harmless; fairmetal doctor --clear takes it away", info: i}
		}
		r.Findings = append(r.Findings, f)
	}
	sort.SliceStable(r.Findings, func(i, k int) bool {
		a, b := r.Findings[i], r.Findings[k]
		if a.Harm != b.Harm {
			return a.Harm
		}
		return a.Where < b.Where
	})
	return r, nil
}

// look reads one blob; nil when it is whole.
func (r *Report) look(ctx context.Context, blobs blob.Store, u store.Use, lies map[string]blob.Info) (*Finding, error) {
	data, err := blobs.Get(ctx, u.Hash)
	i := lies[u.Hash]
	f := &Finding{Harm: true, hash: u.Hash, Advice: "bring it back with fairmetal doctor --from BACKUP, or send the same photo again"}
	switch {
	case err == nil:
		r.Files++
		r.Bytes += int64(len(data))
		return nil, nil
	case errors.Is(err, blob.ErrMissing):
		f.Code, f.Text = "missing", "the file is not in the workshop's folder"
	case errors.Is(err, blob.ErrTorn) && u.Size >= 0 && i.Size != u.Size:
		f.Code, f.Text = "torn", fmt.Sprintf("the file holds %d bytes where %d were stored: a write was cut off or the disk lost part of it", i.Size, u.Size)
	case errors.Is(err, blob.ErrTorn):
		f.Code, f.Text = "altered", "the file has its length but not its content: it was changed by hand or by a failing disk"
	case ctx.Err() != nil:
		return nil, ctx.Err()
	default:
		f.Code, f.Text = "unreadable", fmt.Sprintf("the file cannot be read (%v)", err)
		f.Advice = "check the folder's rights and the disk"
	}
	return f, nil
}

// Clear takes away what harms nothing and is of no use: cut-off uploads and spare files. Only for a workshop that is held.
func (r *Report) Clear(ctx context.Context, blobs blob.Store) (cleared int, err error) {
	var left []Finding
	for _, f := range r.Findings {
		if f.info.Name == "" {
			left = append(left, f)
			continue
		}
		if err := blobs.Remove(ctx, f.info); err != nil {
			return cleared, err
		}
		cleared++
	}
	r.Findings = left
	return cleared, nil
}

// BringBack takes missing and damaged files out of a backup.
func (r *Report) BringBack(ctx context.Context, path, pass string, blobs blob.Store) (brought int, err error) {
	a, err := open(ctx, path, pass)
	if err != nil {
		return 0, err
	}
	defer a.file.Close()
	var left []Finding
	for _, f := range r.Findings {
		in, ok := a.read(blobsDir + f.hash)
		if f.hash == "" || !ok {
			left = append(left, f)
			continue
		}
		data, err := io.ReadAll(in)
		if err != nil {
			return brought, err
		}
		if err := blobs.Put(ctx, f.hash, data); err != nil {
			return brought, err
		}
		brought++
	}
	r.Findings = left
	return brought, nil
}
