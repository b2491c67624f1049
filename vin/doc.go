// Package vin reads a vehicle identification number: its letters, its check digit where one is asked for, the region, and the model
// years it may mean.
//
// In: what was typed or scanned. Out: the number in capitals, notes, or an error that names the wrong position (1 to 17). The check
// digit is binding in North America only (49 CFR 565.15(c)); elsewhere position 9 is the maker's to use, so a digit that does not fit is
// never a refusal, only a hint to look again. No maker is named: the package knows no table of them.
//
//	n, err := vin.Read("1M8GDM9AXKP042788")
//	n.Check                    // vin.Fits
//	n.Region                   // vin.NorthAmerica
//	n.Years                    // [1989]
package vin
