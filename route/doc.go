// Package route says what the same damage would cost by fill and paint, line by line, so that both ways can be laid side by side.
//
// In: an editable model of a body shop (JSON, read strictly), what is damaged and which neighbours would be blended. Out: lines of work,
// material and waiting in minor units of one currency, each with its sum in words; tax; total; days. The default figures are our own,
// from memory of the trade; put in those of a shop that you know.
//
// Money is int64 minor units; work is whole minutes; an amount is rounded half up to the minor unit in each line, tax once on the net sum
// (as in package quote).
package route
