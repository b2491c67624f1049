package phase

// closing fills gaps of a mask that are narrower than twice r pixels: what lies within r of it, less what then lies within r of
// the rest (chamfer distances 3-4, [Borgefors1986]).
func closing(m []bool, w, h, r int) []bool {
	grown := within(m, w, h, r)
	for i := range grown {
		grown[i] = !grown[i]
	}
	out := within(grown, w, h, r)
	for i := range out {
		out[i] = !out[i] || m[i]
	}
	return out
}

// within tells which pixels lie within r of the mask.
func within(m []bool, w, h, r int) []bool {
	const far = 1 << 28
	d := make([]int32, len(m))
	for i, v := range m {
		if !v {
			d[i] = far
		}
	}
	for y := range h {
		for x := range w {
			i := y*w + x
			v := d[i]
			if x > 0 {
				v = min(v, d[i-1]+3)
			}
			if y > 0 {
				v = min(v, d[i-w]+3)
				if x > 0 {
					v = min(v, d[i-w-1]+4)
				}
				if x < w-1 {
					v = min(v, d[i-w+1]+4)
				}
			}
			d[i] = v
		}
	}
	for y := h - 1; y >= 0; y-- {
		for x := w - 1; x >= 0; x-- {
			i := y*w + x
			v := d[i]
			if x < w-1 {
				v = min(v, d[i+1]+3)
			}
			if y < h-1 {
				v = min(v, d[i+w]+3)
				if x > 0 {
					v = min(v, d[i+w-1]+4)
				}
				if x < w-1 {
					v = min(v, d[i+w+1]+4)
				}
			}
			d[i] = v
		}
	}
	out := make([]bool, len(m))
	for i, v := range d {
		out[i] = v <= int32(3*r)
	}
	return out
}
