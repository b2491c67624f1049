// Package tracing draws a round of hits at true size, to lay over the panel, and as a picture for the phone.
//
// In: hits in working order, the scale cards where they lay, the outlines of the marks; all in mm in the panel frame (+x from card A to
// card B, +y up, seen from outside). Out: a PDF in tiles with overlap, joining marks and a bar of 100 mm to measure, followed by the
// list of hits; or an SVG with one hit pointed out. The same input gives the same bytes.
//
// How to use the paper: print at 100 %, measure the bar, join the tiles on their crosses, lay the drawn cards over the cards.
package tracing
