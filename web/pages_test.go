package web_test

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strconv"
	"strings"
	"testing"

	"fairmetal/job"
	"fairmetal/plan"
	"fairmetal/shot"
	"fairmetal/store"
	"fairmetal/vin"
	"fairmetal/words"
	"fairmetal/workshop"
)

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

// ask sends a request and gives status, where it leads to, and the page.
func (y yard) ask(r *http.Request) (int, string, string) {
	y.t.Helper()
	r.Host = "localhost"
	rec := httptest.NewRecorder()
	y.app.ServeHTTP(rec, r)
	return rec.Code, rec.Header().Get("Location"), rec.Body.String()
}

// sends posts a form that must be taken, and tells where it leads to.
func (y yard) sends(path string, form url.Values) string {
	y.t.Helper()
	code, to, body := y.post(path, form)
	if code != http.StatusSeeOther {
		y.t.Fatalf("POST %s: %d %s", path, code, body)
	}
	return to
}

// measured adds a measured capture of one low, 0.8 mm deep, to a job.
func (y yard) measured(jobID string) job.Capture {
	y.t.Helper()
	_, c := measured(y.t, y.st, y.job(jobID), "before")
	return c
}

// newJob makes a job by the form, as a technician does.
func (y yard) newJob(customer, vehicle, place string) job.Job {
	y.t.Helper()
	to := y.sends("/jobs", url.Values{"customer": {customer}, "vehicle": {vehicle}, "place": {place}})
	return y.job(strings.Split(to, "/")[2])
}

func TestNewJobKnowsItsPeople(t *testing.T) {
	d := openYard(t)
	one := d.newJob("Lindenhof Parcels", "Van 12", "roof-front")
	if one.Kind != "roof" || one.Record.Arrival.Side != "middle" || one.PersonID == "" || one.VehicleID == "" || one.Step != job.Arrive {
		t.Errorf("%+v", one)
	}
	// The same names find the same records; another panel of the vehicle needs nothing typed.
	two := d.newJob("lindenhof parcels", "van 12", "door-left")
	if two.PersonID != one.PersonID || two.VehicleID != one.VehicleID || two.Vehicle != "Van 12" {
		t.Errorf("%+v is not the same vehicle as %+v", two, one)
	}
	page := d.get("/jobs/new?job=" + one.ID)
	if !strings.Contains(page, `name="vehicle_id" value="`+one.VehicleID+`"`) || !strings.Contains(page, "data-submit") {
		t.Error("the page for another panel does not know the vehicle")
	}
	to := d.sends("/jobs", url.Values{"vehicle_id": {one.VehicleID}, "person_id": {one.PersonID}, "vehicle": {one.Vehicle}, "customer": {one.Customer}, "place": {"bonnet"}})
	if j := d.job(strings.Split(to, "/")[2]); j.VehicleID != one.VehicleID || j.Panel != "Bonnet" || j.Customer != "Lindenhof Parcels" {
		t.Errorf("%+v", j)
	}
	// A plate alone is a name; nothing at all is asked for, with what was typed kept.
	to = d.sends("/jobs", url.Values{"plate": {"FM-AB 12"}, "panel": {"Sill"}})
	if j := d.job(strings.Split(to, "/")[2]); j.Vehicle != "FM-AB 12" || j.Panel != "Sill" || j.Kind != "" {
		t.Errorf("%+v", j)
	}
	code, _, body := d.post("/jobs", url.Values{"customer": {"Brook Street Bakery"}})
	if code != http.StatusUnprocessableEntity || !strings.Contains(body, "Brook Street Bakery") || !strings.Contains(body, `role="alert"`) {
		t.Errorf("%d", code)
	}
}

// TestFind: names that fit are offered while somebody types, and a known customer's vehicles.
func TestFind(t *testing.T) {
	d := openYard(t)
	d.newJob("Lindenhof Parcels", "Van 12", "bonnet")
	d.newJob("Brook Street Bakery", "Van 3", "bonnet")
	for typed, want := range map[string]string{"par": `{"people":["Lindenhof Parcels"],"vehicles":[]}`, "lindenhof parcels": `{"people":["Lindenhof Parcels"],"vehicles":["Van 12"]}`, "nobody": `{"people":[],"vehicles":[]}`} {
		if got := strings.TrimSpace(d.get("/find?" + url.Values{"customer": {typed}}.Encode())); got != want {
			t.Errorf("%s: %s, want %s", typed, got, want)
		}
	}
}

// TestSignedInTheCustomersLanguage: a customer whose papers are German signs German texts on an English page.
func TestSignedInTheCustomersLanguage(t *testing.T) {
	d := openYard(t)
	j := d.newJob("Ada Example", "Van 12", "door-left")
	d.sends("/jobs/"+j.ID+"/arrive", arriveForm(j, "paperlang", "de", "do", "sign", "signname", "Ada Example"))
	c := d.measured(j.ID)
	d.sends("/jobs/"+j.ID+"/offer", url.Values{"rev": {itoa(d.job(j.ID).Rev)}, "capture": {c.ID}, "do": {"quote"}, "choice": {"all"}})
	if page := d.get("/jobs/" + j.ID + "/offer"); !strings.Contains(page, `<blockquote lang="de">Ich nehme`) || !strings.Contains(page, "The customer&#39;s yes") && !strings.Contains(page, "The customer's yes") {
		t.Error("the yes is not in the customer's language on a page in the reader's")
	}
	d.sends("/jobs/"+j.ID+"/accept", url.Values{"signname": {"Ada Example"}})
	j = d.job(j.ID)
	if !strings.HasPrefix(j.Record.Arrival.Consent.Text, "Ich bin") || !strings.Contains(j.Record.Deal.Accepted.Text, "Q-00001") || !strings.HasPrefix(j.Record.Deal.Accepted.Text, "Ich nehme") {
		t.Errorf("signed: %q, %q", j.Record.Arrival.Consent.Text, j.Record.Deal.Accepted.Text)
	}
}

// arriveForm is what the page sends of a job as it stands.
func arriveForm(j job.Job, more ...string) url.Values {
	v := url.Values{"rev": {itoa(j.Rev)}, "person_rev": {"m01"}, "vehicle_rev": {"m01"}, "name": {j.Customer}, "vehicle": {j.Vehicle}, "place": {j.Record.Arrival.Place}, "material": {"steel"}}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	return v
}

func TestArrivePage(t *testing.T) {
	d := openYard(t)
	j := d.newJob("Ada Example", "Van 12", "bonnet")
	path := "/jobs/" + j.ID + "/arrive"
	form := arriveForm(j, "says", "a branch fell on it", "um_0_0", "112", "um_4_3", "230", "vin", "1m8gdm9axkp042788", "access", "glass", "do", "go")
	if to := d.sends(path, form); to != "/jobs/"+j.ID+"/capture" {
		t.Errorf("leads to %s", to)
	}
	j = d.job(j.ID)
	if j.FilmUM != 230 || len(j.Record.Arrival.Readings) != 2 || j.Record.Arrival.Says != "a branch fell on it" || j.Step != job.Look || len(j.Record.Arrival.Access) != 1 {
		t.Errorf("%+v", j)
	}
	page := d.get(path)
	for _, want := range []string{"painted again", "North America", "1989", "Pedestrian-protection", "Glass is near", `value="230"`, "1M8GDM9AXKP042788"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	// A number that is no VIN is kept and told about, not refused.
	v, err := d.st.Vehicle(t.Context(), j.VehicleID)
	if err != nil {
		t.Fatal(err)
	}
	d.sends(path, arriveForm(j, "vin", "OIO123", "vehicle_rev", itoa(v.Rev)))
	if page := d.get(path); !strings.Contains(page, "OIO123") || !strings.Contains(page, "It is kept as typed") {
		t.Error("the wrong number is not told about")
	}
	// One wrong sign in a North American number: what it may be is shown.
	if v, err = d.st.Vehicle(t.Context(), j.VehicleID); err != nil {
		t.Fatal(err)
	}
	d.sends(path, arriveForm(d.job(j.ID), "vin", "1M8GDM9AXKP042778", "vehicle_rev", itoa(v.Rev)))
	if page := d.get(path); !strings.Contains(page, "Perhaps it is") {
		t.Error("the page does not say what the number may be")
	}
	// A save on an old revision is told, and what was typed is still in the form, ready to be saved on the new one.
	code, _, body := d.post(path, arriveForm(j, "says", "typed meanwhile", "vehicle_rev", "4"))
	j = d.job(j.ID)
	if code != http.StatusConflict || !strings.Contains(body, "typed meanwhile") || !strings.Contains(body, `name="rev" value="`+itoa(j.Rev)+`"`) {
		t.Errorf("%d, conflict page lacks what was typed", code)
	}
	// Nonsense in a cell is refused with the rest kept.
	code, _, body = d.post(path, arriveForm(j, "um_1_1", "99999", "says", "kept"))
	if code != http.StatusUnprocessableEntity || !strings.Contains(body, "kept") {
		t.Errorf("%d", code)
	}
}

func TestConsent(t *testing.T) {
	d := openYard(t)
	j := d.newJob("Ada Example", "Van 12", "bonnet")
	path := "/jobs/" + j.ID + "/arrive"
	if code, _, _ := d.post(path, arriveForm(j, "do", "sign", "signname", "")); code != http.StatusUnprocessableEntity {
		t.Errorf("nobody signed: %d", code)
	}
	j = d.job(j.ID)
	d.sends(path, arriveForm(j, "do", "sign", "signname", "Ada Example", "strokes", "[[[10,10],[50,20.5]]]"))
	j = d.job(j.ID)
	if c := j.Record.Arrival.Consent; !c.Given() || c.Name != "Ada Example" || len(c.Strokes) != 1 || !strings.Contains(c.Text, "can crack") {
		t.Errorf("%+v", c)
	}
	if page := d.get(path); !strings.Contains(page, "<polyline points=\"10.0,10.0 50.0,20.5 \"") {
		t.Error("the signature is not shown")
	}
	d.sends(path, arriveForm(j, "do", "unsign"))
	if d.job(j.ID).Record.Arrival.Consent.Given() {
		t.Error("the signature was not taken back")
	}
}

// TestFlawPhoto: a photo of a flaw is made small and loses what the camera wrote into it.
func TestFlawPhoto(t *testing.T) {
	d := openYard(t)
	j := d.newJob("Ada Example", "Van 12", "bonnet")
	m := image.NewRGBA(image.Rect(0, 0, 2400, 1200))
	for i := range m.Pix {
		m.Pix[i] = byte(i)
	}
	m.Set(0, 0, color.White)
	var pic bytes.Buffer
	if err := jpeg.Encode(&pic, m, nil); err != nil {
		t.Fatal(err)
	}
	// An EXIF block after the start marker, as cameras write it.
	exif := append([]byte{0xff, 0xe1, 0, 22}, "Exif\x00\x00SECRETPLACE123"...)
	data := append(append(append([]byte{}, pic.Bytes()[:2]...), exif...), pic.Bytes()[2:]...)
	var b bytes.Buffer
	mw := multipart.NewWriter(&b)
	for k, vs := range arriveForm(j, "flaw", "chip on the sill", "do", "flaw") {
		mw.WriteField(k, vs[0])
	}
	f, _ := mw.CreateFormFile("flawphoto", "IMG_1.jpg")
	f.Write(data)
	mw.Close()
	r := httptest.NewRequest("POST", "/jobs/"+j.ID+"/arrive", &b)
	r.Header.Set("Content-Type", mw.FormDataContentType())
	if code, to, body := d.ask(r); code != http.StatusSeeOther || !strings.HasSuffix(to, "#flaws") {
		t.Fatalf("%d %s %s", code, to, body)
	}
	j = d.job(j.ID)
	if len(j.Record.Arrival.Flaws) != 1 || j.Record.Arrival.Flaws[0].Text != "chip on the sill" {
		t.Fatalf("%+v", j.Record.Arrival.Flaws)
	}
	kept := d.get("/jobs/" + j.ID + "/files/" + j.Record.Arrival.Flaws[0].Photo)
	cfg, _, err := image.DecodeConfig(strings.NewReader(kept))
	if err != nil || cfg.Width != 1600 || strings.Contains(kept, "SECRETPLACE") {
		t.Errorf("%v, %d px wide", err, cfg.Width)
	}
	d.sends("/jobs/"+j.ID+"/arrive", arriveForm(j, "do", "drop-flaw-0"))
	if n := len(d.job(j.ID).Record.Arrival.Flaws); n != 0 {
		t.Errorf("%d flaws left", n)
	}
}

// TestOfferToYes: the price follows the choice, the quote is kept as a paper with its version, and the customer's link shows that one
// quote and takes one yes.
func TestOfferToYes(t *testing.T) {
	d := openYard(t)
	j := d.newJob("Ada Example", "Van 12", "door-left")
	c := d.measured(j.ID)
	path := "/jobs/" + j.ID + "/offer"
	page := d.get(path)
	for _, want := range []string{"Repair work", "Fill and paint", `value="m01"`, "Make the quote"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	form := func(do string, more ...string) url.Values {
		v := url.Values{"rev": {itoa(d.job(j.ID).Rev)}, "capture": {c.ID}, "do": {do}, "choice": {"all"}}
		for i := 0; i+1 < len(more); i += 2 {
			v.Set(more[i], more[i+1])
		}
		return v
	}
	// Over filler nothing can be offered, and with every mark left out there is nothing to offer.
	d.sends("/jobs/"+j.ID+"/arrive", arriveForm(d.job(j.ID), "um_0_0", "450"))
	if code, _, body := d.post(path, form("quote")); code != http.StatusUnprocessableEntity || !strings.Contains(body, "cannot be offered without paint") {
		t.Errorf("a quote over filler: %d", code)
	}
	d.sends("/jobs/"+j.ID+"/arrive", arriveForm(d.job(j.ID)))
	d.sends("/jobs/"+j.ID+"/eye", url.Values{"capture": {c.ID}, "do": {"ignore"}, "mark": {"m01"}})
	if code, _, body := d.post(path, form("quote")); code != http.StatusUnprocessableEntity || !strings.Contains(body, "nothing to offer") {
		t.Errorf("a quote without marks: %d", code)
	}
	d.sends("/jobs/"+j.ID+"/eye/undo", url.Values{"capture": {c.ID}})
	if code, _, _ := d.post(path, form("price", "choice", "some")); code != http.StatusUnprocessableEntity {
		t.Errorf("no mark ticked: %d", code)
	}
	d.sends(path, form("quote"))
	d.sends(path, form("quote"))
	j = d.job(j.ID)
	p, err := d.st.Paper(t.Context(), j.Record.Deal.Paper)
	if err != nil || p.Number != "Q-00001" || p.Version != 2 || p.TotalMinor <= 0 || j.Record.Deal.Capture != c.ID {
		t.Errorf("%+v, %v", p, err)
	}
	if pdf := d.get("/jobs/" + j.ID + "/files/" + p.ID + "/quote.pdf"); !strings.HasPrefix(pdf, "%PDF-") {
		t.Error("the quote is no PDF")
	}
	code, _, page := d.post("/jobs/"+j.ID+"/link", url.Values{})
	at := strings.Index(page, "/q/1-")
	if code != http.StatusOK || at < 0 {
		t.Fatalf("%d, no link", code)
	}
	link := page[at : at+len("/q/1-")+24]
	if strings.Contains(d.get(path), link) {
		t.Error("the link is shown a second time")
	}
	page = d.get(link)
	if !strings.Contains(page, "Q-00001") || strings.Contains(page, `href="/books"`) {
		t.Error("the customer's page lacks the quote or shows the workshop")
	}
	if pdf := d.get(link + "/quote.pdf"); !strings.HasPrefix(pdf, "%PDF-") {
		t.Error("the customer gets no PDF")
	}
	for _, wrong := range []string{"/q/1-aaaaaaaaaaaaaaaaaaaaaaaa", "/q/2-aaaaaaaaaaaaaaaaaaaaaaaa", "/q/x", link + "x"} {
		if code, _, _ := d.ask(httptest.NewRequest("GET", wrong, nil)); code != http.StatusNotFound {
			t.Errorf("%s: %d", wrong, code)
		}
	}
	if code, _, _ := d.post(link, url.Values{"signname": {""}}); code != http.StatusUnprocessableEntity {
		t.Errorf("nobody's yes: %d", code)
	}
	d.sends(link, url.Values{"signname": {"Ada Example"}})
	j = d.job(j.ID)
	if j.Step != job.Work || j.Record.Deal.How != "code" || j.Record.Deal.Accepted.Name != "Ada Example" || !strings.Contains(j.Record.Deal.Accepted.Text, "Q-00001, version 2") {
		t.Errorf("%+v", j.Record.Deal)
	}
	if p, _ := d.st.Paper(t.Context(), p.ID); p.State != "accepted" {
		t.Errorf("the paper is %s", p.State)
	}
	// A second yes changes nothing.
	d.sends(link, url.Values{"signname": {"Somebody Else"}})
	if n := d.job(j.ID).Record.Deal.Accepted.Name; n != "Ada Example" {
		t.Errorf("accepted by %s", n)
	}
	// A later capture does not take the offer's place on its page.
	later := d.measured(j.ID)
	if page := d.get(path); !strings.Contains(page, `name="capture" value="`+c.ID+`"`) {
		t.Error("the offer page shows another capture than the offer's")
	}
	if page := d.get(path + "?c=" + later.ID); !strings.Contains(page, `name="capture" value="`+later.ID+`"`) {
		t.Error("the other capture cannot be shown")
	}
	d.sends(path, form("decline", "why", "moved away"))
	if j = d.job(j.ID); !j.Declined || j.Step != job.Done || strings.Contains(d.get("/"), j.ID) {
		t.Error("a declined job stays on the bench")
	}
	d.sends(path, form("reopen"))
	if j = d.job(j.ID); j.Declined || j.Step != job.Offer {
		t.Errorf("%+v", j)
	}
}

// TestCorrections: what the eye corrects changes offer and list, what was measured stays, and undo brings it back.
func TestCorrections(t *testing.T) {
	d := openYard(t)
	j := d.newJob("Ada Example", "Van 12", "door-left")
	c := d.measured(j.ID)
	was := d.get("/captures/" + c.ID + "/seen.json")
	d.sends("/jobs/"+j.ID+"/eye", url.Values{"capture": {c.ID}, "do": {"split"}, "mark": {"m01"}})
	if now := d.get("/captures/" + c.ID + "/seen.json"); !strings.Contains(now, `"m01a"`) || !strings.Contains(now, `"m01b"`) {
		t.Error("the mark was not cut")
	}
	if m := d.get("/captures/" + c.ID + "/marks.json"); !strings.Contains(m, `"id": "m01"`) || strings.Contains(m, `"m01a"`) {
		t.Error("what was measured changed")
	}
	d.sends("/jobs/"+j.ID+"/eye", url.Values{"capture": {c.ID}, "do": {"ignore"}, "mark": {"m01a", "m01b"}})
	if page := d.get("/jobs/" + j.ID + "/offer"); strings.Contains(page, "Repair work") {
		t.Error("ignored marks are still priced")
	}
	if code, _, body := d.post("/jobs/"+j.ID+"/eye", url.Values{"capture": {c.ID}, "do": {"merge"}, "mark": {"m01"}}); code != http.StatusUnprocessableEntity || !strings.Contains(body, "Tick two marks") {
		t.Errorf("one mark merged: %d", code)
	}
	for range 2 {
		d.sends("/jobs/"+j.ID+"/eye/undo", url.Values{"capture": {c.ID}})
	}
	if d.get("/captures/"+c.ID+"/seen.json") != was {
		t.Error("undo does not bring the measured marks back")
	}
}

// TestHailDay: many panels in three fields, photos find their panel by the folder's name, and one quote is for several of them.
func TestHailDay(t *testing.T) {
	d := openYard(t)
	if code, _, body := d.post("/hail", url.Values{"customer": {"Lindenhof Parcels"}, "vehicles": {"Van 1"}}); code != http.StatusUnprocessableEntity || !strings.Contains(body, "Lindenhof") {
		t.Errorf("without panels: %d", code)
	}
	form := url.Values{"customer": {"Lindenhof Parcels"}, "vehicles": {"Van 1\r\nVan 12\r\n"}, "place": {"bonnet", "roof-front"}}
	to := d.sends("/hail", form)
	if again := d.sends("/hail", form); again != to {
		t.Errorf("%s, then %s", to, again)
	}
	jobs, err := d.st.FindJobs(t.Context(), store.Query{Limit: 100})
	if err != nil || len(jobs) != 4 {
		t.Fatalf("%d jobs, want 4 though the form was sent twice: %v", len(jobs), err)
	}
	var roofs []job.Job
	for _, j := range jobs {
		if j.Kind == "roof" {
			roofs = append(roofs, j)
		}
	}
	send := func(folder string) (int, string) {
		var b bytes.Buffer
		mw := multipart.NewWriter(&b)
		for k, v := range map[string]string{"folder": folder, "kind": "single", "distance": "450", "width": "800", "height": "600", "fine": "16", "coarse": "128", "profile": "sine"} {
			mw.WriteField(k, v)
		}
		for _, n := range []string{"u016-00.jpg", "v016-00.jpg"} {
			data, err := os.ReadFile("../inspection/testdata/one-ding/" + n)
			if err != nil {
				t.Fatal(err)
			}
			f, _ := mw.CreateFormFile("photos", n)
			f.Write(data)
		}
		mw.Close()
		r := httptest.NewRequest("POST", to+"/photos", &b)
		r.Header.Set("Content-Type", mw.FormDataContentType())
		code, _, body := d.ask(r)
		return code, body
	}
	if code, body := send("hail/Van 12/roof front"); code != http.StatusOK || !strings.Contains(body, "Van 12, Roof, front") {
		t.Errorf("%d %s", code, body)
	}
	if code, body := send("Van 3/roof"); code != http.StatusUnprocessableEntity || !strings.Contains(body, "No vehicle of the sheet") {
		t.Errorf("%d %s", code, body)
	}
	if page := d.get(to); !strings.Contains(page, "waits to be measured") {
		t.Error("the sheet does not show what waits")
	}
	var total int64
	ids := url.Values{}
	for _, j := range roofs {
		d.measured(j.ID)
		ids.Add("job", j.ID)
	}
	if page := d.get(to); !strings.Contains(page, "2 marks") {
		t.Error("the sheet does not count the marks")
	}
	if csv := d.get(to + "/sheet.csv"); !strings.Contains(csv, `"Van 12","Roof, front","1"`) {
		t.Errorf("%s", csv)
	}
	if code, _, _ := d.post(to+"/quote", url.Values{}); code != http.StatusUnprocessableEntity {
		t.Errorf("nothing ticked: %d", code)
	}
	d.sends(to+"/quote", ids)
	last, err := d.st.LastCaptures(t.Context(), ids["job"])
	if err != nil || len(last) != 2 {
		t.Fatalf("%+v, %v", last, err)
	}
	for _, c := range last {
		total += c.TotalMinor
	}
	one, two := d.job(roofs[0].ID), d.job(roofs[1].ID)
	p, err := d.st.Paper(t.Context(), one.Record.Deal.Paper)
	if err != nil || one.Record.Deal.Paper != two.Record.Deal.Paper || p.Number != "L-00001" || p.TotalMinor != total {
		t.Errorf("%+v, want %d: %v", p, total, err)
	}
	// One yes is for all of them.
	d.sends("/jobs/"+two.ID+"/accept", url.Values{"signname": {"Ada Example"}})
	if one, two = d.job(one.ID), d.job(two.ID); one.Step != job.Work || two.Step != job.Work || one.Record.Deal.Accepted.Name != "Ada Example" {
		t.Errorf("%+v %+v", one.Record.Deal, two.Record.Deal)
	}
	stranger := d.newJob("Brook Street Bakery", "Van 1", "bonnet")
	d.measured(stranger.ID)
	if code, _, body := d.post(to+"/quote", url.Values{"job": {one.ID, stranger.ID}}); code != http.StatusUnprocessableEntity || !strings.Contains(body, "one customer") {
		t.Errorf("two customers: %d", code)
	}
}

// TestPhotoCheck: one photo is looked at and told about before anything is sent for good.
func TestPhotoCheck(t *testing.T) {
	d := openYard(t)
	j := d.newJob("Ada Example", "Van 12", "bonnet")
	data, err := os.ReadFile("../inspection/testdata/one-ding/v016-00.jpg")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		data []byte
		want string
	}{{data, `"ok":true`}, {[]byte("no photo"), `"ok":false`}} {
		code, _, body := d.ask(httptest.NewRequest("POST", "/jobs/"+j.ID+"/check", bytes.NewReader(c.data)))
		if code != http.StatusOK || !strings.Contains(body, c.want) {
			t.Errorf("%d %s", code, body)
		}
	}
}

// TestSweepForm: a sweep is taken in with its direction, half of the photos for each way of the stripes.
func TestSweepForm(t *testing.T) {
	d := openYard(t)
	j := d.newJob("Ada Example", "Van 12", "bonnet")
	data, err := os.ReadFile("../inspection/testdata/one-ding/v016-00.jpg")
	if err != nil {
		t.Fatal(err)
	}
	send := func(n int) (int, string) {
		var b bytes.Buffer
		mw := multipart.NewWriter(&b)
		for k, v := range map[string]string{"kind": "sweep", "direction": "-", "distance": "450", "width": "800", "height": "600", "fine": "16", "coarse": "128", "profile": "sine"} {
			mw.WriteField(k, v)
		}
		for i := range n {
			f, _ := mw.CreateFormFile("photos", "IMG_"+strconv.Itoa(100+i)+".jpg")
			f.Write(data)
		}
		mw.Close()
		r := httptest.NewRequest("POST", "/jobs/"+j.ID+"/captures", &b)
		r.Header.Set("Content-Type", mw.FormDataContentType())
		code, _, body := d.ask(r)
		return code, body
	}
	if code, body := send(6); code != http.StatusUnprocessableEntity || !strings.Contains(body, `role="alert"`) {
		t.Errorf("three photos each: %d", code)
	}
	if code, body := send(8); code != http.StatusSeeOther {
		t.Fatalf("%d %s", code, body)
	}
	cs, err := d.st.Captures(t.Context(), j.ID)
	if err != nil || len(cs) != 1 {
		t.Fatalf("%v, %v", cs, err)
	}
	doc, err := d.st.File(t.Context(), cs[0].ID, "capture.json")
	if err != nil || !strings.Contains(string(doc), `"direction": "-"`) || strings.Count(string(doc), `"stripes": "v"`) != 4 || strings.Contains(string(doc), `"shift"`) {
		t.Errorf("%s, %v", doc, err)
	}
}

// TestTextsOfOtherPackages: what the rules of a job, a vehicle number and a single photo say has its German, too.
func TestTextsOfOtherPackages(t *testing.T) {
	var texts []string
	for _, typed := range []string{"1M8GDM9AXKP042788", "1M8GDM9AXKP042778", "WAAAAAAAAAA000000", "OIO", "1M8GDM9AXKP0427880", "1M8GDM9AXKP04278O", "1M8GDM9A?KP042788", "1M8GDM9AXKP04278A", "0M8GDM9AXKP042788", "..."} {
		n, err := vin.Read(typed)
		if err != nil {
			texts = append(texts, err.Error())
		}
		texts = append(append(texts, n.Notes...), string(n.Region))
	}
	for _, kind := range append([]string{""}, job.Kinds...) {
		texts = append(append(texts, kind), plan.Cautions(kind, 45)...)
	}
	for _, p := range job.Places {
		texts = append(texts, p.Name)
	}
	texts = append(texts, job.Hindrances...)
	for _, c := range shot.Cases {
		texts = append(texts, c.Name)
	}
	for _, s := range append([]job.Step{job.Done}, job.Steps...) {
		for _, last := range []job.Capture{{}, {ID: "c", State: job.Queued}, {ID: "c", State: job.Refused}, {ID: "c", State: job.Measured}} {
			texts = append(texts, job.Job{Step: s}.Next(last), job.Job{Step: s, Record: job.Record{Deal: job.Deal{Paper: "p"}}}.Next(last))
		}
		texts = append(texts, (job.Job{}).Needs(nil, nil)[s]...)
	}
	texts = append(texts, job.AreaShapes...)
	for _, do := range job.EyeDoes {
		texts = append(texts, job.Eye{Do: do}.Says())
	}
	for _, e := range []job.Eye{{Do: "x"}, {Do: "ignore"}, {Do: "merge", Marks: []string{"a"}}, {Do: "split", Marks: []string{"a", "b"}}, {Do: "rename", Marks: []string{"a"}}, {Do: "edge", Marks: []string{"a"}, MM: -1}} {
		texts = append(texts, e.Check().Error())
	}
	for _, text := range texts {
		if text != "" && !words.German.Has(text) {
			t.Errorf("no German for %q", text)
		}
	}
}

// TestBenchShowsSmallPictures: a list loads no photo as the camera took it.
func TestBenchShowsSmallPictures(t *testing.T) {
	y := openYard(t)
	_, c := measured(t, y.st, door, "before")
	address := "/captures/" + c.ID + "/" + workshop.SmallName
	page := y.get("/")
	has(t, page, address)
	if strings.Contains(page, "/photo.jpg") {
		t.Error("the bench shows a whole photo")
	}
	data := y.get(address)
	p, _, err := image.DecodeConfig(strings.NewReader(data))
	if err != nil || max(p.Width, p.Height) > 520 || len(data) > 60_000 {
		t.Errorf("%d x %d, %d bytes, %v", p.Width, p.Height, len(data), err)
	}
}
