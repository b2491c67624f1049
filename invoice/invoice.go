package invoice

import (
	"fmt"
	"strings"

	"fairmetal/money"
)

// Kind is the document's code of UNTDID 1001.
type Kind string

const (
	Commercial Kind = "380"
	CreditNote Kind = "381"
)

// Category is the VAT category code of UNTDID 5305.
type Category string

const (
	Standard      Category = "S" // any rate above 0
	Zero          Category = "Z"
	Exempt        Category = "E"  // small businesses too; wants a reason
	ReverseCharge Category = "AE" // the buyer owes the tax; wants both VAT numbers
)

// Micro is a decimal in millionths: 3.25 is 3_250_000.
type Micro int64

// microDecimals of a Micro.
const microDecimals = 6

// ParseMicro reads a plain decimal of at most six decimals.
func ParseMicro(s string) (Micro, error) {
	v, err := money.ParseFixed(s, microDecimals)
	return Micro(v), err
}

// String is the shortest plain decimal.
func (m Micro) String() string {
	return strings.TrimSuffix(strings.TrimRight(money.FormatFixed(int64(m), microDecimals), "0"), ".")
}

// Invoice is one document. Dates are written 2026-11-25; empty fields are left out. In brackets the standard's business terms.
type Invoice struct {
	Kind           Kind        `json:"kind"`
	Number         string      `json:"number"`    // [BT-1]
	Issued         string      `json:"issued"`    // [BT-2]
	Due            string      `json:"due"`       // [BT-9]
	Delivered      string      `json:"delivered"` // [BT-72] when the work was handed over
	From           string      `json:"from"`      // [BT-73] or the period of it
	To             string      `json:"to"`        // [BT-74]
	Currency       string      `json:"currency"`  // [BT-5]
	Note           string      `json:"note"`      // [BT-22]
	BuyerReference string      `json:"buyer_reference"`
	OrderReference string      `json:"order_reference"` // [BT-13]
	Preceding      Preceding   `json:"preceding"`       // what a credit note corrects [BG-3]
	Seller         Party       `json:"seller"`
	Buyer          Party       `json:"buyer"`
	Pay            Payment     `json:"pay"`
	Allowances     []Allowance `json:"allowances"`
	Lines          []Line      `json:"lines"`
	Exemptions     []Exemption `json:"exemptions"`
	PrepaidMinor   int64       `json:"prepaid_minor"`  // [BT-113]
	RoundingMinor  int64       `json:"rounding_minor"` // [BT-114] cash rounding
	Taxes          []Tax       `json:"taxes"`          // computed
	Totals         Totals      `json:"totals"`         // computed
}

// Preceding names an earlier invoice.
type Preceding struct {
	Number string `json:"number"`
	Issued string `json:"issued"`
}

// Party is seller or buyer.
type Party struct {
	Name           string `json:"name"` // as registered
	TradingName    string `json:"trading_name"`
	VAT            string `json:"vat"`        // with the country's letters: DE123456789
	TaxNumber      string `json:"tax_number"` // local tax registration, of the seller
	LegalID        string `json:"legal_id"`   // register number
	ID             string `json:"id"`         // any other number that the parties know: a seller without VAT number and register needs one
	Endpoint       string `json:"endpoint"`   // electronic address
	EndpointScheme string `json:"endpoint_scheme"`
	Street         string `json:"street"`
	Extra          string `json:"extra"`
	City           string `json:"city"`
	Postcode       string `json:"postcode"`
	Region         string `json:"region"`
	Country        string `json:"country"` // ISO 3166-1, two capitals
	Contact        string `json:"contact"`
	Phone          string `json:"phone"`
	Email          string `json:"email"`
}

// Means of payment of UNTDID 4461.
const (
	CreditTransfer = "30"
	SEPATransfer   = "58"
	Cash           = "10"
)

// Payment says how and till when.
type Payment struct {
	Means       string `json:"means"` // code of UNTDID 4461, "" when nothing is to pay
	IBAN        string `json:"iban"`
	BIC         string `json:"bic"`
	AccountName string `json:"account_name"`
	Reference   string `json:"reference"` // remittance information [BT-83]
	Terms       string `json:"terms"`     // [BT-20]
}

// Allowance takes off the sum of the lines, or with Charge adds to it.
type Allowance struct {
	Charge      bool       `json:"charge"`
	Reason      string     `json:"reason"`
	AmountMinor int64      `json:"amount_minor"` // 0 or more; Compute fills it in from Percent
	Percent     money.Rate `json:"percent"`      // of BaseMinor, 0: an amount
	BaseMinor   int64      `json:"base_minor"`
	Category    Category   `json:"category"`
	Rate        money.Rate `json:"rate"`
}

// Line is one position.
type Line struct {
	ID          string     `json:"id"`
	Note        string     `json:"note"`
	Name        string     `json:"name"`
	Description string     `json:"description"`
	Quantity    Micro      `json:"quantity"`
	Unit        string     `json:"unit"`       // UN/ECE recommendation 20: HUR hours, C62 pieces, KMT kilometres
	Price       Micro      `json:"price"`      // net, major units of the currency, 0 or more
	PriceBase   Micro      `json:"price_base"` // number of units that Price is for; 0: one
	NetMinor    int64      `json:"net_minor"`  // computed
	Category    Category   `json:"category"`
	Rate        money.Rate `json:"rate"`
}

// Exemption is the reason of a category without tax.
type Exemption struct {
	Category Category `json:"category"`
	Code     string   `json:"code"` // VATEX list, optional
	Reason   string   `json:"reason"`
}

// Tax is one row of the VAT breakdown.
type Tax struct {
	Category  Category   `json:"category"`
	Rate      money.Rate `json:"rate"`
	BaseMinor int64      `json:"base_minor"`
	TaxMinor  int64      `json:"tax_minor"`
	Code      string     `json:"code"`
	Reason    string     `json:"reason"`
}

// Totals of the document.
type Totals struct {
	LineMinor      int64 `json:"line_minor"`
	AllowanceMinor int64 `json:"allowance_minor"`
	ChargeMinor    int64 `json:"charge_minor"`
	NetMinor       int64 `json:"net_minor"`
	TaxMinor       int64 `json:"tax_minor"`
	GrossMinor     int64 `json:"gross_minor"`
	PayableMinor   int64 `json:"payable_minor"`
}

// exponent of the currency. The standard's amounts have at most two decimals (BR-DEC), so fils and the like cannot be carried.
func exponent(currency string) (int, error) {
	exp, err := money.Exponent(currency)
	if err == nil && exp > 2 {
		err = fmt.Errorf("amounts in %s have %d decimals, the standard carries two; invoice in another currency", currency, exp)
	}
	return exp, err
}
