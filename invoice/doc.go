// Package invoice writes, reads and checks electronic invoices and credit notes of the European standard EN 16931 in UBL 2.1.
//
// In: who sells, who buys, lines with quantity, price and VAT category, allowances, how to pay. Out: the sums (Compute), the document
// (XML), the same struct from a document (Read), and what breaks the standard's business rules (Check), each by its published number.
//
// Amounts are int64 minor units of the invoice currency; quantities and unit prices are decimals in millionths (Micro); VAT is rounded
// once for each category and rate. The VAT categories are S (standard and reduced), Z (zero), E (exempt) and AE (reverse charge); the
// others are read but not checked. Of line allowances and price discounts only their effect on the line's net amount is read. Reading
// is bounded, takes no document type definition and fetches nothing. The caller keeps the sequence of numbers without gaps; an issued
// invoice is never deleted but credited in full (Credit).
//
//	inv := invoice.Invoice{Kind: invoice.Commercial, Number: "2026-0001", Issued: "2026-11-25", Currency: "EUR", ...}
//	err := inv.Compute()
//	xml, err := inv.XML() // *Rejected lists the rules that it breaks
package invoice
