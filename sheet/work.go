package sheet

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// step is the change of the unknowns that Newton's method asks for; false where the tangent cannot be solved.
func (w *Work) step() ([]float64, bool) {
	if _, ok := w.k.factor(); !ok {
		return nil, false
	}
	dx := append([]float64(nil), w.res...)
	w.k.solve(dx)
	if t := w.load; t != nil && t.even == nil && t.stiff > 0 {
		// The ball's height gives way as well: one bordered row.
		y := append([]float64(nil), t.border...)
		w.k.solve(y)
		dh := -floats.Dot(t.border, dx) / (t.stiff - floats.Dot(t.border, y))
		floats.AddScaled(dx, -dh, y)
	}
	return dx, !math.IsNaN(floats.Sum(dx))
}

const (
	tightness = 1e-6 // what may stay out of balance, of the load
	most      = 25   // iterations
)

// A balance is sought again with what presses on the face in it, until that changes by less than a share of the yield.
const (
	squeezes = 3
	squeezed = 0.02
)

// settle finds balance under a force by Newton's method; it leaves everything as it was where it fails.
func (w *Work) settle(force, scale float64) (iterations int, ok bool) {
	before := append([]float64(nil), w.x...)
	w.balance(force, true)
	for it := range most {
		worst := floats.Norm(w.res, math.Inf(1))
		if worst < tightness*scale {
			w.keep()
			w.Balances++
			return it, true
		}
		if math.IsNaN(worst) {
			break
		}
		dx, solved := w.step()
		if !solved {
			break
		}
		w.advance(force, dx)
	}
	copy(w.x, before)
	return most, false
}

// advance goes along a step, no further than a few thicknesses; back where the work done by what is out of balance has turned over
// (a touch that opens or closes, a membrane that stiffens), by the rule of false position.
func (w *Work) advance(force float64, dx []float64) {
	biggest := 0.0
	for _, u := range w.unknown[2] {
		if u >= 0 {
			biggest = math.Max(biggest, math.Abs(dx[u]))
		}
	}
	low, high := 0.0, math.Min(1, 3*w.rect.ThicknessMM/math.Max(biggest, 1e-12))
	start := floats.Dot(w.res, dx)
	floats.AddScaled(w.x, high, dx)
	w.balance(force, true)
	end := floats.Dot(w.res, dx)
	if !(start > 0) || math.Abs(end) < 0.8*start {
		return
	}
	at, fl, fh := high, start, end
	for range 6 {
		if fh > 0 && !math.IsNaN(fh) { // still downhill: the step was cut short
			break
		}
		next := low + math.Max(0.05, math.Min(0.7, fl/(fl-fh)))*(high-low)
		if math.IsNaN(fh) {
			next = low + 0.2*(high-low)
		}
		floats.AddScaled(w.x, next-at, dx)
		at = next
		w.balance(force, false)
		f := floats.Dot(w.res, dx)
		if math.Abs(f) < 0.5*start {
			break
		}
		if f > 0 {
			low, fl = at, f
		} else {
			high, fh = at, f
		}
	}
	w.balance(force, true)
}

// ramp goes from one force to another in steps that halve where they must.
func (w *Work) ramp(from, to float64, steps int) error {
	at, step := from, (to-from)/float64(steps)
	least := math.Abs(to-from) / 2000
	scale := math.Max(math.Abs(from), math.Abs(to))
	for math.Abs(to-at) > 1e-9*scale {
		if math.Abs(step) > math.Abs(to-at)*0.999 {
			step = to - at
		}
		it, ok := w.settle(at+step, scale)
		if !ok {
			if step /= 2; math.Abs(step) < least {
				return ErrNoBalance
			}
			continue
		}
		at += step
		if w.load != nil {
			w.squeeze(at)
		}
		if it < 7 {
			step *= 1.5
		}
	}
	for range squeezes {
		if w.load == nil || w.squeeze(to) < squeezed*w.law.YieldMPa {
			break
		}
		if _, ok := w.settle(to, scale); !ok {
			return ErrNoBalance
		}
	}
	return nil
}

// Push brings a tip at a place to a force, N, positive from behind.
func (w *Work) Push(xMM, yMM float64, tip Tip, forceN float64) error {
	w.load = w.touchAt(xMM, yMM, tip, math.Copysign(1, forceN))
	w.side = w.load.push
	return w.ramp(0, forceN, 5)
}

// Release takes a force away.
func (w *Work) Release(forceN float64) error {
	low := 0.0
	if w.load.even == nil {
		low = 0.03 * forceN
	}
	if err := w.ramp(forceN, low, 3); err != nil {
		return err
	}
	w.load = nil
	w.squeeze(0)
	if _, ok := w.settle(0, math.Abs(forceN)); !ok {
		return ErrNoBalance
	}
	return nil
}

// Press brings an even pressure on the back to mpa.
func (w *Work) Press(mpa float64, steps int) error {
	from := w.pressure
	scale := math.Abs(mpa) * w.rect.WidthMM * w.rect.HeightMM
	for i := 1; i <= steps; i++ {
		w.pressure = from + (mpa-from)*float64(i)/float64(steps)
		if _, ok := w.settle(0, scale); !ok {
			return ErrNoBalance
		}
	}
	return nil
}
