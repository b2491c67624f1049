package money_test

import (
	"fmt"

	"fairmetal/money"
)

func Example() {
	net, _ := money.Parse("249.99", "EUR")
	vat, _ := money.BasisPoints(1900).On(net)
	gross, _ := net.Add(vat)
	fmt.Println(vat, "of", gross)
	shares, _ := gross.Allocate([]int64{1, 1, 1})
	fmt.Println(shares)
	fmt.Println(gross.Format("en"))
	// Output:
	// 47.50 EUR of 297.49 EUR
	// [99.17 EUR 99.16 EUR 99.16 EUR]
	// €297.49
}
