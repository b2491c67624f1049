package shot

// Case is a usual flaw to set up for. Its name is an English text of the catalogue.
type Case struct {
	Key, Name string
	Flaw
}

// Cases are the usual flaws, from wide and shallow to small and sharp. Sizes are common practice, no source.
var Cases = []Case{
	{"wide", "a wide shallow low", Flaw{60, 60}},
	{"hail", "hail or a knock of a door", Flaw{25, 200}},
	{"ding", "a plain dent", Flaw{35, 700}},
	{"sharp", "a small sharp dent or crease", Flaw{12, 300}},
}

// crowns are usual radii of the crown of a kind of panel, mm. Common practice, no source.
var crowns = map[string]float64{"roof": 4000, "bonnet": 3000, "door": 5000, "wing": 1500, "tailgate": 4000, "quarter": 5000}

// Usual is a set-up that suits a kind of panel: a phone or camera half a metre away, leaning, the board with its usual fine stripes beyond the
// damage.
func Usual(panelKind string) Place {
	p := Place{BoardMM: 450, CameraMM: 550, TiltDeg: 35, CrownMM: crowns[panelKind], MMPerPX: 0.16, PitchMM: 16}
	if panelKind == "wing" {
		// The more a panel bulges, the more board one photo shows: nearer, the board covers it.
		p.BoardMM = 350
	}
	return p
}
