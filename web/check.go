package web

import (
	"io"
	"net/http"

	"fairmetal/inspection"
	"fairmetal/photo"
)

// checkedPhoto is what a script hears of one photo.
type checkedPhoto struct {
	OK    bool   `json:"ok"`
	Words string `json:"words"`
}

// checkPhoto looks at one photo before the whole capture is sent: is it sharp, well lit, are both cards and the stripes in it.
func (a *App) checkPhoto(w http.ResponseWriter, r *http.Request) {
	l := a.lang(r)
	data, err := io.ReadAll(http.MaxBytesReader(w, r.Body, photo.DefaultMaxBytes))
	if err != nil {
		w.WriteHeader(http.StatusRequestEntityTooLarge)
		sendJSON(w, checkedPhoto{Words: l.T("This photo is too large or broke off on its way; it will be sent anew with the others.")})
		return
	}
	found := inspection.CheckPhoto(data)
	out := checkedPhoto{OK: len(found.Notices) == 0}
	for _, n := range found.Notices {
		if out.Words != "" {
			out.Words += " "
		}
		out.Words += l.T(n.Text) + ": " + l.T(n.Advice) + "."
	}
	if out.OK {
		out.Words = l.T("sharp, well lit, both cards and the stripes seen")
	}
	sendJSON(w, out)
}
