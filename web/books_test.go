package web_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"fairmetal/job"
	"fairmetal/rates"
	"fairmetal/workshop"
)

// TestPeopleAndVehicles: added, found, changed; a wrong field and an old state keep what was typed.
func TestPeopleAndVehicles(t *testing.T) {
	y := openYard(t)
	_, to, _ := y.post("/books/people/new", url.Values{"name": {"Ada Example"}, "company": {"Lindenhof Parcels"}, "email": {"ada@lindenhof.example"}})
	page := y.get(to)
	has(t, page, "Lindenhof Parcels, Ada Example")
	if status, _, body := y.post(to, url.Values{"rev": {"1"}, "name": {"Ada E."}, "email": {"nonsense"}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, "nonsense") || !strings.Contains(body, "Ada E.") {
		t.Errorf("a wrong address: %d", status)
	}
	y.must(to, url.Values{"rev": {"1"}, "name": {"Ada Example"}, "city": {"Musterstadt"}})
	if status, _, body := y.post(to, url.Values{"rev": {"1"}, "name": {"Ada Other"}}); status != http.StatusConflict || !strings.Contains(body, "Ada Other") || !strings.Contains(body, `name="rev" value="2"`) {
		t.Errorf("an old state: %d", status)
	}
	id := to[strings.LastIndexByte(to, '/')+1:]
	_, van, _ := y.post("/books/vehicles/new", url.Values{"vehicle": {"Van 07"}, "plate": {"FM 7"}, "vin": {"1M8GDM9AXKP042788"}, "person": {id}})
	has(t, y.get(van), "Van 07", "selected>Ada Example")
	has(t, y.get(to), "Van 07")
	has(t, y.get("/books?q=musterstadt+nobody"), "Nobody yet.")
	has(t, y.get("/books?q=FM"), "Van 07")
	if status := y.status("/books/people/0000"); status != http.StatusNotFound {
		t.Errorf("nobody: %d", status)
	}
}

// TestErase tells before what stays, and the invoice stays.
func TestErase(t *testing.T) {
	y := openYard(t)
	j, _ := measured(t, y.st, door, "before")
	j = settled(t, y.st, j)
	page := y.get("/jobs/" + j.ID + "/handover")
	y.must("/jobs/"+j.ID+"/invoice", url.Values{"text": fields(page, "text"), "why": fields(page, "why"), "amount": fields(page, "amount")})
	if _, err := y.st.AddJob(t.Context(), job.Job{Vehicle: "Van 08", Panel: "Roof", PersonID: j.PersonID, Customer: j.Customer}); err != nil {
		t.Fatal(err)
	}
	has(t, y.get("/books/people/"+j.PersonID+"/erase"), "1 job without an invoice", "1 job with an invoice")
	y.must("/books/people/"+j.PersonID+"/erase", nil)
	if page := y.get("/books"); strings.Contains(page, "Lindenhof") || !strings.Contains(page, "R-") {
		t.Error("the name is still listed, or the invoice is gone")
	}
	if got := y.job(j.ID); got.Customer != "Lindenhof Parcels" {
		t.Errorf("the job with the invoice names %q", got.Customer)
	}
}

// TestFiguresAndPace: three timed jobs at twice the usual minutes; forecasts learn from them by a button.
func TestFiguresAndPace(t *testing.T) {
	y := openYard(t)
	has(t, y.get("/books/figures"), "From three timed and finished jobs")
	if status, _, _ := y.post("/books/pace", url.Values{"rev": {"0"}}); status != http.StatusUnprocessableEntity {
		t.Errorf("a pace of nothing: %d", status)
	}
	nine := time.Date(2026, 11, 3, 9, 0, 0, 0, time.UTC)
	for range 4 {
		j, c := measured(t, y.st, door, "before")
		for n := range 30 {
			j.Record.Work.Hits = append(j.Record.Work.Hits, job.HitDone{Key: strconv.Itoa(n), Capture: c.ID, N: n + 1, Did: job.Made, Part: string(rates.Level), At: nine})
		}
		minutes := 2 * 30 * rates.DefaultPrior().Minutes[rates.Level]
		j.Record.Work.Spans = []job.Span{{Key: "s", Part: string(rates.Level), Start: nine, End: nine.Add(time.Duration(minutes * float64(time.Minute)))}}
		j.Step = job.Done
		if err := y.st.SaveJob(t.Context(), j); err != nil {
			t.Fatal(err)
		}
	}
	has(t, y.get("/books/figures"), "4 timed jobs", "round", "Forecast with these jobs")
	y.must("/books/pace", url.Values{"rev": {"0"}})
	set, err := workshop.New(y.st).Settings(t.Context())
	if err != nil || len(set.Lessons) != 4 {
		t.Errorf("%d lessons, %v", len(set.Lessons), err)
	}
	has(t, y.get("/books/figures"), "forecasts rest on 4 timed jobs")
	// The next job's hours follow: levelling takes twice the usual minutes.
	j, c := measured(t, y.st, door, "before")
	usual, err := workshop.Offer(y.st.Folder(t.Context(), c.ID))
	if err != nil {
		t.Fatal(err)
	}
	learnt, err := workshop.New(y.st).Reprice(t.Context(), j.ID, c.ID)
	if err != nil || learnt.Quote.Hours < 1.15*usual.Quote.Hours {
		t.Errorf("%g h, before the lessons %g h, %v", learnt.Quote.Hours, usual.Quote.Hours, err)
	}
}

func TestAppointments(t *testing.T) {
	y := openYard(t)
	j, err := y.st.AddJob(t.Context(), door)
	if err != nil {
		t.Fatal(err)
	}
	y.must("/books/appointments", url.Values{"number": {"#1"}, "due": {"2026-12-01T08:30"}})
	if d := y.job(j.ID).Record.Arrival.Due; d.Local().Format(time.DateTime) != "2026-12-01 08:30:00" {
		t.Errorf("due %v", d)
	}
	has(t, y.get("/books/appointments"), "1 Dec 2026, 08:30", "Van 07")
	has(t, y.get("/books/appointments.ics"), "BEGIN:VEVENT", "SUMMARY:Van 07")
	for _, wrong := range []url.Values{{"number": {"17"}, "due": {"2026-12-01T08:30"}}, {"number": {"x"}, "due": {"2026-12-01T08:30"}}, {"number": {"1"}, "due": {"soon"}}} {
		if status, _, _ := y.post("/books/appointments", wrong); status != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", wrong, status)
		}
	}
}

// bring uploads a list.
func (y yard) bring(list, name, content string) (int, string) {
	y.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	m.WriteField("list", list)
	f, err := m.CreateFormFile("file", name)
	if err != nil {
		y.t.Fatal(err)
	}
	f.Write([]byte(content))
	m.Close()
	r := httptest.NewRequest("POST", "http://127.0.0.1/books/import", &b)
	r.Header.Set("Content-Type", m.FormDataContentType())
	w := httptest.NewRecorder()
	y.app.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

// TestListsOutAndIn: what was taken out comes back unchanged; changes are shown first and taken in only then; errors name their row.
func TestListsOutAndIn(t *testing.T) {
	y := openYard(t)
	y.must("/books/people/new", url.Values{"name": {"Ada Example"}})
	y.must("/books/vehicles/new", url.Values{"vehicle": {"Van 07"}, "year": {"2019"}})
	if _, err := y.st.AddJob(t.Context(), door); err != nil {
		t.Fatal(err)
	}
	for _, list := range []string{"people", "vehicles", "jobs"} {
		for _, kind := range []string{".csv", ".jsonl"} {
			if status, body := y.bring(list, list+kind, y.get("/books/lists/"+list+kind)); status != http.StatusOK || !strings.Contains(body, "changes nothing") {
				t.Errorf("%s%s came back with changes: %d %s", list, kind, status, body[strings.Index(body, "<main"):])
			}
		}
	}
	has(t, y.get("/books/lists/papers.csv"), "total_minor")
	status, body := y.bring("people", "p.csv", "name,city\r\nBen Example,Musterstadt\r\n")
	if status != http.StatusOK || !strings.Contains(body, "Ben Example") {
		t.Fatalf("preview: %d", status)
	}
	if p, err := y.st.People(t.Context(), "ben", 5); err != nil || len(p) != 0 {
		t.Errorf("taken in before it was confirmed: %v, %v", p, err)
	}
	r := httptest.NewRequest("POST", "http://127.0.0.1/books/import", strings.NewReader("--x\r\nContent-Disposition: form-data; name=\"list\"\r\n\r\npeople\r\n--x\r\nContent-Disposition: form-data; name=\"do\"\r\n\r\ntake\r\n--x\r\nContent-Disposition: form-data; name=\"text\"\r\n\r\nname,city\r\nBen Example,Musterstadt\r\n--x--\r\n"))
	r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
	w := httptest.NewRecorder()
	y.app.ServeHTTP(w, r)
	if p, err := y.st.People(t.Context(), "ben", 5); err != nil || len(p) != 1 || p[0].City != "Musterstadt" || !strings.Contains(w.Body.String(), "1 record taken in") {
		t.Errorf("%v, %v, %d", p, err, w.Code)
	}
	if status, body := y.bring("people", "p.csv", "name,email\r\nCy Example,no address\r\n"); status != http.StatusUnprocessableEntity || !strings.Contains(body, "row 2") {
		t.Errorf("a wrong address: %d", status)
	}
	if status := y.status("/books/lists/users.csv"); status != http.StatusNotFound {
		t.Errorf("a list that is none: %d", status)
	}
}
