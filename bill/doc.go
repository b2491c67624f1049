// Package bill turns a finished job into its invoice: who sells and buys, the lines of the quote or edited ones, tax, payment, the electronic
// document and the paper.
//
// In: the house, the buyer, lines of net amounts in minor units, the house's taxes. Out: an invoice.Invoice with its sums, and the files of
// the paper that is kept: invoice.json (the struct), invoice.pdf, and invoice.xml where the document meets EN 16931. Where it does not, the
// broken rules are told, so that the house can fill in what is missing or send the paper alone.
//
// Limits: one rate of tax on all lines (the sum where the house has several); lines are single pieces, what they rest on stands in their
// description; a negative line becomes an allowance.
package bill
