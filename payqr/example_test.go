package payqr_test

import (
	"fmt"

	"fairmetal/payqr"
)

func Example() {
	ref, _ := payqr.MakeReference("2026-0001")
	p, _ := payqr.Transfer{Name: "Fairmetal Workshop", IBAN: "DE89 3704 0044 0532 0130 00", AmountMinor: 35352, Reference: ref}.Payload()
	fmt.Println(p)
	s, _ := payqr.Encode(p)
	fmt.Println("version", s.Version, "with", s.Size, "modules a side")
	// Output:
	// BCD
	// 002
	// 1
	// SCT
	//
	// Fairmetal Workshop
	// DE89370400440532013000
	// EUR353.52
	//
	// RF3120260001
	// version 5 with 45 modules a side
}
