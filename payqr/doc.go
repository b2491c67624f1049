// Package payqr writes the payload and the symbol of a SEPA credit transfer for the payer's banking app: EPC069-12, version 002 [EPC069].
//
// In: who is paid, account, amount in euro cents, reference. Out: the text (at most 331 bytes) and its QR modules at error correction M,
// at most version 13, with a quiet zone of 4 modules. Account numbers (ISO 13616) and creditor references (ISO 11649) are checked by
// their modulo 97. A payload beyond ASCII is UTF-8 and says so in the symbol; Plain spells names in ASCII, which no reader gets wrong.
//
//	p, err := payqr.Transfer{Name: "Fairmetal Fleet Repair", IBAN: "DE89 3704 0044 0532 0130 00", AmountMinor: 11900, Text: "2026-0001"}.Payload()
//	s, err := payqr.Encode(p)
//	s.Dark(x, y) // for x, y in 0 .. s.Size-1, quiet zone included
package payqr
