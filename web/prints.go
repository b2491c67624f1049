package web

import (
	"net/http"

	"fairmetal/prints"
)

func (a *App) cardsPDF(w http.ResponseWriter, r *http.Request) {
	pdf, err := prints.Cards(prints.CardSheet{SidesMM: []float64{number(r.FormValue("side")), number(r.FormValue("side"))}, Paper: r.FormValue("paper")})
	a.sendPDF(w, r, "cards.pdf", pdf, err)
}

func (a *App) boardPDF(w http.ResponseWriter, r *http.Request) {
	pdf, err := prints.Board(prints.BoardSpec{WidthMM: number(r.FormValue("width")), HeightMM: number(r.FormValue("height")), PitchMM: number(r.FormValue("pitch")),
		Stripes: r.FormValue("stripes"), Profile: r.FormValue("profile"), Bars: r.FormValue("bars") != "", Paper: r.FormValue("paper")})
	a.sendPDF(w, r, "board.pdf", pdf, err)
}

func (a *App) sendPDF(w http.ResponseWriter, r *http.Request, name string, pdf []byte, err error) {
	if err != nil {
		a.render(w, r, http.StatusUnprocessableEntity, "problem", view{Title: "Cannot print that", Place: "rack", Data: err.Error()})
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `inline; filename="`+name+`"`)
	w.Write(pdf)
}
