// Package sheet bends sheet metal past yield: an elastic-plastic, thin, gently curved sheet that is pushed, pulled or dented and let go.
//
// In: a material, thickness, form and support, and a sequence of loads at places. Out, for each load: the height under load, the height
// that stays, its shape, the strain of the painted face. Two solvers:
//
//   - Disc and Solver: a round sheet hit at its middle; fast, for the table of package metal.
//   - Rect and Work: a rectangle of any gentle form, hit anywhere, many times; it keeps what every hit left.
//
// Use of the second:
//
//	w, err := sheet.NewWork(sheet.Rect{Material: m, ThicknessMM: 0.7, WidthMM: 300, HeightMM: 200, KxPerMM: 1e-3},
//		sheet.Place{XMM: 120, YMM: 90, FineMM: 2, StepMM: 0.8})
//	err = w.Push(120, 90, sheet.Tip{BallMM: 5}, 160) // N, from behind
//	under := w.HeightMM(120, 90)
//	err = w.Release(160)
//	left, beside := w.HeightMM(120, 90), w.HeightMM(170, 90)
//
// Model: shallow shell with moderate rotations (von Karman's strains about a shallow form, Marguerre), Kirchhoff sections in layers,
// plane-stress J2 plasticity by return mapping with isotropic hardening, Newton's method with load steps that halve where they must.
// Elements: cubic Hermite along the radius of a disc; cubic splines of continuous curvature on a graded grid of a rectangle.
//
// Limits: slopes of the form and of the bent sheet under some 0.3; metal isotropic; no speed, no heat; loads act along z.
//
// Axes: x, y in the sheet, or r outwards from the load; +z out of the panel (the painted front). Units mm, N, MPa.
package sheet
