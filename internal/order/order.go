// Package order finds order statistics, as medians, without sorting all.
package order

import "cmp"

// Nth returns what v would hold at n if it were sorted, and turns v round so that nothing before n is larger and nothing behind smaller
// (Hoare's quickselect). NaN is not allowed.
func Nth[T cmp.Ordered](v []T, n int) T {
	for lo, hi := 0, len(v)-1; lo < hi; {
		// The middle of three keeps sorted input quick.
		a, b, c := v[lo], v[(lo+hi)/2], v[hi]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case n <= j:
			hi = j
		case n >= i:
			lo = i
		default:
			return v[n]
		}
	}
	return v[n]
}

// Median returns the middle of v, of an even number the upper one of both, and turns v round as Nth does. v must hold something.
func Median[T cmp.Ordered](v []T) T { return Nth(v, len(v)/2) }
