package web

import (
	"strings"

	"fairmetal/job"
	"fairmetal/words"
)

// drawing is the vehicle with its panels to tap, for template "vehicle".
type drawing struct {
	Views  []drawnView
	Places []job.Place
	Picked string // key of the panel
	Panel  string // its name, where it is none of the drawing
	Submit bool   // a tap sends the form
}

// drawnView is the vehicle seen from one side.
type drawnView struct {
	Title  string
	Width  int
	Height int
	Lines  []string // what is drawn around the panels: paths
	Panels []drawnPanel
	Mirror bool // the other way round
}

type drawnPanel struct {
	job.Place
	Path   string
	Picked bool
}

// side is a delivery van from its left, the front to the left, in a box of 600 x 220; the right side is its mirror image.
var side = struct {
	lines  []string
	panels map[string]string
}{
	lines: []string{
		"M12 178V132L40 96 98 78 138 24Q144 16 156 16H568Q584 16 586 34L590 178Z",
		"M126 74 152 32H196V78H112Z",
		"M62 178a38 38 0 0 1 76 0M440 178a38 38 0 0 1 76 0",
		"M70 180a30 30 0 1 0 60 0a30 30 0 1 0-60 0M448 180a30 30 0 1 0 60 0a30 30 0 1 0-60 0",
	},
	panels: map[string]string{
		"wing":    "M18 170V134L44 100 100 84 112 84V136A42 42 0 0 0 58 170Z",
		"door":    "M118 84H202V170H142A44 44 0 0 0 118 138Z",
		"slide":   "M208 24H370V170H208Z",
		"quarter": "M376 24H566Q578 24 579 36L583 170H520A43 43 0 0 0 436 170H376Z",
	},
}

var (
	topLines  = []string{"M14 40Q14 20 40 18H560Q588 18 588 40V140Q588 162 560 162H40Q14 160 14 140Z", "M122 32Q140 90 122 148L166 140V40Z"}
	topPanels = map[string]string{
		"bonnet":      "M22 44Q22 28 42 26H114Q132 90 114 154H42Q22 152 22 136Z",
		"roof-front":  "M174 28H308V152H174Z",
		"roof-middle": "M314 28H444V152H314Z",
		"roof-rear":   "M450 28H560Q578 28 578 44V136Q578 152 560 152H450Z",
	}
	backLines  = []string{"M190 216V40Q190 16 214 16H386Q410 16 410 40V216Z", "M206 40H292V96H206ZM308 40H394V96H308Z"}
	backPanels = map[string]string{
		"back-left":  "M198 104H296V208H198Z",
		"back-right": "M304 104H402V208H304Z",
	}
)

// drawVehicle draws the vehicle with a panel picked.
func drawVehicle(picked, panel string, l words.Lang) drawing {
	d := drawing{Places: job.Places, Picked: picked, Panel: panel}
	if p, ok := job.PlaceOf(picked); ok && l.T(p.Name) == panel {
		d.Panel = ""
	}
	left, right := drawnView{Title: "left side", Width: 600, Height: 220, Lines: side.lines}, drawnView{Title: "right side", Width: 600, Height: 220, Lines: side.lines, Mirror: true}
	top, back := drawnView{Title: "from above, front to the left", Width: 600, Height: 180, Lines: topLines}, drawnView{Title: "from behind", Width: 600, Height: 226, Lines: backLines}
	for _, p := range job.Places {
		add := func(v *drawnView, path string) {
			if path != "" {
				v.Panels = append(v.Panels, drawnPanel{p, path, p.Key == picked})
			}
		}
		switch p.Side {
		case "left":
			add(&left, side.panels[strings.TrimSuffix(p.Key, "-left")])
		case "right":
			add(&right, side.panels[strings.TrimSuffix(p.Key, "-right")])
		default:
			add(&top, topPanels[p.Key])
		}
		add(&back, backPanels[p.Key])
	}
	d.Views = []drawnView{left, top, right, back}
	return d
}
