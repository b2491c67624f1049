package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"

	"fairmetal/fair"
	"fairmetal/house"
	"fairmetal/job"
	"fairmetal/quote"
	"fairmetal/words"
	"fairmetal/workshop"
)

// houseView is the place where the house says what it is and how it works.
type houseView struct {
	Sections []section
	Langs    []words.Lang
}

// houseSettings are the house's settings as they are edited, each with its revision.
type houseSettings struct {
	house  house.House
	rates  quote.Rates
	limits fair.Limits
	revs   map[string]int64
}

func (a *App) houseSettings(ctx context.Context) (*houseSettings, error) {
	set, err := a.bench.Settings(ctx)
	if err != nil {
		return nil, err
	}
	s := &houseSettings{set.House, set.Rates, set.Limits, map[string]int64{}}
	for _, name := range []string{workshop.HouseSetting, workshop.RatesSetting, workshop.LimitsSetting} {
		var raw json.RawMessage
		if s.revs[name], err = a.records.Setting(ctx, name, &raw); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// sections are the forms of the page.
func (s *houseSettings) sections() []section {
	h, r, l := &s.house, &s.rates, &s.limits
	for len(r.Taxes) < 2 {
		r.Taxes = append(r.Taxes, quote.Tax{})
	}
	paint := (*string)(&l.Paint)
	rates := []field{textField("currency", "Currency (three letters)", &r.Currency), moneyField("hourly", "An hour of work", &r.HourlyMinor, r.Currency), moneyField("minimum", "Least charge", &r.MinimumMinor, r.Currency),
		moneyField("consumables", "Tabs, glue and tips, for each hit", &r.ConsumablesMinor, r.Currency), moneyField("travel", "Travel", &r.TravelMinor, r.Currency), moneyField("round", "Round the net sum to", &r.RoundToMinor, r.Currency)}
	for i := range r.Taxes[:2] {
		n := string(rune('1' + i))
		rates = append(rates, textField("tax"+n, "Tax "+n+": name", &r.Taxes[i].Name), percentField("rate"+n, "Tax "+n+": per cent", &r.Taxes[i].RateBP))
	}
	rates = append(rates, numberField("setup", "Setting up, minutes a job", &r.SetupMinutes), numberField("check", "Measuring and checking, minutes a round", &r.CheckMinutes),
		numberField("pace", "Own pace: minutes over the plan's", &r.Pace), numberField("spread", "Spread of it (0.2: a fifth)", &r.PaceSigma),
		moneyField("paintbase", "Fill and paint: base", &r.PaintRoute.BaseMinor, r.Currency), moneyField("paintmark", "Fill and paint: each mark", &r.PaintRoute.PerMarkMinor, r.Currency), moneyField("paintarea", "Fill and paint: each square decimetre", &r.PaintRoute.PerDM2Minor, r.Currency), wholeField("paintdays", "Fill and paint: days", &r.PaintRoute.Days))
	return []section{
		{ID: workshop.HouseSetting, Title: "The workshop", Hint: "Printed on every paper. An e-invoice needs name, address and VAT number.", Rev: s.revs[workshop.HouseSetting], Fields: []field{
			textField("name", "Name", &h.Name), textField("street", "Street", &h.Street), textField("postcode", "Postcode", &h.Postcode), textField("city", "Town", &h.City), textField("country", "Country (two letters)", &h.Country),
			textField("phone", "Phone", &h.Phone), textField("email", "E-mail", &h.Email), textField("tax_id", "VAT number", &h.TaxID), textField("register", "Number in the trade register", &h.Register), textField("iban", "IBAN", &h.IBAN), textField("bic", "BIC", &h.BIC),
			wholeField("pay_days", "Invoices are due in days", &h.PayDays), wholeField("quote_days", "Quotes hold for days", &h.QuoteDays), choiceField("lang", "Language of the app and of papers", &h.Lang, "", "en", "de"), checkField("inches", "Show inches beside millimetres", &h.Inches),
			textField("endpoint_scheme", "E-invoice address: scheme", &h.EndpointScheme), textField("endpoint", "E-invoice address", &h.Endpoint),
			areaField("warranty", "Warranty text (empty: the usual one)", &h.Warranty), areaField("care", "Care text (empty: the usual one)", &h.Care), areaField("consent", "Consent text (empty: the usual one)", &h.Consent)}},
		{ID: workshop.RatesSetting, Title: "Rates and taxes", Hint: "New captures are priced with these; offers made before stay as they are.", Rev: s.revs[workshop.RatesSetting], Fields: rates},
		{ID: workshop.LimitsSetting, Title: "Limits of the hand-over", Hint: "What still counts as fair in the striped light. The darker the paint, the less may be left.", Rev: s.revs[workshop.LimitsSetting], Fields: []field{
			choiceField("paint", "Usual paint", paint, string(fair.Black), string(fair.Dark), string(fair.Mid), string(fair.Pale)), numberField("slope", "Tilt of the metal left over, mrad", &l.SlopeMRad), numberField("short", "Curvature of short waves, 1/m", &l.ShortPerM), numberField("long", "Curvature of long waves, 1/m", &l.LongPerM), numberField("flaw", "Least flaw that is listed, um", &l.FlawUM)}},
	}
}

// check tells what of a section's record is missing or impossible, and returns what is saved.
func (s *houseSettings) check(id string) (any, error) {
	switch id {
	case workshop.HouseSetting:
		err := s.house.Check()
		return s.house, err
	case workshop.RatesSetting:
		var taxes []quote.Tax
		for _, t := range s.rates.Taxes {
			if t.RateBP != 0 {
				taxes = append(taxes, t)
			}
		}
		s.rates.Taxes = taxes
		data, err := json.Marshal(s.rates)
		if err != nil {
			return nil, err
		}
		return quote.ParseRates(data)
	}
	return s.limits, s.limits.Check()
}

func (a *App) housePage(w http.ResponseWriter, r *http.Request) {
	s, err := a.houseSettings(r.Context())
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.render(w, r, http.StatusOK, "house", view{Title: "House", Place: "house", Data: houseView{s.sections(), words.Langs}})
}

func (a *App) saveHouse(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	s, err := a.houseSettings(r.Context())
	if err != nil {
		a.fail(w, r, err)
		return
	}
	id := r.PathValue("section")
	all := s.sections()
	for i := range all {
		if all[i].ID != id {
			continue
		}
		// Another paint starts with that paint's usual limits.
		before := s.limits.Paint
		err := all[i].read(r)
		if id == workshop.LimitsSetting && s.limits.Paint != before {
			s.limits = fair.DefaultLimits(s.limits.Paint)
		}
		var v any
		if err == nil {
			v, err = s.check(id)
		}
		if err == nil {
			err = a.records.SaveSetting(r.Context(), id, all[i].Rev, v)
		}
		if err == nil {
			http.Redirect(w, r, "/house#"+id, http.StatusSeeOther)
			return
		}
		status := all[i].refuse(err, s.revs[id])
		a.render(w, r, status, "house", view{Title: "House", Place: "house", Data: houseView{all, words.Langs}})
		return
	}
	a.fail(w, r, &job.FieldError{Field: "section", Text: fmt.Sprintf("House has no section %q.", id)})
}

// setLang keeps the reader's language on their device.
func (a *App) setLang(w http.ResponseWriter, r *http.Request) {
	if !a.form(w, r) {
		return
	}
	http.SetCookie(w, &http.Cookie{Name: "lang", Value: string(words.Match(r.PostFormValue("lang"))), Path: "/", MaxAge: 365 * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	http.Redirect(w, r, "/house", http.StatusSeeOther)
}
