package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"
)

// heartbeat keeps the event stream open through idle times.
const heartbeat = 20 * time.Second

// events streams what happens to captures (server-sent events).
func (a *App) events(w http.ResponseWriter, r *http.Request) {
	rc := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	c, stop := a.bench.Listen()
	defer stop()
	tick := time.NewTicker(heartbeat)
	defer tick.Stop()
	fmt.Fprint(w, ": open\n\n")
	rc.Flush()
	for n := 1; ; n++ {
		select {
		case <-r.Context().Done():
			return
		case <-tick.C:
			fmt.Fprint(w, ": still here\n\n")
		case e := <-c:
			data, err := json.Marshal(e)
			if err != nil {
				return
			}
			fmt.Fprintf(w, "id: %d\ndata: %s\n\n", n, data)
		}
		if rc.Flush() != nil {
			return
		}
	}
}
