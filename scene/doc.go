// Package scene is our own camera: it renders captures of made-up panels by exact ray tracing, with truth, for tests, practice and
// the demo workshop. It shares nothing with the measuring code but vectors, so that one cannot hide the other's mistakes.
//
// A Spec holds the panel (crown, feature lines, marks, orange peel), its paint, the board, the cards and the camera; Render
// traces every subpixel once (camera - surface - mirrored ray - board, or a card) and shades all photos of all sets from that.
// Everything random comes from the Spec's seed: the same Spec gives the same bytes.
//
// Frames and signs are those of docs/capture.md: mm, +z out of the panel, lows negative; the stripes' brightness in linear light is
// cos(2 pi (u/pitch - shift)) with u to the right and v down as seen in the mirror.
//
//	c, err := scene.Render(scene.Fleet()[0].Spec, nil)
//	err = c.WriteDir("captures/roof")
package scene
