package plan

import (
	"fmt"
	"math"

	"fairmetal/metal"
	"fairmetal/rack"
)

// ground knows the fields of a panel by place: amid the panel all are alike; near a held edge or a brace each place has its own.
type ground struct {
	panel metal.Panel
	crown metal.Crown
	held  rack.Access
	mid   *fields
	shape Shape
	zones map[[2]int]*fields
}

const (
	// zoneMM is the side of the squares that share a field near an edge or a brace: over 20 mm it changes by a few hundredths of the set.
	zoneMM = 20.0
	// edgeMM: nearer to an edge or a brace package metal's shell does not resolve what is held.
	edgeMM = 10.0
	// feltLengths: so many decay lengths away what is held is not felt on a crown.
	feltLengths = 4.0
)

// crowned is the crown of a panel: a zero one is that of the panel's radius.
func crowned(p metal.Panel, c metal.Crown) metal.Crown {
	if c == (metal.Crown{}) && p.RadiusMM > 0 {
		c = metal.Crown{KxPerMM: 1 / p.RadiusMM, KyPerMM: 1 / p.RadiusMM}
	}
	return c
}

// newGround works the fields amid the panel out.
func newGround(p metal.Panel, c metal.Crown, a rack.Access) (*ground, error) {
	g := &ground{panel: p, crown: crowned(p, c), held: a, zones: map[[2]int]*fields{}}
	half := supported(p)
	shell, err := metal.NewShell(g.room(2*half, 2*half))
	if err != nil {
		return nil, fmt.Errorf("the panel cannot be worked out: %w", err)
	}
	g.mid, err = fieldsIn(shell, half, half, half)
	return g, err
}

func (g *ground) room(widthMM, heightMM float64) metal.ShellSpec {
	return metal.ShellSpec{Sheet: g.panel.Sheet, WidthMM: widthMM, HeightMM: heightMM, KxPerMM: g.crown.KxPerMM, KyPerMM: g.crown.KyPerMM, KxyPerMM: g.crown.KxyPerMM}
}

// supported is how far from a hit the panel is taken to be held where nothing nearer is known.
func supported(p metal.Panel) float64 {
	half := p.SupportMM
	if half <= 0 {
		half = defaultSupportMM
	}
	return cellMM * math.Round(min(half, mostSupportMM)/cellMM)
}

// at are the fields of hits at a place.
func (g *ground) at(x, y float64) *fields {
	if g.held.Frame == nil && len(g.held.Braces) == 0 {
		return g.mid
	}
	key := [2]int{int(math.Floor(x / zoneMM)), int(math.Floor(y / zoneMM))}
	f, ok := g.zones[key]
	if !ok {
		f = g.zone((float64(key[0])+0.5)*zoneMM, (float64(key[1])+0.5)*zoneMM)
		g.zones[key] = f
	}
	return f
}

// zone works the fields about a middle out: those amid the panel where nothing held is near enough to be felt.
func (g *ground) zone(x, y float64) *fields {
	half := supported(g.panel)
	x0, y0, x1, y1 := x-half, y-half, x+half, y+half
	felt := half
	// The flatter of the two crowns decides.
	if k := min(math.Abs(g.crown.KxPerMM), math.Abs(g.crown.KyPerMM)); k > 0 {
		felt = min(felt, feltLengths*metal.Panel{Sheet: g.panel.Sheet, RadiusMM: 1 / k}.DecayMM())
	}
	near := false
	if f := g.held.Frame; f != nil {
		x0, y0, x1, y1 = max(x0, f.X0MM), max(y0, f.Y0MM), min(x1, f.X1MM), min(y1, f.Y1MM)
		near = min(x-f.X0MM, y-f.Y0MM, f.X1MM-x, f.Y1MM-y) < felt
	}
	spec := g.room(x1-x0, y1-y0)
	for _, b := range g.held.Braces {
		n := max(1, math.Ceil(math.Hypot(b.X1MM-b.X0MM, b.Y1MM-b.Y0MM)/edgeMM))
		for k := 0.0; k <= n; k++ {
			px, py := b.X0MM+k/n*(b.X1MM-b.X0MM), b.Y0MM+k/n*(b.Y1MM-b.Y0MM)
			if px <= x0 || py <= y0 || px >= x1 || py >= y1 {
				continue
			}
			near = near || math.Hypot(px-x, py-y) < felt
			spec.Braces = append(spec.Braces, metal.Brace{X1MM: px - x0, Y1MM: py - y0, X2MM: px - x0, Y2MM: py - y0})
		}
	}
	if !near {
		return g.mid
	}
	x, y = min(max(x, x0+edgeMM), x1-edgeMM), min(max(y, y0+edgeMM), y1-edgeMM)
	// What cannot be worked out there, on a brace or beyond the frame, is worked as amid the panel.
	shell, err := metal.NewShell(spec)
	if err != nil {
		return g.mid
	}
	f, err := fieldsIn(shell, x-x0, y-y0, half)
	if err != nil {
		return g.mid
	}
	return f.shaped(g.shape)
}

// shaped are the grounds of metal of a shape.
func (g *ground) shaped(s Shape) *ground {
	if s == (Shape{}) {
		return g
	}
	out := *g
	out.mid = g.mid.shaped(s)
	out.shape, out.zones = s, map[[2]int]*fields{}
	return &out
}
