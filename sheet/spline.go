package sheet

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"
)

// line is one side of a rectangular mesh: cubic splines with a continuous curvature over graded elements. Function i lives on elements
// i-3 to i; the first and the last function alone do not vanish at the ends.
type line struct {
	at    []float64 // element ends, rising
	knots []float64 // the same with fourfold ends
}

func (l *line) functions() int { return len(l.at) + 2 }

// spot is a stretch of a line that wants short elements.
type spot struct{ at, half, step float64 }

// grow is how fast elements lengthen away from a spot, per length.
const grow = 0.30

// graded divides 0..length: elements of a spot's step within it, longer in proportion to the distance from it, none over longest.
func graded(length, longest float64, spots []spot) line {
	size := func(x float64) float64 {
		h := longest
		for _, s := range spots {
			h = math.Min(h, s.step+grow*math.Max(0, math.Abs(x-s.at)-s.half))
		}
		return h
	}
	// The ends of elements divide the integral of 1/size evenly.
	const fine = 4000
	sum := make([]float64, fine+1)
	for i := range fine {
		sum[i+1] = sum[i] + length/fine/size((float64(i)+0.5)*length/fine)
	}
	n := max(4, int(math.Ceil(sum[fine]-1e-9)))
	l := line{at: make([]float64, n+1)}
	for k := 1; k < n; k++ {
		want := sum[fine] * float64(k) / float64(n)
		i := sort.SearchFloat64s(sum, want)
		l.at[k] = (float64(i) - (sum[i]-want)/(sum[i]-sum[i-1])) * length / fine
	}
	l.at[n] = length
	l.knots = append(append([]float64{0, 0, 0}, l.at...), length, length, length)
	return l
}

// element finds the element that holds x.
func (l *line) element(x float64) int {
	return min(max(sort.SearchFloat64s(l.at, x)-1, 0), len(l.at)-2)
}

// shape is the four functions of an element at one place: values, slopes, curvatures.
type shape struct{ n, d, dd [4]float64 }

// shapes returns functions e to e+3 at x in element e (de Boor's recurrence).
func (l *line) shapes(e int, x float64) shape {
	k := l.knots
	j := e + 3
	var low [4][4]float64 // functions of degree p, the p+1 that live here
	low[0][0] = 1
	for p := 1; p <= 3; p++ {
		for i := 0; i <= p; i++ {
			at := j - p + i
			v := 0.0
			if i > 0 {
				v += (x - k[at]) / (k[at+p] - k[at]) * low[p-1][i-1]
			}
			if i < p {
				v += (k[at+p+1] - x) / (k[at+p+1] - k[at+1]) * low[p-1][i]
			}
			low[p][i] = v
		}
	}
	// A slope of degree p is the difference of two functions of degree p-1.
	slope := func(p int, lower []float64) (out [4]float64) {
		for i := 0; i <= p; i++ {
			at := j - p + i
			if i > 0 {
				out[i] += float64(p) / (k[at+p] - k[at]) * lower[i-1]
			}
			if i < p {
				out[i] -= float64(p) / (k[at+p+1] - k[at+1]) * lower[i]
			}
		}
		return out
	}
	second := slope(2, low[1][:])
	return shape{low[3], slope(3, low[2][:]), slope(3, second[:])}
}

// sample is one integration point of a line.
type sample struct {
	element   int
	x, weight float64
	shape
}

// samples are Gauss points, a number in each element.
func (l *line) samples(each int) []sample {
	var out []sample
	xs, ws := make([]float64, each), make([]float64, each)
	for e := range len(l.at) - 1 {
		quad.Legendre{}.FixedLocations(xs, ws, l.at[e], l.at[e+1])
		for g, x := range xs {
			out = append(out, sample{e, x, ws[g], l.shapes(e, x)})
		}
	}
	return out
}
