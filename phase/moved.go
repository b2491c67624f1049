package phase

// Moved returns the field with the pixels of a mask moved by whole pitches.
func (f *Field) Moved(mask []bool, pitches int) *Field {
	out := *f
	out.X = make([]float32, len(f.X))
	d := float32(float64(pitches) * f.PitchMM)
	for i, x := range f.X {
		if mask[i] {
			x += d
		}
		out.X[i] = x
	}
	return &out
}
