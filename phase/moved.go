package phase

import "fairmetal/internal/rows"

// Moved returns the field with the pixels of a mask moved by whole pitches.
func (f *Field) Moved(mask []bool, pitches int) *Field {
	out := *f
	out.X = make([]float32, len(f.X))
	d := float32(float64(pitches) * f.PitchMM)
	rows.Do(len(f.X), func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			out.X[i] = f.X[i]
			if mask[i] {
				out.X[i] += d
			}
		}
	})
	return &out
}
