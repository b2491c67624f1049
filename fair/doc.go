// Package fair is the hand-over check: does any reflected line wobble in the measured metal, from any side.
//
// In: a measured surface (height deviation and its standard uncertainty, NaN where not measured) and limits. Out: a Verdict: the
// answer, the worst wobble with its place, view and light, a table by view, residual slope and curvature by band of wavelength,
// overlooked flaws anywhere on the area, and the places that could not be judged.
//
//	v, err := fair.Judge(s, fair.DefaultLimits(fair.Black))
//	if err == nil && v.Answer == fair.Yes { … }
//
// Frame: the panel frame of package surface. A view is the direction from the metal to the eye: azimuth from +x towards +y,
// elevation over the metal. A light is a straight line on a board that stands square to the mirrored ray; its angle counts from
// level. Angles of wobble are of the reflected ray, so twice the tilt of the metal where the line lies across the view.
//
// Bands: waves under PeelMM are orange peel, reported and not judged; waves over CourseMM, as the eye sees them, are the smooth
// course of the line. Limits hold within some +-600 mm of the origin, slopes under 50 mrad (the law is linear in them; docs/method/fair.md).
package fair
