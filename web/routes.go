package web

import (
	"io/fs"
	"net/http"

	"fairmetal/job"
)

// Route is one address of the app and the least role that may use it.
type Route struct {
	Pattern string // of http.ServeMux
	Least   job.Role
	serve   http.HandlerFunc
}

// Routes lists every address of the app.
func (a *App) Routes() []Route {
	static, err := fs.Sub(files, "assets")
	if err != nil {
		panic(err) // the embedded folder is part of the program
	}
	assets := http.StripPrefix("/assets/", http.FileServerFS(static))
	return []Route{
		{"GET /assets/", job.Anybody, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Cache-Control", "no-cache")
			assets.ServeHTTP(w, r)
		}},

		{"GET /{$}", job.Viewer, a.benchPage},
		{"GET /jobs/new", job.Technician, a.newJobPage},
		{"POST /jobs", job.Technician, a.addJob},
		{"GET /find", job.Technician, a.find},
		{"GET /jobs/{id}", job.Viewer, a.jobPage},
		{"POST /jobs/{id}/step", job.Technician, a.setStep},
		{"GET /events", job.Viewer, a.events},

		{"GET /hail", job.Viewer, a.hailPage},
		{"POST /hail", job.Technician, a.addLot},
		{"GET /hail/{person}", job.Viewer, a.sheetPage},
		{"GET /hail/{person}/sheet.csv", job.Viewer, a.sheetCSV},
		{"POST /hail/{person}/photos", job.Technician, a.sheetPhotos},
		{"POST /hail/{person}/quote", job.Technician, a.quoteLot},

		{"GET /jobs/{id}/arrive", job.Viewer, a.arrivePage},
		{"POST /jobs/{id}/arrive", job.Technician, a.saveArrival},
		{"GET /jobs/{id}/files/{name...}", job.Viewer, a.jobFile},

		{"GET /jobs/{id}/look", job.Viewer, a.lookPage},
		{"GET /jobs/{id}/capture", job.Technician, a.capturePage},
		{"POST /jobs/{id}/captures", job.Technician, a.addCapture},
		{"POST /jobs/{id}/check", job.Technician, a.checkPhoto},
		{"GET /captures/{id}/{name}", job.Viewer, a.captureFile},
		{"POST /jobs/{id}/eye", job.Technician, a.correct},
		{"POST /jobs/{id}/behind", job.Technician, a.tellBehind},
		{"POST /jobs/{id}/twin", job.Technician, a.measureOver},
		{"POST /jobs/{id}/eye/undo", job.Technician, a.undoCorrection},

		{"GET /jobs/{id}/offer", job.Viewer, a.offerPage},
		{"POST /jobs/{id}/offer", job.Technician, a.saveOffer},
		{"POST /jobs/{id}/accept", job.Technician, a.acceptOffer},
		{"POST /jobs/{id}/link", job.Technician, a.linkOffer},
		{"GET /q/{code}", job.Anybody, a.quoteByLink},
		{"POST /q/{code}", job.Anybody, a.acceptByLink},
		{"GET /q/{code}/quote.pdf", job.Anybody, a.quotePDFByLink},

		{"GET /jobs/{id}/work", job.Viewer, a.workPage},
		{"POST /jobs/{id}/work/hit", job.Technician, a.workHit},
		{"POST /jobs/{id}/work/log", job.Technician, a.workLog},
		{"POST /jobs/{id}/work/span", job.Technician, a.workSpan},
		{"GET /captures/{id}/rounds/{round}/tracing.pdf", job.Viewer, a.tracingPDF},
		{"GET /captures/{id}/rounds/{round}/tracing.svg", job.Viewer, a.tracingSVG},
		{"GET /worker.js", job.Anybody, a.worker},
		{"GET /offline", job.Anybody, a.page("offline", "", "Out of reach")},

		{"GET /jobs/{id}/prove", job.Viewer, a.provePage},
		{"POST /jobs/{id}/prove", job.Technician, a.saveLeft},
		{"GET /captures/{id}/stripes.png", job.Viewer, a.stripes},

		{"GET /jobs/{id}/handover", job.Viewer, a.handOverPage},
		{"POST /jobs/{id}/handover", job.Technician, a.saveDeparture},
		{"POST /jobs/{id}/report", job.Technician, a.makeReport},
		{"POST /jobs/{id}/invoice", job.Technician, a.makeInvoice},
		{"POST /papers/{id}/credit", job.Owner, a.makeCredit},
		{"GET /papers/{id}/{name}", job.Viewer, a.paperFile},

		{"GET /rack", job.Viewer, a.rackPage},
		{"POST /rack/{group}", job.Technician, a.saveTool},

		{"GET /books", job.Viewer, a.booksPage},
		{"GET /books/people/{id}", job.Viewer, a.personPage},
		{"POST /books/people/{id}", job.Technician, a.savePerson},
		{"GET /books/people/{id}/erase", job.Owner, a.erasePage},
		{"POST /books/people/{id}/erase", job.Owner, a.erasePerson},
		{"GET /books/vehicles/{id}", job.Viewer, a.vehiclePage},
		{"POST /books/vehicles/{id}", job.Technician, a.saveVehicle},
		{"GET /books/figures", job.Owner, a.figuresPage},
		{"POST /books/pace", job.Owner, a.takePace},
		{"GET /books/appointments", job.Viewer, a.duePage},
		{"POST /books/appointments", job.Technician, a.saveDue},
		{"GET /books/appointments.ics", job.Technician, a.calendarFile},
		{"GET /books/contacts.vcf", job.Technician, a.contactsFile},
		{"GET /books/lists/{file}", job.Owner, a.exportFile},
		{"GET /books/import", job.Owner, a.importPage},
		{"POST /books/import", job.Owner, a.bringIn},

		{"GET /house", job.Owner, a.housePage},
		{"POST /house/{section}", job.Owner, a.saveHouse},
		{"GET /house/trim", job.Owner, a.costsPage},
		{"POST /house/trim/{group}", job.Owner, a.saveTrim},
		{"POST /house/paint/{section}", job.Owner, a.savePaint},
		{"POST /lang", job.Viewer, a.setLang},

		{"GET /board", job.Viewer, a.page("board", "rack", "Board")},
		{"GET /prints", job.Viewer, a.page("prints", "rack", "Cards and boards")},
		{"GET /prints/cards.pdf", job.Viewer, a.cardsPDF},
		{"GET /prints/board.pdf", job.Viewer, a.boardPDF},
	}
}
