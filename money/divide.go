package money

import (
	"fmt"
	"math/big"
	"sort"
)

// Cash rounds to what coins can pay, half away from zero: a step of 5 for Swiss francs, 100 for Swedish kronor (common practice of
// those countries, from memory). The difference is rounded - exact and goes on the paper as its own line (BT-114 in EN 16931).
func (a Amount) Cash(stepMinor int64) (rounded, difference Amount, err error) {
	if stepMinor < 1 || stepMinor > MaxMinor {
		return Amount{}, Amount{}, fmt.Errorf("coins of %d minor units do not exist; give 1 or more", stepMinor)
	}
	n, err := MulDiv(a.Minor, 1, stepMinor)
	if err != nil {
		return Amount{}, Amount{}, err
	}
	if rounded, err = bounded(n*stepMinor, a.Currency); err != nil {
		return Amount{}, Amount{}, err
	}
	difference, err = rounded.Sub(a)
	return rounded, difference, err
}

// Allocate divides an amount by weights without losing a unit: each part is its exact share cut towards zero, and the units left over
// go one each to the largest cut-off remainders, the earlier part first where they are equal (largest remainder method).
func (a Amount) Allocate(weights []int64) ([]Amount, error) {
	sum := new(big.Int)
	for i, w := range weights {
		if w < 0 {
			return nil, fmt.Errorf("weight %d is %d; weights are 0 or more", i+1, w)
		}
		sum.Add(sum, big.NewInt(w))
	}
	if sum.Sign() == 0 {
		return nil, fmt.Errorf("%s cannot be divided by no weights; give one above 0", a)
	}
	left, sign := a.Minor, int64(1)
	if left < 0 {
		left, sign = -left, -1
	}
	whole := big.NewInt(left)
	parts, rest := make([]Amount, len(weights)), make([]*big.Int, len(weights))
	for i, w := range weights {
		q, r := new(big.Int).QuoRem(new(big.Int).Mul(whole, big.NewInt(w)), sum, new(big.Int))
		parts[i], rest[i] = Amount{sign * q.Int64(), a.Currency}, r
		left -= q.Int64()
	}
	order := make([]int, len(weights))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return rest[order[i]].Cmp(rest[order[j]]) > 0 })
	// Fewer units are left than there are parts with a remainder, so every unit finds one.
	for _, i := range order[:left] {
		parts[i].Minor += sign
	}
	return parts, nil
}
