// Package metal knows what sheet metal does: materials and sheets, what one push, pull or tap leaves behind near and far, and what
// it costs the paint.
//
// In: a sheet, its crown and free span, a tool, a force or a wanted height. Out: set (the height that stays), loaded height, the
// shape of the bump, the change at a neighbour, hold of a glue tab, metal too much, strain and warmth of the film.
//
// Units: mm, N, MPa, degrees Celsius; set and heights of marks in um where named so. Signs: +z out of the panel; a push from
// behind is positive, a tap from the front negative; curvature of a crown positive.
//
// The compact response rests on runs of a general-purpose finite-element program on sheets pushed from behind (docs/method/metal.md):
// outside a few millimetres a hit acts as a concentrated source of plastic curvature A (and of stretch B) in a linear shallow shell, and
// A/t against F/(yield t^2) falls on one line for all sheets tried. Near that, Panel answers at once; far away, Shell knows the room:
//
//	m, _ := metal.Lookup("bake-hardening steel")
//	p := metal.Panel{Sheet: metal.Sheet{Material: m, ThicknessMM: 0.7}, RadiusMM: 2500}
//	force, _ := p.ForceFor(150, metal.Tip{RadiusMM: 5})     // N for 150 um
//	s, _ := metal.NewShell(p.Room(300, 200))                // clamped all round
//	heights := s.Bend(p.Hit(120, 90, force, true)).Map(1)   // mm, at 1 mm
//	share := s.Influence([][2]float64{{120, 90}, {170, 90}}) // change at i for each unit of set at j
//
// Limits: thin, gently curved sheet (crown over 50 mm), virgin or once dented metal, slow hits; numbers marked common practice have
// no source.
package metal
