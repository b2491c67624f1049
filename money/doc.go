// Package money holds amounts in whole minor units of an ISO 4217 currency, taxes on them, rounding and fair division.
//
// In: int64 minor units and a currency code (yen have none, euro cents, Kuwaiti fils in thousandths). Out: exact sums, taxes rounded
// half away from zero to the minor unit, texts. No floating point anywhere; what does not fit is an error, never a wrapped number.
//
// Rounding half away from zero is the commercial rule of EN 16931 (its worked example, 25 % of 1460.50 is 365.13) and treats a credit
// note as the exact mirror of its invoice. Whether tax is rounded per line or per sum is left to the member states (Council Directive
// 2006/112/EC; CJEU C-484/06, both from memory); EN 16931 wants it per sum of one category and rate (BR-CO-17).
//
//	net, _ := money.Parse("100.00", "EUR")
//	vat, _ := money.BasisPoints(1900).On(net) // 19.00 EUR
//	gross, _ := net.Add(vat)
//	gross.Format("de")                        // 119,00 € (with a no-break space)
package money
