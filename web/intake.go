package web

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"fairmetal/capture"
	"fairmetal/job"
	"fairmetal/mark"
	"fairmetal/photo"
	"fairmetal/shot"
)

// Limits of an upload, checked while it streams in.
const (
	maxPhotos      = 60
	maxUploadBytes = 600 << 20
	maxValues      = 10 + 3*maxPhotos // the page's fields and what it says of each photo
)

// captureForm is the page for a new capture, with what was typed and what is wrong.
type captureForm struct {
	Job     job.Job
	Title   string
	Problem string
	Advice  string
	Values  map[string]string
	Guide   guide
	Limits  map[string]int // of a sweep
}

// guide is how to set up for a flaw on this panel.
type guide struct {
	Cases  []shot.Case
	Case   string
	Place  shot.Place
	Answer shot.Answer
	SeenUM float64 // least depth of such a flaw that is reported
	Lying  bool    // the panel lies, so that the drawing is a side view
}

func guideFor(j job.Job, key string) guide {
	g := guide{Cases: shot.Cases, Case: shot.Cases[1].Key, Place: shot.Usual(j.Kind), Lying: j.Kind == "roof" || j.Kind == "bonnet"}
	flaw := shot.Cases[1].Flaw
	for _, c := range shot.Cases {
		if c.Key == key {
			g.Case, flaw = c.Key, c.Flaw
		}
	}
	g.Answer = shot.Ask(flaw, g.Place)
	g.SeenUM = max(g.Answer.SeenUM, mark.DefaultMinDepthUM)
	return g
}

func (a *App) showCaptureForm(w http.ResponseWriter, r *http.Request, status int, f captureForm) {
	f.Guide = guideFor(f.Job, r.URL.Query().Get("flaw"))
	f.Limits = map[string]int{"least": capture.MinSweep, "safe": capture.SafeSweep}
	a.render(w, r, status, "capture", view{Title: "New capture", Place: "bench", Data: f})
}

func (a *App) capturePage(w http.ResponseWriter, r *http.Request) {
	j, err := a.records.Job(r.Context(), r.PathValue("id"))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.showCaptureForm(w, r, http.StatusOK, captureForm{Job: j, Values: captureDefaults()})
}

// addCapture takes photos and facts in, checks them and queues them for measuring.
func (a *App) addCapture(w http.ResponseWriter, r *http.Request) {
	j, err := a.records.Job(r.Context(), r.PathValue("id"))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxUploadBytes)
	photos, order, values, err := receive(r)
	var files map[string][]byte
	if err == nil {
		files, err = pack(j, photos, order, values)
	}
	if err == nil {
		var c job.Capture
		title := strings.TrimSpace(values["title"])
		if title == "" {
			title = "before"
			if j.Step == job.Work || j.Step == job.Prove || j.Step == job.HandOver {
				title = "after"
			}
		}
		if c, err = a.bench.AddCapture(r.Context(), j.ID, title, files); err == nil {
			http.Redirect(w, r, "/jobs/"+j.ID+"?c="+c.ID, http.StatusSeeOther)
			return
		}
	}
	f := captureForm{Job: j, Values: values, Problem: err.Error()}
	var bad *capture.Error
	var big *http.MaxBytesError
	switch {
	case errors.As(err, &bad):
		f.Problem, f.Advice = bad.Text, bad.Advice
	case errors.As(err, &big):
		f.Problem, f.Advice = "the photos are larger than 600 MB together", "send the photos of one capture only"
	}
	a.showCaptureForm(w, r, http.StatusUnprocessableEntity, f)
}

// receive reads the parts of an upload: photos under safe names, in the order they came, and the form's values.
func receive(r *http.Request) (photos map[string][]byte, order []string, values map[string]string, err error) {
	photos, values = map[string][]byte{}, map[string]string{}
	mr, err := r.MultipartReader()
	if err != nil {
		return photos, order, values, errors.New("the photos did not arrive; choose them again and send")
	}
	for {
		p, err := mr.NextPart()
		if errors.Is(err, io.EOF) {
			return photos, order, values, nil
		}
		if err != nil {
			return photos, order, values, fmt.Errorf("the upload broke off (%w); send it again", err)
		}
		if p.FileName() == "" {
			b, err := io.ReadAll(io.LimitReader(p, 64<<10))
			if err != nil {
				return photos, order, values, fmt.Errorf("the upload broke off (%w); send it again", err)
			}
			if len(values) >= maxValues {
				return photos, order, values, errors.New("the form holds more fields than this page has; reload the page and send it again")
			}
			values[p.FormName()] = string(b)
			continue
		}
		b, err := io.ReadAll(io.LimitReader(p, photo.DefaultMaxBytes+1))
		if err != nil {
			return photos, order, values, fmt.Errorf("the upload broke off (%w); send it again", err)
		}
		if len(b) == 0 {
			continue
		}
		if len(b) > photo.DefaultMaxBytes {
			return photos, order, values, fmt.Errorf("a photo is larger than %d MB; send it as the camera wrote it", photo.DefaultMaxBytes>>20)
		}
		if len(photos) >= maxPhotos {
			return photos, order, values, fmt.Errorf("more than %d photos; send those of one capture only", maxPhotos)
		}
		name := safeName(p.FileName(), len(order))
		if _, twice := photos[name]; twice {
			name = strconv.Itoa(len(order)) + "-" + name
		}
		photos[name] = b
		order = append(order, name)
	}
}

var unsafe = regexp.MustCompile(`[^A-Za-z0-9._-]+`)

// safeName keeps what is harmless of a file's name: it is shown and stored, never used as a path.
func safeName(n string, i int) string {
	n = unsafe.ReplaceAllString(filepath.Base(strings.ReplaceAll(n, "\\", "/")), "-")
	n = strings.TrimLeft(n, ".-")
	if len(n) > 80 {
		n = n[len(n)-80:]
	}
	if n == "" {
		n = fmt.Sprintf("photo-%02d", i+1)
	}
	return n
}

// pack makes the capture's files: the photos and a checked capture.json, the sender's own or one from the form.
func pack(j job.Job, photos map[string][]byte, order []string, values map[string]string) (map[string][]byte, error) {
	if own, ok := photos["capture.json"]; ok {
		c, err := capture.Parse(own)
		if err != nil {
			return nil, err
		}
		// What capture.json does not name is not kept.
		named, names := map[string][]byte{"capture.json": own}, []string{}
		for _, s := range c.Sets {
			for _, f := range s.Frames {
				data, ok := photos[f.File]
				if !ok {
					return nil, &capture.Error{Code: "file-missing", Text: f.File + " is named in capture.json but was not sent", Advice: "send it along"}
				}
				named[f.File], names = data, append(names, f.File)
			}
		}
		return named, checkPhotos(named, names)
	}
	if len(order) == 0 {
		return nil, &capture.Error{Code: "no-photos", Text: "no photos were chosen", Advice: "choose the stripe photos of this capture"}
	}
	if err := checkPhotos(photos, order); err != nil {
		return nil, err
	}
	c := capture.Capture{Format: 1, Name: j.Vehicle + ", " + j.Panel,
		Panel: capture.Panel{Name: j.Panel, Material: j.Material, ThicknessMM: j.SheetMM},
		Board: capture.Board{DistanceMM: number(values["distance"]), WidthMM: number(values["width"]), HeightMM: number(values["height"])},
		Cards: capture.Cards{Scheme: "FM1"},
		Sets:  []capture.Set{{Kind: values["kind"], Frames: frames(order, values)}}}
	if values["kind"] == crossedKind {
		c.Sets[0].Kind = capture.Single
	}
	if values["kind"] == capture.Sweep {
		c.Sets[0].Direction = values["direction"]
	}
	doc, err := c.Encode()
	if err != nil {
		return nil, err
	}
	photos["capture.json"] = doc
	return photos, nil
}

// checkPhotos refuses what no camera writes before it is kept.
func checkPhotos(photos map[string][]byte, names []string) error {
	for _, n := range names {
		err := photo.Check(photos[n], photo.Limits{})
		var bad *photo.Error
		if errors.As(err, &bad) {
			return &capture.Error{Code: bad.Code, Text: n + " " + bad.Text, Advice: bad.Advice}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// crossedKind is the form's word for one photo of crossed stripes, which capture.json keeps as a single set.
const crossedKind = "crossed"

// named reads stripes, pitch and shift out of names such as u016-25.jpg.
var named = regexp.MustCompile(`^([uv])(\d{1,3})-(\d{1,2})\.`)

// frames tells what each photo shows: by what the sender said of it, else by its name, else by its place in the order in which the
// board page shows the stripes (u fine, u coarse, v fine, v coarse; single photos u, v).
func frames(order []string, values map[string]string) []capture.Frame {
	kind, profile := values["kind"], values["profile"]
	fine, coarse := number(values["fine"]), number(values["coarse"])
	byName := true
	for _, n := range order {
		byName = byName && named.MatchString(n)
	}
	if !byName {
		// Cameras number their photos: by name is the order they were taken in.
		order = append([]string(nil), order...)
		sort.Strings(order)
	}
	var out []capture.Frame
	for i, n := range order {
		f := capture.Frame{File: n, Profile: profile, Stripes: "u", PitchMM: fine}
		switch {
		case kind == crossedKind:
			f.Stripes = "uv"
		case values["stripes_"+n] != "":
			f.Stripes, f.PitchMM = values["stripes_"+n], number(values["pitch_"+n])
			f.Shift = share(number(values["shift_"+n]))
		case byName && kind == capture.Shifted:
			m := named.FindStringSubmatch(n)
			f.Stripes, f.PitchMM = m[1], number(m[2])
			f.Shift = share(number(m[3]) / 100)
		case kind == capture.Shifted:
			half, quarter := len(order)/2, len(order)/4
			if i >= half {
				f.Stripes = "v"
			}
			if quarter > 0 && (i/quarter)%2 == 1 {
				f.PitchMM = coarse
			}
			f.Shift = share(float64(i%max(quarter, 1)) / float64(max(quarter, 1)))
		case strings.Contains(strings.ToLower(n), "-v") || i >= (len(order)+1)/2 && !strings.Contains(strings.ToLower(n), "-u"):
			f.Stripes = "v"
		}
		if kind != capture.Shifted {
			f.Shift = nil
		}
		out = append(out, f)
	}
	return out
}

func share(v float64) *float64 { return &v }
