package metal

import "fairmetal/sheet"

// Disc is the panel as the solver takes it: a round sheet, clamped at its support.
func (p Panel) Disc() sheet.Disc {
	return sheet.Disc{Material: sheet.Material{EMPa: p.EMPa, Nu: p.Nu, YieldMPa: p.YieldMPa, K: p.SwiftK, N: p.SwiftN},
		ThicknessMM: p.ThicknessMM, RadiusMM: p.RadiusMM, SupportMM: p.support()}
}

// SolverTip is the tip that a cell of the table was worked out with.
func (c Case) SolverTip() sheet.Tip {
	if c.Soft {
		return sheet.Tip{DiscMM: TableSoftMM}
	}
	return sheet.Tip{BallMM: TableTipMM}
}
