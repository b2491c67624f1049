package web_test

import (
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strings"
	"testing"

	"fairmetal/house"
	"fairmetal/job"
	"fairmetal/quote"
	"fairmetal/rack"
	"fairmetal/route"
	"fairmetal/trim"
	"fairmetal/workshop"
)

// sends fills a section's form with what the page shows, and changes some of it.
func sends(page, section string, change map[string]string) url.Values {
	_, page, _ = strings.Cut(page, `id="`+section+`"`)
	page, _, _ = strings.Cut(page, "</form>")
	out := url.Values{}
	for _, part := range strings.Split(page, ` name="`)[1:] {
		name, _, _ := strings.Cut(part, `"`)
		if v := fields(page, name); len(v) > 0 {
			out.Set(name, v[0])
		}
		if _, options, ok := strings.Cut(part, ">"); ok && strings.HasPrefix(options, "<option") {
			v := ""
			if _, before, ok := strings.Cut(options, "selected"); ok {
				head := options[:len(options)-len(before)-len("selected")]
				v, _, _ = strings.Cut(head[strings.LastIndex(head, `value="`)+7:], `"`)
			}
			out.Set(name, v)
		}
	}
	for k, v := range change {
		out.Set(k, v)
	}
	return out
}

// TestHouse: settings are kept; a wrong one is told beside its field with everything typed still there; a save on an old state is told.
func TestHouse(t *testing.T) {
	y := openYard(t)
	old := y.get("/house")
	y.must("/house/house", sends(old, "house", map[string]string{"name": "Fennel Yard Dents", "iban": "DE89 3704 0044 0532 0130 00", "inches": "yes"}))
	set, err := workshop.New(y.st).Settings(t.Context())
	if err != nil || set.House.Name != "Fennel Yard Dents" || set.House.IBAN != "DE89370400440532013000" || !set.House.Inches || set.House.PayDays != house.Default().PayDays {
		t.Errorf("%+v, %v", set.House, err)
	}
	status, _, body := y.post("/house/house", sends(y.get("/house"), "house", map[string]string{"city": "Nowhere", "iban": "DE00"}))
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `value="Nowhere"`) || !strings.Contains(body, `value="DE00" `) || !strings.Contains(body, "aria-invalid") {
		t.Errorf("a wrong account: %d", status)
	}
	status, _, body = y.post("/house/house", sends(old, "house", map[string]string{"city": "Elsewhere"}))
	if status != http.StatusConflict || !strings.Contains(body, `value="Elsewhere"`) {
		t.Errorf("an old state: %d", status)
	}
	y.must("/house/rates", sends(y.get("/house"), "rates", map[string]string{"hourly": "92,50", "tax1": "VAT", "rate1": "7.5"}))
	if set, err = workshop.New(y.st).Settings(t.Context()); err != nil || set.Rates.HourlyMinor != 9250 || len(set.Rates.Taxes) != 1 || set.Rates.Taxes[0].RateBP != 750 || set.Rates.Trim["door"] != quote.DefaultRates().Trim["door"] {
		t.Errorf("%+v, %v", set.Rates, err)
	}
	if status, _, _ := y.post("/house/rates", sends(y.get("/house"), "rates", map[string]string{"hourly": "much"})); status != http.StatusUnprocessableEntity {
		t.Errorf("a word for an amount: %d", status)
	}
	y.must("/house/limits", sends(y.get("/house"), "limits", map[string]string{"slope": "1.7"}))
	if set, err = workshop.New(y.st).Settings(t.Context()); err != nil || set.Limits.SlopeMRad != 1.7 {
		t.Errorf("%+v, %v", set.Limits, err)
	}
	if status, to, _ := y.post("/lang", url.Values{"lang": {"de"}}); status != http.StatusSeeOther || to != "/house" {
		t.Errorf("language: %d %s", status, to)
	}
}

// TestRack: a tool is added, changed and removed; the rack's own check refuses; bars follow a renamed tip.
func TestRack(t *testing.T) {
	y := openYard(t)
	now := func() rack.Rack {
		set, err := workshop.New(y.st).Settings(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return set.Rack
	}
	page := y.get("/rack")
	has(t, page, "ball tip 5 mm", "Glues", "/prints", "/board")
	y.must("/rack/tabs", url.Values{"rev": {"0"}, "i": {"new"}, "name": {"my tab"}, "length": {"33"}, "width": {"22,5"}, "do": {"save"}})
	n := len(now().Tabs)
	if got := now().Tabs[n-1]; got != (rack.Tab{Name: "my tab", LengthMM: 33, WidthMM: 22.5}) {
		t.Errorf("%+v", got)
	}
	status, _, body := y.post("/rack/tabs", url.Values{"rev": {"1"}, "i": {"new"}, "name": {"huge tab"}, "length": {"3000"}, "width": {"2"}, "do": {"save"}})
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "3000") || !strings.Contains(body, "huge tab") {
		t.Errorf("an impossible tab: %d", status)
	}
	y.must("/rack/tips", url.Values{"rev": {"1"}, "i": {"3"}, "name": {"my ball"}, "radius": {"5"}, "hardness": {"steel"}, "do": {"save"}})
	if b := now().Bars[1]; len(b.Tips) != 2 || b.Tips[0] != "my ball" {
		t.Errorf("bars do not follow: %+v", b)
	}
	y.must("/rack/tips", url.Values{"rev": {"2"}, "i": {"3"}, "do": {"remove"}})
	if b := now().Bars[1]; len(b.Tips) != 1 || len(now().Tips) != 5 {
		t.Errorf("%+v, %d tips", b, len(now().Tips))
	}
	if status, _, _ := y.post("/rack/tips", url.Values{"rev": {"0"}, "i": {"0"}, "name": {"x"}, "radius": {"5"}, "do": {"save"}}); status != http.StatusConflict {
		t.Errorf("an old state: %d", status)
	}
}

// TestCosts: trim parts are added, changed and removed, the body shop's figures changed; the lists' own checks refuse; offers take both.
func TestCosts(t *testing.T) {
	y := openYard(t)
	now := func() workshop.Settings {
		set, err := workshop.New(y.st).Settings(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return set
	}
	has(t, y.get("/house/trim"), "door trim", "from memory", "A side airbag sensor")
	if set := now(); set.Trim != nil || set.Books(job.Job{}).Paint != nil {
		t.Errorf("looking made a list: %+v", set)
	}
	j, c := measured(t, y.st, door, "before")
	usual, err := workshop.New(y.st).Reprice(t.Context(), j.ID, c.ID)
	if err != nil {
		t.Fatal(err)
	}
	y.must("/house/trim/door", url.Values{"rev": {"0"}, "i": {"new"}, "name": {"ladder rail"}, "off": {"20"}, "on": {"32,5"}, "spread": {"0.2"}, "do": {"save"}})
	doors := now().Trim.For("door")
	if n := len(doors.Parts); n != 3 || doors.Parts[2] != (trim.Part{Panel: "door", Text: "ladder rail", OffMin: 20, OnMin: 32.5, Spread: 0.2}) || len(now().Trim.Parts) != len(trim.Default().Parts)+1 {
		t.Errorf("%+v", doors)
	}
	status, _, body := y.post("/house/trim/door", url.Values{"rev": {"1"}, "i": {"0"}, "name": {"door trim"}, "off": {"2000"}, "do": {"save"}})
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `value="2000"`) || !strings.Contains(body, "0 to 1440") {
		t.Errorf("2000 minutes: %d", status)
	}
	y.must("/house/trim/door", url.Values{"rev": {"1"}, "i": {"0"}, "do": {"remove"}})
	if doors := now().Trim.For("door"); len(doors.Parts) != 2 || doors.Parts[0].Text == "door trim" {
		t.Errorf("%+v", doors)
	}
	if status, _, _ := y.post("/house/trim/door", url.Values{"rev": {"1"}, "i": {"0"}, "name": {"x"}, "do": {"save"}}); status != http.StatusConflict {
		t.Errorf("an old state: %d", status)
	}
	y.must("/house/paint/paint-door", sends(y.get("/house/trim"), "paint-door", map[string]string{"area": "180"}))
	y.must("/house/paint/shop", sends(y.get("/house/trim"), "shop", map[string]string{"body": "120,50"}))
	want := route.Default()
	own := want.Panels["door"]
	own.AreaDM2 = 180
	want.Panels["door"], want.BodyHourMinor = own, 12050
	if got := *now().Paint; !reflect.DeepEqual(got, want) {
		t.Errorf("%+v", got)
	}
	if status, _, body := y.post("/house/paint/shop", sends(y.get("/house/trim"), "shop", map[string]string{"workday": "5"})); status != http.StatusUnprocessableEntity || !strings.Contains(body, "a working day of 5 minutes") {
		t.Errorf("a day of five minutes: %d", status)
	}
	st, err := workshop.New(y.st).Reprice(t.Context(), j.ID, c.ID)
	if err != nil {
		t.Fatal(err)
	}
	if st.Basis.Trim.Minutes != 12+52.5 || st.Basis.Paint.NetMinor <= usual.Basis.Paint.NetMinor || len(st.Basis.Paint.Taxes) != len(now().Rates.Taxes) {
		t.Errorf("trim %+v, paint %+v, before %+v", st.Basis.Trim, st.Basis.Paint, usual.Basis.Paint)
	}
	arrive := y.get("/jobs/" + j.ID + "/arrive")
	has(t, arrive, "Further trim comes off", "glass in the way")
	y.must("/jobs/"+j.ID+"/arrive", url.Values{"rev": fields(arrive, "rev"), "person_rev": fields(arrive, "person_rev"), "vehicle_rev": fields(arrive, "vehicle_rev"), "name": {"Ada Example"}, "vehicle": {door.Vehicle}, "kind": {"door"}, "panel": {door.Panel}, "material": {"steel"}, "sheet": {"0.7"}, "trim": {"glass in the way"}, "do": {"go"}})
	if b, err := y.st.Attachment(t.Context(), j.ID, workshop.StandingName(c.ID)); err != nil {
		t.Error(err)
	} else if more, err := workshop.ReadStanding(b); err != nil || more.Basis.Trim.Minutes != 12+52.5+40 {
		t.Errorf("glass in the way: %+v, %v", more.Basis.Trim, err)
	}
	if !slices.ContainsFunc(st.Quote.Steps, func(s quote.Step) bool { return s.Text == "take off what is in the way and refit it" }) {
		t.Errorf("%+v", st.Quote.Steps)
	}
}

// TestOwnWordsInAnotherLanguage: our names of tools and trim are shown in German and, saved as they were shown, stay what every language
// knows; what was written anew stays as written.
func TestOwnWordsInAnotherLanguage(t *testing.T) {
	y := openYard(t)
	h := house.Default()
	h.Lang = "de"
	if err := y.st.SaveSetting(t.Context(), workshop.HouseSetting, 0, h); err != nil {
		t.Fatal(err)
	}
	has(t, y.get("/rack"), `value="weiche Kappe 12 mm"`, `value="Kugelspitze 5 mm, feine Spitze 2½ mm"`)
	has(t, y.get("/house/trim"), `value="Türverkleidung"`)
	y.must("/rack/tips", url.Values{"i": {"0"}, "rev": {"0"}, "do": {"save"}, "name": {"weiche Kappe 12 mm"}, "radius": {"14"}, "hardness": {"rubber"}})
	y.must("/rack/tips", url.Values{"i": {"1"}, "rev": {"1"}, "do": {"save"}, "name": {"Stößel"}, "radius": {"10"}, "hardness": {"steel"}})
	y.must("/rack/bars", url.Values{"i": {"0"}, "rev": {"2"}, "do": {"save"}, "name": {"kurzer Hebel 300 mm"}, "length": {"300"}, "reach": {"250"}, "gap": {"30"}, "tips": {"weiche Kappe 12 mm, Stößel"}})
	var own rack.Rack
	if _, err := y.st.Setting(t.Context(), workshop.RackSetting, &own); err != nil {
		t.Fatal(err)
	}
	if own.Tips[0].Name != "soft cap 12 mm" || own.Tips[0].RadiusMM != 14 || own.Tips[1].Name != "Stößel" || own.Bars[0].Name != "short bar 300 mm" || strings.Join(own.Bars[0].Tips, "|") != "soft cap 12 mm|Stößel" {
		t.Errorf("%+v, %+v", own.Tips[:2], own.Bars[0])
	}
}
