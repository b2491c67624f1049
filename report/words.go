package report

import "strings"

// words are the texts of the papers in one language.
type words struct {
	title, valid, customer, vehicle, panel  string
	pictureNote, verdict, marks             string
	kind, place, size, depth, possible      string
	work, step, what, time, hours           string
	price, item, how, amount, net, total    string
	rangeNote, paintNote                    string // with verbs for the amounts
	cautions, consent, placeDate, signature string
	dateLayout, point                       string
	panels, count                           string
}

var languages = map[string]words{
	"en": {
		title: "Quote", valid: "valid until", customer: "Customer", vehicle: "Vehicle", panel: "Panel",
		pictureNote: "Blue lies below the panel's form, amber above it. Measured from the reflection of a striped board.",
		verdict:     "Can it be done without paint?", marks: "What was found",
		kind: "kind", place: "place from the middle", size: "size", depth: "depth", possible: "without paint",
		work: "What will be done", step: "step", what: "work", time: "time", hours: "Time in all:",
		price: "Price", item: "item", how: "how it comes about", amount: "amount", net: "Net", total: "Total",
		rangeNote: "Expected between %s and %s; you pay no more than agreed without being asked.",
		paintNote: "For comparison: filling and painting would be about %s and %d days (our own model, not an offer).",
		cautions:  "Please note", consent: "I agree to the work above and know that paint under strain can crack, above all old or repainted film, and that a trace of a sharp or stretched mark may stay to be seen.",
		placeDate: "place, date", signature: "signature", dateLayout: "2 January 2006", point: ".", panels: "Panels", count: "marks",
	},
	"de": {
		title: "Angebot", valid: "gültig bis", customer: "Kunde", vehicle: "Fahrzeug", panel: "Blechteil",
		pictureNote: "Blau liegt unter der Form des Blechs, Bernstein darüber. Gemessen aus der Spiegelung einer Streifentafel.",
		verdict:     "Geht es ohne Lack?", marks: "Was gefunden wurde",
		kind: "Art", place: "Ort von der Mitte", size: "Größe", depth: "Tiefe", possible: "ohne Lack",
		work: "Was getan wird", step: "Schritt", what: "Arbeit", time: "Zeit", hours: "Zeit zusammen:",
		price: "Preis", item: "Posten", how: "wie er zustande kommt", amount: "Betrag", net: "Netto", total: "Summe",
		rangeNote: "Zu erwarten sind %s bis %s; mehr als vereinbart zahlen Sie nicht ungefragt.",
		paintNote: "Zum Vergleich: Spachteln und Lackieren kämen auf etwa %s und %d Tage (eigenes Modell, kein Angebot).",
		cautions:  "Bitte beachten", consent: "Ich bin mit der Arbeit einverstanden und weiß, dass Lack unter Dehnung reißen kann, vor allem alter oder nachlackierter, und dass von scharfen oder gedehnten Stellen eine Spur bleiben kann.",
		placeDate: "Ort, Datum", signature: "Unterschrift", dateLayout: "02.01.2006", point: ",", panels: "Blechteile", count: "Stellen",
	},
}

// wordsFor falls back to English.
func wordsFor(lang string) words {
	base, _, _ := strings.Cut(lang, "-")
	if w, ok := languages[base]; ok {
		return w
	}
	return languages["en"]
}
