package plan

import (
	"math"

	"fairmetal/metal"
	"fairmetal/rack"
	"fairmetal/surface"
)

// Heard is what the metal has told so far: how much harder or softer it is than its name says.
type Heard struct {
	panel  metal.Panel // with the yield of its name
	tools  rack.Rack
	logs   []float64 // log likelihood of each factor on the yield
	curves map[bool][]curve
	fields *fields
	Hits   int // that it rests on
}

// curve is the set that stays of a hit to a height under load.
type curve struct{ loadedUM, setUM []float64 }

// Factors on the yield that are weighed.
const (
	leastFactor, factorStep, factors = 0.70, 0.005, 141
	// usualSpread of yields where the material names none.
	usualSpread = 0.15
	// heardMM: heights are compared as means over a disc of this radius, since hits land some millimetre off.
	heardMM = 4.0
	// fieldSpread is the relative error of a field away from the hit (docs/method/metal.md), alike for all hits; readUM that of a height between two captures.
	fieldSpread, readUM = 0.15, 3.0
	// slipped hits are not believed beyond this many standard deviations.
	slipped = 3.0
)

// NewHeard starts with what the material's name says: a log-normal of its spread.
func NewHeard(p metal.Panel, tools rack.Rack) (*Heard, error) {
	f, err := newFields(p)
	if err != nil {
		return nil, err
	}
	h := &Heard{panel: p, tools: tools, logs: make([]float64, factors), curves: map[bool][]curve{}, fields: f}
	spread := p.Spread
	if spread <= 0 {
		spread = usualSpread
	}
	for i := range h.logs {
		u := math.Log(factorAt(i)) / spread
		h.logs[i] = -u * u / 2
	}
	return h, nil
}

func factorAt(i int) float64 { return leastFactor + factorStep*float64(i) }

// Factor is the yield over that of the name, and its standard deviation.
func (h *Heard) Factor() (mean, sd float64) {
	most := math.Inf(-1)
	for _, l := range h.logs {
		most = max(most, l)
	}
	var w, m, q float64
	for i, l := range h.logs {
		p, f := math.Exp(l-most), factorAt(i)
		w, m, q = w+p, m+p*f, q+p*f*f
	}
	m /= w
	return m, math.Sqrt(max(0, q/w-m*m))
}

// Panel is the panel with the yield heard.
func (h *Heard) Panel() metal.Panel {
	p := h.panel
	f, _ := h.Factor()
	p.Material = p.WithYield(p.YieldMPa * f)
	return p
}

// at are the curves of all factors for a soft or hard tip.
func (h *Heard) at(soft bool) []curve {
	if c, ok := h.curves[soft]; ok {
		return c
	}
	const steps, from, to = 40, 0.6, 5.0
	out := make([]curve, factors)
	for i := range out {
		p := h.panel
		p.Material = p.WithYield(p.YieldMPa * factorAt(i))
		for k := range steps {
			f := p.ForceUnit() * (from + (to-from)*float64(k)/(steps-1))
			set := p.SetUM(f, metal.Tip{Soft: soft})
			loaded := set + p.SpringbackUM(f, metal.Tip{Soft: soft})
			if k == 0 || loaded > out[i].loadedUM[len(out[i].loadedUM)-1] {
				out[i].loadedUM, out[i].setUM = append(out[i].loadedUM, loaded), append(out[i].setUM, set)
			}
		}
	}
	h.curves[soft] = out
	return out
}

func (c curve) stays(loadedUM float64) float64 {
	if loadedUM <= c.loadedUM[0] {
		return 0
	}
	return interpolate(loadedUM, c.loadedUM, c.setUM)
}

// disc is the mean of a field over the disc of heardMM about a place dx, dy mm from the hit.
func (f *field) disc(dx, dy float64) float64 {
	n := int(heardMM / cellMM)
	var sum, w float64
	c, r := int(math.Round(dx/cellMM)), int(math.Round(dy/cellMM))
	for j := -n; j <= n; j++ {
		for i := -n; i <= n; i++ {
			if i*i+j*j <= n*n {
				sum, w = sum+f.at(c+i, r+j), w+1
			}
		}
	}
	return sum / w
}

// Round weighs what a round has changed, surface before and after, against what it would change on metal of each yield: its hits are worked anew,
// each to the height under the tool that was told, from where those before it have left the metal. A round with fewer than two pushes tells nothing.
func (h *Heard) Round(r Round, before, after *surface.Surface) {
	type place struct{ was, moved float64 }
	soft := map[string]bool{}
	for _, t := range h.tools.Tips {
		soft[t.Name] = t.Metal().Soft
	}
	n := len(r.Hits)
	places := make([]place, n)
	lift := make([]float64, n*n) // of the middle of i by the set of j, and its mean over the disc
	mean := make([]float64, n*n)
	pushes := 0
	for i, a := range r.Hits {
		places[i] = place{1000 * before.At(a.XMM, a.YMM), 1000 * (discMean(after, a.XMM, a.YMM) - discMean(before, a.XMM, a.YMM))}
		if a.raises() && !math.IsNaN(places[i].was+places[i].moved) {
			pushes++
		}
		for j, c := range r.Hits {
			f, shows := h.fields.wide, h.fields.rough // the capture has taken the broad part for the form
			if c.Held {
				f, shows = h.fields.fine, h.fields.fine
			}
			if c.Sharp {
				f, shows = h.fields.sharp, h.fields.sharp
			}
			dx, dy := a.XMM-c.XMM, a.YMM-c.YMM
			lift[i*n+j] = f.at(int(math.Round(dx/cellMM)), int(math.Round(dy/cellMM)))
			mean[i*n+j] = shows.disc(dx, dy)
		}
	}
	if pushes < 2 {
		return
	}
	h.Hits += pushes
	set := make([]float64, n)
	for k := range h.logs {
		for j, c := range r.Hits {
			stands := places[j].was
			for i := range j {
				stands += set[i] * lift[j*n+i]
			}
			switch l := c.LoadedUM - stands; {
			case math.IsNaN(stands):
				set[j] = c.SetUM
			case !c.raises():
				set[j] = math.Copysign(min(math.Abs(c.ToUM-stands), 1.5*math.Abs(c.SetUM)+2), c.ToUM-stands)
			default:
				set[j] = h.at(c.Method == "pull" || soft[c.Tool])[k].stays(l)
			}
		}
		for i, a := range r.Hits {
			if !a.raises() || math.IsNaN(places[i].was+places[i].moved) {
				continue
			}
			moved, v, others := 0.0, readUM*readUM, 0.0
			for j := range r.Hits {
				d := set[j] * mean[i*n+j]
				moved += d
				v += amount * amount * d * d
				if j != i {
					others += math.Abs(d)
				}
			}
			v += fieldSpread * fieldSpread * others * others
			e := (places[i].moved - moved) * (places[i].moved - moved) / v
			h.logs[k] -= min(e, slipped*slipped)/2 + math.Log(v)/2
		}
	}
}

// raises tells whether the hit is worked to a height under the tool.
func (h Hit) raises() bool { return h.Method != "tap" && !h.Held }

func discMean(s *surface.Surface, x, y float64) float64 {
	n := int(heardMM / cellMM)
	var sum, w float64
	for j := -n; j <= n; j++ {
		for i := -n; i <= n; i++ {
			if i*i+j*j <= n*n {
				if v := s.At(x+float64(i)*cellMM, y+float64(j)*cellMM); !math.IsNaN(v) {
					sum, w = sum+v, w+1
				}
			}
		}
	}
	return sum / w
}
