package metal

import (
	"fmt"
	"math"
)

// DrumRisk says whether a panel may snap in and out under the hand.
type DrumRisk string

const (
	DrumNone     DrumRisk = "none"
	DrumPossible DrumRisk = "possible"
	DrumLikely   DrumRisk = "likely"
)

// Drum is the bow of a flat panel in which metal is stored.
type Drum struct {
	BowMM  float64 // height of the bow at its middle
	Lambda float64 // (12 (1 - nu^2))^(1/4) a/sqrt(R t) of the bow as a cap
	Risk   DrumRisk
	Why    string
}

// Bounds of the cap parameter. A clamped cap snaps through under pressure from 3.3 on ([Budiansky1959], from memory), a bow of 1.6 sheet
// thicknesses. Below 2.2 (0.7 thicknesses) none was ever felt: own proposal, two thirds of that.
const (
	snapLambda     = 3.3
	possibleLambda = 2.2
	// capLambda: a panel whose own crown is a cap of this parameter over the span keeps its side: twice that of snapping, own proposal.
	capLambda = 2 * snapLambda
)

// Drum forecasts the snap-through ("drumming") of a panel that holds excessMM2 of metal too much over a free span, a circle of the radius
// SupportMM. The metal first takes up pressure in the plane, up to that at which a clamped disc buckles, 14.68 D/a^2
// ([TimoshenkoGere1961], from memory): an areal strain of 2 (1 - nu) 14.68 D/(E t a^2). The rest bows: a bow f (1 - r^2/a^2) holds an area
// of pi f^2, whatever the span; as a cap of radius a^2/(2 f) its parameter is (12 (1 - nu^2))^(1/4) sqrt(2 f/t). A panel with a
// crown of its own keeps to its side and only rises.
func (p Panel) Drum(excessMM2 float64) (Drum, error) {
	a, t := p.support(), p.ThicknessMM
	if !within(math.Abs(excessMM2), 0, 1e6) || !within(t, 0.3, 3) || !within(a, 10, 2000) {
		return Drum{}, fmt.Errorf("an excess of %g mm2 in a sheet of %g mm over %g mm cannot be judged; give 0.3 to 3 mm and a span of 10 to 2000 mm", excessMM2, t, a)
	}
	root := math.Pow(12*(1-p.Nu*p.Nu), 0.25)
	held := 2 * (1 - p.Nu) * 14.68 * p.Rigidity() / (p.EMPa * t * a * a) * math.Pi * a * a
	var d Drum
	if rest := excessMM2 - held; rest > 0 {
		d.BowMM = math.Sqrt(rest / math.Pi)
	}
	d.Lambda = root * math.Sqrt(2*d.BowMM/t)
	own := 0.0
	if p.RadiusMM > 0 {
		own = root * a / math.Sqrt(p.RadiusMM*t)
	}
	switch {
	case own > capLambda:
		d.Risk, d.Why = DrumNone, "the panel's own crown keeps it on its side"
	case d.Lambda > snapLambda:
		d.Risk, d.Why = DrumLikely, fmt.Sprintf("%.1f mm2 of metal too much bow the panel by %.2f mm, %.1f of its thickness: it snaps in and out; take the stretch out before levelling", excessMM2, d.BowMM, d.BowMM/t)
	case d.Lambda > possibleLambda:
		d.Risk, d.Why = DrumPossible, fmt.Sprintf("%.1f mm2 of metal too much bow the panel by %.2f mm; it may feel soft: hold it while pushing and check by hand", excessMM2, d.BowMM)
	default:
		d.Risk, d.Why = DrumNone, "what metal there is too much lies still in the plane"
	}
	return d, nil
}
