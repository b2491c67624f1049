package metal

import (
	_ "embed"
	"encoding/json"
	"math"
	"slices"
	"sync"
)

// Table holds what the elastic-plastic solver of package sheet says of one hit from virgin metal, for sheets between which one may
// interpolate. All lengths scale with the thickness: crown R/t, span a/t and tip r/t decide, so each family is worked out at one
// thickness. Made by internal/responses.
type Table struct {
	Units []float64 `json:"units"` // forces in yield t^2
	Cells []Cell    `json:"cells"`
}

// Cell is one sheet: for each of the forces the height that stays and the height under load, both in thicknesses, and the strain of the
// painted face in per cent.
type Cell struct {
	Set    []float64 `json:"set"`
	Loaded []float64 `json:"loaded"`
	Strain []float64 `json:"strain"`
}

// Tips of the table: a rigid ball, and the even pressure of a soft cap, mm at the table's thickness.
const (
	TableTipMM  = 5.0
	TableSoftMM = 4.0
)

var (
	tableUnits    = []float64{0.6, 0.8, 1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 4, 5}
	tableBend     = []float64{0, 1.0 / 6000, 1.0 / 3000, 1.0 / 1500, 1.0 / 750} // 1/mm, of a sheet of the table's thickness
	tableSupports = []float64{40, 80, 150, 300}                                 // mm, the same
	tableFamilies = []struct {
		name      string
		thickness float64
		yields    []float64
	}{{"mild steel", 0.7, []float64{140, 180, 230, 300}}, {"aluminium 6xxx", 1.0, []float64{120, 180, 240}}}
)

// tableLogSupports are the logarithms of tableSupports: spans are interpolated by them.
var tableLogSupports = func() []float64 {
	logs := make([]float64, len(tableSupports))
	for i, s := range tableSupports {
		logs[i] = math.Log(s)
	}
	return logs
}()

// Case is the sheet of one cell.
type Case struct {
	Panel
	Soft bool
}

// NewTable returns the empty table.
func NewTable() *Table {
	n := 0
	for _, f := range tableFamilies {
		n += 2 * len(f.yields) * len(tableBend) * len(tableSupports)
	}
	return &Table{Units: tableUnits, Cells: make([]Cell, n)}
}

// Case returns the sheet of cell i: family, soft, yield, bend and support, the last running fastest.
func (t *Table) Case(i int) Case {
	for _, f := range tableFamilies {
		block := len(f.yields) * len(tableBend) * len(tableSupports)
		if i >= 2*block {
			i -= 2 * block
			continue
		}
		m, _ := Lookup(f.name)
		c := Case{Soft: i >= block}
		i %= block
		c.Material = m.WithYield(f.yields[i/(len(tableBend)*len(tableSupports))])
		c.ThicknessMM = f.thickness
		if k := tableBend[i/len(tableSupports)%len(tableBend)]; k > 0 {
			c.RadiusMM = 1 / k
		}
		c.SupportMM = tableSupports[i%len(tableSupports)]
		return c
	}
	panic("metal: no such cell")
}

//go:embed responses.json
var responsesJSON []byte

var responses = sync.OnceValue(func() *Table {
	t := &Table{}
	if err := json.Unmarshal(responsesJSON, t); err != nil {
		panic("metal: the embedded responses cannot be read: " + err.Error())
	}
	return t
})

// response is what one force does, in mm and per cent.
type response struct{ set, loaded, strain float64 }

// between finds x in a rising list: the place before it and how far it is on its way to the next, held at both ends.
func between(x float64, list []float64) (i int, f float64) {
	i, _ = slices.BinarySearch(list, x)
	i = min(max(i-1, 0), len(list)-2)
	return i, min(max((x-list[i])/(list[i+1]-list[i]), 0), 1)
}

// hit interpolates in the table: linearly in yield, bend, logarithm of the span and force; below the lightest force nothing stays.
func (p Panel) hit(forceN float64, soft bool) response {
	t := responses()
	fam, at := tableFamilies[0], 0
	if p.Family == "aluminium" {
		at = 2 * len(fam.yields) * len(tableBend) * len(tableSupports)
		fam = tableFamilies[1]
	}
	scale := fam.thickness / p.ThicknessMM // table lengths per own
	nb, ns := len(tableBend), len(tableSupports)
	if soft {
		at += len(fam.yields) * nb * ns
	}
	bend := 0.0
	if p.RadiusMM > 0 {
		bend = 1 / (p.RadiusMM * scale)
	}
	iy, fy := between(p.YieldMPa, fam.yields)
	ib, fb := between(bend, tableBend)
	is, fs := between(math.Log(p.support()*scale), tableLogSupports)
	x := math.Abs(forceN) / p.ForceUnit()
	iu, fu := between(x, t.Units)
	var r response
	for k := range 16 {
		w := 1.0
		pick := func(bit int, f float64) int {
			if k>>bit&1 == 1 {
				w *= f
				return 1
			}
			w *= 1 - f
			return 0
		}
		y, b, s, u := iy+pick(0, fy), ib+pick(1, fb), is+pick(2, fs), iu+pick(3, fu)
		if w == 0 {
			continue
		}
		c := &t.Cells[at+(y*nb+b)*ns+s]
		r.set += w * c.Set[u]
		r.loaded += w * c.Loaded[u]
		r.strain += w * c.Strain[u]
	}
	if first := t.Units[0]; x < first {
		r.set, r.loaded, r.strain = 0, r.loaded*x/first, r.strain*x/first
	}
	r.set, r.loaded = r.set*p.ThicknessMM, r.loaded*p.ThicknessMM
	return r
}
