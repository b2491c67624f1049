package metal

import (
	"fmt"
	"strings"
)

// E and nu: [EN1993-1-1] and [EN1999-1-1] (from memory).
const (
	steelE, steelNu         = 210000, 0.30
	aluminiumE, aluminiumNu = 70000, 0.33
)

// gauges of skins, mm (from memory): steel 0.65 to 0.80, older cars to 0.9; aluminium 0.9 to 1.2.
var steelGauge, aluminiumGauge = [2]float64{0.6, 0.9}, [2]float64{0.9, 1.2}

func steelGrade(name string, yield, spread, r, coilLow, coilHigh float64, source string) Material {
	m := Material{Name: name, Family: "steel", EMPa: steelE, Nu: steelNu, Spread: spread, R: r, CoilMPa: [2]float64{coilLow, coilHigh}, GaugeMM: steelGauge, Source: source}
	return m.WithYield(yield)
}

func aluminiumGrade(name string, yield, k, n, coilLow, coilHigh float64, source string) Material {
	return Material{Name: name, Family: "aluminium", EMPa: aluminiumE, Nu: aluminiumNu, YieldMPa: yield, Spread: 0.12, SwiftK: k, SwiftN: n, R: 0.6,
		CoilMPa: [2]float64{coilLow, coilHigh}, GaugeMM: aluminiumGauge, Source: source}
}

// grades to plan with until the first hits tell better: yields after pressing (some 2 % of strain) and paint bake. Coil yields and
// r: [EN10130], [EN10346], [EN10268] and makers' data, from memory where not said otherwise; where a standard gives an upper bound
// only, the lower is a maker's usual one. Bake-hardening steels gain about 30 MPa by 2 % of strain and 35 by the bake ([EN10325]).
// Hardening is our own choice in that range (WithYield). The spread is common practice.
var grades = []Material{
	steelGrade("mild steel", 180, 0.15, 1.6, 120, 210, "[EN10130] DC04 to DC06 after pressing, from memory"),
	steelGrade("bake-hardening steel", 250, 0.12, 1.4, 180, 280, "[EN10346] HX180BD to HX220BD, +30 to 70 MPa by strain and bake, from memory"),
	aluminiumGrade("aluminium 6xxx", 190, 400, 0.17, 90, 135, "6016 after 2 % strain and bake: 170 to 210 MPa, a maker's data sheet"),
	aluminiumGrade("aluminium 5xxx", 135, 420, 0.30, 120, 140, "5182-O, softens a little in the bake, from memory"),
	steelGrade("DC01", 210, 0.15, 1.0, 140, 280, "[EN10130]: at most 280 MPa; inner and plain parts, from memory"),
	steelGrade("DC03", 195, 0.15, 1.3, 140, 240, "[EN10130]: at most 240 MPa, from memory"),
	steelGrade("DC04", 180, 0.15, 1.6, 140, 210, "[EN10130], from memory"),
	steelGrade("DC05", 165, 0.12, 1.9, 140, 180, "[EN10130], from memory"),
	steelGrade("DC06", 160, 0.12, 2.1, 120, 170, "[EN10130], a maker's data sheet"),
	steelGrade("DX54D", 175, 0.15, 1.6, 120, 220, "[EN10346], from memory"),
	steelGrade("DX56D", 165, 0.12, 1.9, 120, 180, "[EN10346], from memory"),
	steelGrade("HC180B", 240, 0.12, 1.6, 180, 230, "[EN10268], bake hardening at least 35 MPa, from memory"),
	steelGrade("HC220B", 280, 0.10, 1.5, 220, 270, "[EN10268], bake hardening at least 35 MPa, from memory"),
	steelGrade("HX180BD", 240, 0.12, 1.5, 180, 240, "[EN10346], bake hardening at least 35 MPa, from memory"),
	steelGrade("HX220BD", 280, 0.10, 1.2, 220, 280, "[EN10346], bake hardening at least 35 MPa, from memory"),
	steelGrade("HX260BD", 320, 0.10, 1.0, 260, 320, "[EN10346], a maker's data sheet; bake from memory"),
	aluminiumGrade("6016", 190, 400, 0.17, 90, 130, "6016 after 2 % strain and bake: 170 to 210 MPa, a maker's data sheet"),
	aluminiumGrade("5182", 135, 420, 0.30, 120, 140, "5182-O, softens a little in the bake, from memory"),
}

// aliases: names people type, in the form of key.
var aliases = map[string]string{
	"": "mild steel", "steel": "mild steel", "low carbon steel": "mild steel", "carbon steel": "mild steel", "steel160": "dc06", "steel 160": "dc06",
	"steel220": "hx180bd", "steel 220": "hx180bd", "bh": "bake hardening steel", "bh steel": "bake hardening steel", "bake hardening": "bake hardening steel",
	"aluminium": "aluminium 6xxx", "aluminum": "aluminium 6xxx", "al": "aluminium 6xxx", "al180": "aluminium 6xxx", "6xxx": "aluminium 6xxx", "5xxx": "aluminium 5xxx",
	"al 6xxx": "aluminium 6xxx", "al 5xxx": "aluminium 5xxx", "aluminum 6xxx": "aluminium 6xxx", "aluminum 5xxx": "aluminium 5xxx",
	"aa6016": "6016", "en aw 6016": "6016", "aluminium 6016": "6016", "aa5182": "5182", "en aw 5182": "5182", "aluminium 5182": "5182",
}

// key folds a name: upper or lower case alike, hyphens as spaces.
func key(s string) string {
	return strings.Join(strings.Fields(strings.NewReplacer("-", " ", "_", " ").Replace(strings.ToLower(s))), " ")
}

// Lookup finds a material by its name, upper or lower case, hyphens as spaces; "steel" and "aluminium" give the usual skin.
func Lookup(name string) (Material, error) { return Library(nil).Lookup(name) }

// Names lists the known materials, the four usual skins first.
func Names() []string { return Library(nil).Names() }

// Library holds the technician's own materials; they stand before the built-in ones.
type Library []Material

// Lookup finds a material by its name, own ones first.
func (l Library) Lookup(name string) (Material, error) {
	want := key(name)
	for _, m := range l {
		if key(m.Name) == want {
			return m, nil
		}
	}
	if full, ok := aliases[want]; ok {
		want = full
	}
	for _, m := range grades {
		if key(m.Name) == want {
			return m, nil
		}
	}
	return Material{}, fmt.Errorf("material %q is not known; choose one of %s", name, strings.Join(l.Names(), ", "))
}

// Names lists own and built-in materials.
func (l Library) Names() []string {
	var n []string
	for _, list := range [][]Material{l, grades} {
		for _, m := range list {
			n = append(n, m.Name)
		}
	}
	return n
}
