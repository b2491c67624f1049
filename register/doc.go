// Package register finds how one measured surface of a panel lies against another: captures share the frame of the scale cards, and where
// the cards were moved between them the metal itself has to tell.
//
// In: two surfaces (mm, NaN where not measured, package surface) with their marks and feature lines. Out: the rigid move in the plane of
// the panel that carries places of the second onto the first, its standard uncertainty from what it leaves unexplained, and a plain
// verdict whether it can be trusted, with the reason.
//
// What the metal offers to hold on to: marks and feature lines as landmarks; the heights of marks that were not worked; and orange peel,
// which two captures of the same paint show alike to a tenth of a micrometre, like a fingerprint. Marks that were worked drop out by
// their own residual. The smooth form may differ between the two; a cubic of it is solved along.
//
//	r := register.Between(register.Side{Surface: a, Marks: ma}, register.Side{Surface: b, Marks: mb})
//	if r.Sure {
//		b = register.Onto(b, r.Move, a.Grid)
//	}
//
// Limits: the turn is searched within 45 degrees by orange peel, all round by marks; the tilt of one frame against the other foreshortens
// lengths by less than two in ten thousand per degree and is not solved.
package register
