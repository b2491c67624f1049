package web_test

import (
	"net/http"
	"net/url"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"fairmetal/house"
	"fairmetal/internal/poppler"
	"fairmetal/invoice"
	"fairmetal/job"
	"fairmetal/store"
	"fairmetal/workshop"
)

// settled gives the workshop a full address, a bank and a person for the job.
func settled(t *testing.T, st *store.Store, j job.Job) job.Job {
	t.Helper()
	h := house.Default()
	h.Name, h.Street, h.Postcode, h.City, h.TaxID, h.IBAN, h.Phone, h.Email, h.Lang = "Fennel Yard Dents", "Fennel Yard 4", "12345", "Musterstadt", "DE123456789", "DE89370400440532013000", "0000 123456", "hello@fennelyard.example", "en"
	if err := st.SaveSetting(t.Context(), workshop.HouseSetting, 0, h); err != nil {
		t.Fatal(err)
	}
	p, err := st.SavePerson(t.Context(), job.Person{Company: "Lindenhof Parcels", Street: "Depot 1", Postcode: "54321", City: "Musterstadt", Country: "DE"})
	if err != nil {
		t.Fatal(err)
	}
	j.PersonID, j.Customer = p.ID, p.Title()
	if err := st.SaveJob(t.Context(), j); err != nil {
		t.Fatal(err)
	}
	if j, err = st.Job(t.Context(), j.ID); err != nil {
		t.Fatal(err)
	}
	return j
}

// fields reads what a form of a page would send: the values of its inputs by name.
func fields(page, name string) []string {
	var out []string
	for _, part := range strings.Split(page, `name="`+name+`"`)[1:] {
		tag, _, _ := strings.Cut(part, ">")
		_, v, _ := strings.Cut(tag, `value="`)
		v, _, _ = strings.Cut(v, `"`)
		out = append(out, strings.ReplaceAll(v, "&#43;", "+"))
	}
	return out
}

// TestInvoiceEqualsTheQuote: issued from the quote's lines, numbered without gaps, never twice, taken back by a credit note.
func TestInvoiceEqualsTheQuote(t *testing.T) {
	y := openYard(t)
	j, c := measured(t, y.st, door, "before")
	path := "/jobs/" + j.ID
	page := y.get(path + "/handover")
	form := url.Values{"text": fields(page, "text"), "why": fields(page, "why"), "amount": fields(page, "amount")}
	status, _, body := y.post(path+"/invoice", form)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "BR-") || !strings.Contains(body, "paper only") {
		t.Errorf("an invoice of a house without a name and number: %d", status)
	}
	j = settled(t, y.st, j)
	y.must(path+"/invoice", form)
	papers, err := y.st.Papers(t.Context(), j.ID, 10)
	if err != nil || len(papers) != 1 || papers[0].TotalMinor != c.TotalMinor || papers[0].Number != "R-"+strconv.Itoa(papers[0].Created.Year())+"-0001" {
		t.Fatalf("%+v of %d, %v", papers, c.TotalMinor, err)
	}
	xml := y.get("/papers/" + papers[0].ID + "/invoice.xml")
	if broken, err := invoice.Check([]byte(xml)); err != nil || len(broken) != 0 {
		t.Errorf("%v, %v", broken, err)
	}
	if status, _, _ := y.post(path+"/invoice", form); status != http.StatusUnprocessableEntity {
		t.Errorf("a second invoice: %d", status)
	}
	y.must(path+"/handover", url.Values{"do": {"paid"}, "how": {"cash"}})
	if p, err := y.st.Paper(t.Context(), papers[0].ID); err != nil || p.State != "paid" || !y.job(j.ID).Record.Departure.Paid {
		t.Errorf("%+v, %v", p, err)
	}
	y.must("/papers/"+papers[0].ID+"/credit", url.Values{"why": {"Wrong van"}})
	form.Set("amount", "100,5")
	form["amount"] = append(form["amount"], make([]string, len(form["text"])-1)...)
	y.must(path+"/invoice", form)
	papers, err = y.st.Papers(t.Context(), j.ID, 10)
	if err != nil || len(papers) != 3 {
		t.Fatalf("%+v, %v", papers, err)
	}
	kinds := map[string]string{}
	for _, p := range papers {
		kinds[p.Kind+" "+p.Number[:1]+p.Number[len(p.Number)-4:]] = p.State
	}
	if kinds["invoice R0001"] != "taken back" || kinds["credit C0001"] != "sent" || kinds["invoice R0002"] != "sent" {
		t.Errorf("%v", kinds)
	}
	has(t, y.get(path+"/handover"), "€119.60", "Credit note")
	if status, _, _ := y.post("/papers/"+papers[0].ID+"/credit", nil); status != http.StatusUnprocessableEntity {
		t.Errorf("a credit note without a reason: %d", status)
	}
}

// TestReport says what was found, done and left, with pictures, care, warranty and the signature; each making is a version of its own.
func TestReport(t *testing.T) {
	y := openYard(t)
	j, c := measured(t, y.st, door, "before")
	j = settled(t, y.st, j)
	finished(t, y.st, j)
	path := "/jobs/" + j.ID
	y.must(path+"/work/hit", url.Values{"key": {"k"}, "capture": {c.ID}, "round": {"0"}, "n": {"1"}, "did": {"done"}})
	y.must(path+"/prove", url.Values{"rev": {strconv.FormatInt(y.job(j.ID).Rev, 10)}, "left": {"A trace under the handle."}})
	y.must(path+"/handover", url.Values{"do": {"refitted"}, "part": {"door trim"}})
	if status, _, body := y.post(path+"/handover", url.Values{"do": {"sign"}, "signname": {" "}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, "who signs") {
		t.Errorf("a receipt without a name: %d", status)
	}
	y.must(path+"/handover", url.Values{"do": {"sign"}, "signname": {"Ada Example"}, "strokes": {"[[[10,10],[50,20]]]"}})
	y.must(path+"/report", nil)
	y.must(path+"/report", nil)
	papers, err := y.st.Papers(t.Context(), j.ID, 10)
	if err != nil || len(papers) != 2 || papers[0].Version != 2 {
		t.Fatalf("%+v, %v", papers, err)
	}
	pdf := y.get("/papers/" + papers[0].ID + "/report.pdf")
	out, err := exec.Command(poppler.Tool(t, "pdftotext"), "-layout", poppler.Save(t, []byte(pdf)), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	has(t, string(out), "Report", "Lindenhof Parcels", "Van 07", "-0.80 mm", "1 hit", "door trim", "A trace under the handle.", "Warranty", "Ada Example", "after the work")
	fonts, err := exec.Command(poppler.Tool(t, "pdffonts"), poppler.Save(t, []byte(pdf))).Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(strings.TrimSpace(string(fonts)), "\n")[2:] {
		if f := strings.Fields(line); f[len(f)-5] != "yes" {
			t.Errorf("a font is not embedded: %s", line)
		}
	}
	info, err := exec.Command(poppler.Tool(t, "pdfinfo"), poppler.Save(t, []byte(pdf))).Output()
	if err != nil || !strings.Contains(string(info), "Report B-00001") {
		t.Errorf("title: %v\n%s", err, info)
	}
	images, err := exec.Command(poppler.Tool(t, "pdfimages"), "-list", poppler.Save(t, []byte(pdf))).Output()
	if err != nil || strings.Count(string(images), "image") < 4 {
		t.Errorf("pictures: %v\n%s", err, images)
	}
}
