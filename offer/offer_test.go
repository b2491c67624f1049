package offer

import (
	"bytes"
	"testing"
	"time"

	"fairmetal/inspection"
	"fairmetal/internal/memfs"
	"fairmetal/mark"
	"fairmetal/quote"
	"fairmetal/rack"
	"fairmetal/surface"
)

func stored() *inspection.Stored {
	g := surface.Grid{Cols: 201, Rows: 161, PitchMM: 0.5, X0MM: -50, Y0MM: -40}
	s := &inspection.Stored{Surface: surface.New(g)}
	for i := range s.Surface.Height {
		x, y := g.XY(i%g.Cols, i/g.Cols)
		d := (x*x + y*y) / 98
		z := 0.0
		if d < 9 {
			z = -0.25 / (1 + d*d)
		}
		s.Surface.Height[i], s.Surface.Sigma[i] = float32(z), 0.0005
	}
	s.Marks = mark.Find(s.Surface, mark.Options{})
	s.Capture.Panel.Name, s.Capture.Panel.Material = "Front door, left", "steel"
	s.Form.RXMM, s.Form.RYMM = 3000, 1500
	return s
}

func TestOfferHangsTogether(t *testing.T) {
	s := stored()
	o, err := Make(s, Facts{FilmUM: 110}, rack.Default(), quote.DefaultRates())
	if err != nil {
		t.Fatal(err)
	}
	if len(o.Verdict.Marks) != len(s.Marks) || o.Plan.Forecast.Hits == 0 || o.Quote.TotalMinor == 0 || o.Plan.Thickness != 0.7 {
		t.Errorf("%+v", o.Quote)
	}
	pdf, err := o.Paper(s, memfs.FS{}, Letterhead{Number: "1", Date: time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)})
	if err != nil || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Errorf("paper: %v", err)
	}
	files, err := o.Files()
	if err != nil || len(files) != 4 {
		t.Errorf("files: %v %v", files, err)
	}
}

func TestHardFactsAreRefused(t *testing.T) {
	for _, f := range []Facts{{Material: "cheese"}, {ThicknessMM: 20}} {
		if _, err := Make(stored(), f, rack.Default(), quote.DefaultRates()); err == nil {
			t.Errorf("%+v was planned", f)
		}
	}
}

func TestPanelKind(t *testing.T) {
	for name, want := range map[string]string{"Front door, left": "door", "Roof, rear": "roof", "Bonnet": "bonnet", "Sill": ""} {
		if got := PanelKind(name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
}
