package vin_test

import (
	"fmt"

	"fairmetal/vin"
)

func Example() {
	n, _ := vin.Read("1M8-GDM9AXKP 042788")
	fmt.Println(n.Text, n.Region, n.Check, n.Years)
	_, err := vin.Read("1M8GDM9AXKPO42788")
	fmt.Println(err)
	// Output:
	// 1M8GDM9AXKP042788 North America fits [1989]
	// position 12 is the letter O, which these numbers never hold; it is probably the digit 0
}
