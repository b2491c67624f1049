package surface

// Reference is a panel's whole form as it was measured, mm over the plane of its frame, row-major; NaN where not measured: what a
// mirrored twin, the other side of the vehicle, lends to a damaged panel.
type Reference struct {
	Grid
	Z []float32
}

// referenceMM is the cut-off of the filter that keeps the twin's orange peel and noise out of the damaged panel's heights.
const referenceMM = 8.0

// NewReference puts a measured panel's form together: the undamaged form it was measured against, and the waviness left on it. What
// stands out on a twin is styling that the fill did not know.
func NewReference(g Grid, form, height []float32) Reference {
	z := Gauss(g, height, GaussCutoff(referenceMM))
	for i, f := range form {
		z[i] += f
	}
	return Reference{g, z}
}

// Mirrored is the reference seen in a mirror along y: x becomes -x.
func (r Reference) Mirrored() Reference {
	out := Reference{r.Grid, make([]float32, len(r.Z))}
	out.X0MM = -(r.X0MM + float64(r.Cols-1)*r.PitchMM)
	for i, z := range r.Z {
		c, row := i%r.Cols, i/r.Cols
		out.Z[row*r.Cols+r.Cols-1-c] = z
	}
	return out
}
