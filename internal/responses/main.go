// Command responses works out the hit responses that package metal embeds: `go run ./internal/responses > metal/responses.json`, about
// two minutes on two cores.
package main

import (
	"encoding/json"
	"log"
	"math"
	"os"
	"sync"

	"fairmetal/metal"
	"fairmetal/sheet"
)

func main() {
	t := metal.NewTable()
	var wg sync.WaitGroup
	sem := make(chan struct{}, 2)
	for i := range t.Cells {
		wg.Add(1)
		sem <- struct{}{}
		go func() {
			defer wg.Done()
			defer func() { <-sem }()
			fill(t, i)
		}()
	}
	wg.Wait()
	if err := json.NewEncoder(os.Stdout).Encode(t); err != nil {
		log.Fatal(err)
	}
}

// fill works out one cell: all forces on one sheet.
func fill(t *metal.Table, i int) {
	c := t.Case(i)
	var forces []float64
	for _, x := range t.Units {
		forces = append(forces, x*c.ForceUnit())
	}
	hits, err := sheet.Pushes(c.Disc(), c.SolverTip(), forces)
	if err != nil {
		log.Fatalf("%+v: %v", c, err)
	}
	round := func(v float64) float64 { return math.Round(v*1e5) / 1e5 }
	for _, h := range hits {
		t.Cells[i].Set = append(t.Cells[i].Set, round(h.SetUM/1000/c.ThicknessMM))
		t.Cells[i].Loaded = append(t.Cells[i].Loaded, round(h.LoadedMM/c.ThicknessMM))
		t.Cells[i].Strain = append(t.Cells[i].Strain, round(h.StrainPct))
	}
}
