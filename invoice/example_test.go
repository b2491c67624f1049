package invoice_test

import (
	"fmt"

	"fairmetal/invoice"
	"fairmetal/money"
)

func Example() {
	inv := invoice.Invoice{Kind: invoice.Commercial, Number: "2026-0001", Issued: "2026-11-25", Due: "2026-12-09", Currency: "EUR",
		Seller: invoice.Party{Name: "Fairmetal Workshop", VAT: "DE123456789", Street: "Lane 1", City: "Small Town", Postcode: "01234", Country: "DE"},
		Buyer:  invoice.Party{Name: "Delivery Van Fleet", City: "Big Town"},
		Lines:  []invoice.Line{{Name: "Repair work", Quantity: 3_250_000, Unit: "HUR", Price: 85_000_000, Category: invoice.Standard, Rate: money.BasisPoints(1900)}}}
	if err := inv.Compute(); err != nil {
		fmt.Println(err)
	}
	fmt.Println(inv.Totals.NetMinor, inv.Totals.TaxMinor, inv.Totals.PayableMinor)
	_, err := inv.XML()
	fmt.Println(err)
	inv.Buyer.Country = "DE"
	_, err = inv.XML()
	fmt.Println(err)
	// Output:
	// 27625 5249 32874
	// the invoice breaks 1 of the standard's rules; BR-11: give the buyer's country (BT-55)
	// <nil>
}
