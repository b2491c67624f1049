package main

import (
	"fmt"
	"html"
	"io"
	"math"

	"fairmetal/sheet"
)

// frame is one set of axes in a picture.
type frame struct {
	x, y, w, h             float64 // of the plotting area
	left, right, low, high float64 // values at its sides
}

func (f *frame) at(x, y float64) (px, py float64) {
	return f.x + f.w*(x-f.left)/(f.right-f.left), f.y + f.h*(f.high-y)/(f.high-f.low)
}

// ticks are round numbers, some five of them.
func ticks(low, high float64) []float64 {
	step := math.Pow(10, math.Floor(math.Log10((high-low)/5)))
	for _, k := range []float64{5, 2} {
		if (high-low)/(k*step) >= 4 {
			step *= k
			break
		}
	}
	var out []float64
	for v := math.Ceil(low/step) * step; v <= high+step/1e6; v += step {
		out = append(out, v+0) // no -0
	}
	return out
}

func (f *frame) axes(w io.Writer, across, up string) {
	fmt.Fprintf(w, `<rect x="%.0f" y="%.0f" width="%.0f" height="%.0f" fill="none" stroke="#333"/>`+"\n", f.x, f.y, f.w, f.h)
	for _, v := range ticks(f.left, f.right) {
		x, y := f.at(v, f.low)
		fmt.Fprintf(w, `<path d="M%.1f %.1fv-5" stroke="#333"/><text x="%.1f" y="%.1f" text-anchor="middle">%.4g</text>`+"\n", x, y, x, y+16, v)
	}
	for _, v := range ticks(f.low, f.high) {
		x, y := f.at(f.left, v)
		fmt.Fprintf(w, `<path d="M%.1f %.1fh%.0f" stroke="#ddd"/><text x="%.1f" y="%.1f" text-anchor="end">%.4g</text>`+"\n", x, y, f.w, x-6, y+4, v)
	}
	fmt.Fprintf(w, `<text x="%.0f" y="%.0f" text-anchor="middle">%s</text>`+"\n", f.x+f.w/2, f.y+f.h+34, across)
	fmt.Fprintf(w, `<text transform="translate(%.0f %.0f) rotate(-90)" text-anchor="middle">%s</text>`+"\n", f.x-48, f.y+f.h/2, up)
}

func (f *frame) line(w io.Writer, xs, ys []float64, colour string) {
	fmt.Fprintf(w, `<polyline fill="none" stroke="%s" stroke-width="1.6" points="`, colour)
	for i := range xs {
		if xs[i] < f.left || xs[i] > f.right {
			continue
		}
		x, y := f.at(xs[i], ys[i])
		fmt.Fprintf(w, "%.1f,%.1f ", x, y)
	}
	fmt.Fprintln(w, `"/>`)
}

// hitsSVG draws what stays against the force, and the shape that each hit leaves.
func hitsSVG(w io.Writer, title string, hits []sheet.Hit) {
	set := frame{x: 70, y: 50, w: 330, h: 300}
	shape := frame{x: 480, y: 50, w: 360, h: 300, right: 40}
	low, high := 0.0, 1.0
	for _, h := range hits {
		set.left, set.right = math.Min(set.left, h.ForceN), math.Max(set.right, h.ForceN)
		for _, v := range append([]float64{h.SetUM / 1000}, h.W...) {
			low, high = math.Min(low, 1000*v), math.Max(high, 1000*v)
		}
	}
	set.right = math.Max(set.right, set.left+1)
	margin := 0.05 * (high - low)
	set.low, set.high = low-margin, high+margin
	shape.low, shape.high = set.low, set.high
	fmt.Fprintln(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 900 400" font-family="sans-serif" font-size="12">`)
	fmt.Fprintln(w, `<rect width="900" height="400" fill="#fff"/>`)
	fmt.Fprintf(w, `<text x="70" y="28" font-size="14">%s</text>`+"\n", html.EscapeString(title))
	set.axes(w, "force, N", "what stays, um")
	shape.axes(w, "from the tip, mm", "shape that stays, um")
	named := math.Inf(1)
	for i, h := range hits {
		colour := fmt.Sprintf("hsl(%d 70%% 40%%)", 220-220*i/max(1, len(hits)-1))
		x, y := set.at(h.ForceN, h.SetUM)
		fmt.Fprintf(w, `<circle cx="%.1f" cy="%.1f" r="4" fill="%s"><title>%.0f N: %.0f um</title></circle>`+"\n", x, y, colour, h.ForceN, h.SetUM)
		um := make([]float64, len(h.W))
		for k, v := range h.W {
			um[k] = 1000 * v
		}
		shape.line(w, h.R, um, colour)
		if _, y = shape.at(0, h.SetUM); math.Abs(y-named) > 11 { // names must not cover each other
			named = y
			fmt.Fprintf(w, `<text x="%.0f" y="%.1f" fill="%s">%.0f N</text>`+"\n", shape.x+shape.w+4, y+4, colour, h.ForceN)
		}
	}
	fmt.Fprintln(w, "</svg>")
}
