// Package house holds what the workshop says of itself: its name on papers, its bank, its usual texts and limits. It is filled in once
// and printed on every paper.
package house

import (
	"fmt"
	"strings"

	"fairmetal/payqr"
)

// House is the workshop.
type House struct {
	Name      string `json:"name"`
	Street    string `json:"street"`
	Postcode  string `json:"postcode"`
	City      string `json:"city"`
	Country   string `json:"country"` // ISO 3166-1 alpha-2
	Phone     string `json:"phone"`
	Email     string `json:"email"`
	TaxID     string `json:"tax_id"`   // VAT identifier
	Register  string `json:"register"` // number in the trade register, where there is one
	IBAN      string `json:"iban"`
	BIC       string `json:"bic"`
	Lang      string `json:"lang"` // of the app and, where a person has none, of papers
	PayDays   int    `json:"pay_days"`
	QuoteDays int    `json:"quote_days"`
	Paint     string `json:"paint"` // for whom fairness is judged: a paint of package fair
	Inches    bool   `json:"inches"`
	// Texts that are printed as they stand; empty ones take the usual text in the paper's language.
	Warranty string `json:"warranty"`
	Care     string `json:"care"`
	Consent  string `json:"consent"`
	// Receives e-invoices by the Peppol network's rules or the like: scheme and address, both optional.
	EndpointScheme string `json:"endpoint_scheme"`
	Endpoint       string `json:"endpoint"`
}

// Default is a workshop that has not said anything yet.
func Default() House {
	return House{Name: "Fairmetal workshop", Country: "DE", Lang: "", PayDays: 14, QuoteDays: 30, Paint: "black"}
}

// Address is the house's address as it stands on a letter.
func (h House) Address() []string {
	var out []string
	for _, l := range []string{h.Street, strings.TrimSpace(h.Postcode + " " + h.City)} {
		if l != "" {
			out = append(out, l)
		}
	}
	return out
}

// Usual texts; the reader's language has its own of each.
const (
	UsualCare     = "Let the paint rest for a day before it is washed by machine. Wash by hand with much water for a week, and keep heat, polish and films away from the place that long."
	UsualWarranty = "We stand behind this work for two years: should metal that we moved move back, or paint that we worked under come off there, we put it right. Damage from new blows, and paint that was repainted before, are not covered. Your rights by law are not touched."
)

// CareText is what the customer minds in the first days: the house's own words, else the usual ones in the reader's language.
func (h House) CareText(t func(english string) string) string {
	if h.Care != "" {
		return h.Care
	}
	return t(UsualCare)
}

// WarrantyText is what the house promises.
func (h House) WarrantyText(t func(english string) string) string {
	if h.Warranty != "" {
		return h.Warranty
	}
	return t(UsualWarranty)
}

// FieldError names the field that has to be corrected.
type FieldError struct{ Field, Text string }

func (e *FieldError) Error() string { return e.Text }

// Check tidies the texts and says what is missing or impossible.
func (h *House) Check() error {
	for _, f := range []struct {
		name string
		v    *string
		most int
	}{{"name", &h.Name, 120}, {"street", &h.Street, 120}, {"postcode", &h.Postcode, 20}, {"city", &h.City, 100}, {"country", &h.Country, 2}, {"phone", &h.Phone, 40}, {"email", &h.Email, 200},
		{"tax_id", &h.TaxID, 30}, {"register", &h.Register, 60}, {"iban", &h.IBAN, 50}, {"bic", &h.BIC, 11}, {"warranty", &h.Warranty, 4000}, {"care", &h.Care, 4000}, {"consent", &h.Consent, 4000},
		{"endpoint_scheme", &h.EndpointScheme, 4}, {"endpoint", &h.Endpoint, 120}} {
		*f.v = strings.TrimSpace(*f.v)
		if len(*f.v) > f.most {
			return &FieldError{f.name, fmt.Sprintf("This text is longer than %d letters: shorten it.", f.most)}
		}
	}
	h.Country = strings.ToUpper(h.Country)
	if h.Name == "" {
		return &FieldError{"name", "Fill in the name of the workshop."}
	}
	if len(h.Country) != 2 {
		return &FieldError{"country", "The country is two letters, such as DE or GB."}
	}
	if h.IBAN != "" {
		iban, err := payqr.IBAN(h.IBAN)
		if err != nil {
			return &FieldError{"iban", err.Error()}
		}
		h.IBAN = iban
	}
	switch {
	case h.Lang != "" && h.Lang != "en" && h.Lang != "de":
		return &FieldError{"lang", "The app speaks English (en) and German (de)."}
	case h.PayDays < 0 || h.PayDays > 365:
		return &FieldError{"pay_days", "An invoice is due in 0 to 365 days."}
	case h.QuoteDays < 1 || h.QuoteDays > 365:
		return &FieldError{"quote_days", "A quote holds for 1 to 365 days."}
	case h.Paint != "black" && h.Paint != "dark" && h.Paint != "mid" && h.Paint != "pale":
		return &FieldError{"paint", "Choose how the usual paint shows a wobble."}
	}
	return nil
}
