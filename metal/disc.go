package metal

import (
	"cmp"
	"math"
	"slices"

	"fairmetal/sheet"
)

// solverMaterial is the metal as the solver takes it.
func (m Material) solverMaterial() sheet.Material {
	return sheet.Material{EMPa: m.EMPa, Nu: m.Nu, YieldMPa: m.YieldMPa, K: m.SwiftK, N: m.SwiftN}
}

// Disc is the panel as the round solver takes it: clamped at its support.
func (p Panel) Disc() sheet.Disc {
	return sheet.Disc{Material: p.solverMaterial(), ThicknessMM: p.ThicknessMM, RadiusMM: p.RadiusMM, SupportMM: p.support()}
}

// SolverTip is the tip that a cell of the table was worked out with.
func (c Case) SolverTip() sheet.Tip {
	if c.Soft {
		return sheet.Tip{DiscMM: TableSoftMM}
	}
	return sheet.Tip{BallMM: TableTipMM}
}

// Way is how a hit was worked out.
type Way string

// The square sheet itself comes first; where it finds no balance the round one of equal stiffness, and then the table.
const (
	BySquare Way = "square"
	ByDisc   Way = "disc"
	ByTable  Way = "table"
)

// Square works out what a round tip does at the middle of a clamped square field of this sheet, each force from virgin metal, and by which
// way; the panel's own support does not count. Forces are of one sign, in any order; hits come in the order of the forces. Dents that
// no solver finds a balance for are an error: the panel snaps through.
func (p Panel) Square(sideMM, tipRadiusMM float64, forces []float64) ([]sheet.Hit, Way, error) {
	if p.RadiusMM != 0 { // an edge twenty decay lengths away is not felt
		tight := p
		tight.RadiusMM = math.Abs(p.RadiusMM)
		sideMM = math.Min(sideMM, 40*tight.DecayMM())
	}
	p.SupportMM = sheet.EquivalentRadius(sideMM)
	tip := sheet.Tip{BallMM: tipRadiusMM}
	rising := slices.Clone(forces)
	slices.SortFunc(rising, func(a, b float64) int { return cmp.Compare(math.Abs(a), math.Abs(b)) })
	rising = slices.Compact(rising)
	way := BySquare
	hits, err := sheet.Square(sheet.Quarter(p.solverMaterial(), p.ThicknessMM, sideMM, p.RadiusMM), tip, rising)
	if err != nil {
		way = ByDisc
		var more []sheet.Hit
		more, err = sheet.Pushes(p.Disc(), tip, rising[len(hits):])
		hits = append(hits, more...)
	}
	if err != nil {
		if rising[0] < 0 {
			return nil, way, err
		}
		way = ByTable
		for _, f := range rising[len(hits):] {
			hits = append(hits, p.tableHit(f, Tip{RadiusMM: tipRadiusMM}))
		}
	}
	out := make([]sheet.Hit, len(forces))
	for i, f := range forces {
		j, _ := slices.BinarySearchFunc(hits, f, func(h sheet.Hit, f float64) int { return cmp.Compare(math.Abs(h.ForceN), math.Abs(f)) })
		out[i] = hits[j]
	}
	return out, way, nil
}

// tableHit is the answer of the table, with the shape of the field.
func (p Panel) tableHit(force float64, tip Tip) sheet.Hit {
	h := sheet.Hit{ForceN: force, SetUM: p.SetUM(force, tip)}
	h.LoadedMM = (h.SetUM + p.SpringbackUM(force, tip)) / 1000
	h.StrainPct = p.StrainPct(h.SetUM, tip)
	for r := 0.0; r <= p.support(); r += 0.25 {
		f := p.Field(r)
		if h.HalfWidthMM == 0 && f < 0.5 {
			h.HalfWidthMM = r
		}
		h.RimUM = math.Max(h.RimUM, -f*h.SetUM)
		h.R, h.W = append(h.R, r), append(h.W, f*h.SetUM/1000)
	}
	return h
}
