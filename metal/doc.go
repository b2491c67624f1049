// Package metal knows what sheet metal does: materials and sheets, what one push, pull or tap leaves behind near and far, and what
// it costs the paint.
//
// In: a sheet, its crown and free span, a tool, a force or a wanted height. Out: set (the height that stays), loaded height, the
// shape of the bump, the change at a neighbour, strain of the film.
//
// Units: mm, N, MPa, degrees Celsius; set and heights of marks in um where named so. Signs: +z out of the panel; a push from
// behind is positive, a tap from the front negative.
//
// The compact response rests on runs of a general-purpose finite-element program on sheets pushed from behind (docs/method/metal.md):
// outside a few millimetres a hit acts as a concentrated source of plastic curvature A in a linear shallow shell, and A/t against
// F/(yield t^2) falls on one line for all sheets tried.
package metal
