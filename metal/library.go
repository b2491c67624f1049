package metal

import (
	"fmt"

	"fairmetal/internal/strict"
)

// Bounds of a material file: a workshop knows dozens of sheets, not hundreds.
const (
	maxLibraryBytes = 1 << 18
	maxLibrary      = 200
)

// entry is a material as a technician writes it. What is left out comes from the material named under "like", or else from the usual
// skin of the family.
type entry struct {
	Name        string      `json:"name"`
	Like        string      `json:"like"`
	Family      string      `json:"family"`
	EMPa        *float64    `json:"e_mpa"`
	Nu          *float64    `json:"nu"`
	YieldMPa    *float64    `json:"yield_mpa"`
	Spread      *float64    `json:"spread"`
	SwiftK      *float64    `json:"swift_k_mpa"`
	SwiftN      *float64    `json:"swift_n"`
	R           *float64    `json:"r"`
	ThicknessMM *[2]float64 `json:"thickness_mm"`
	Source      string      `json:"source"`
}

// ParseLibrary reads a technician's materials, strictly: unknown names are slips of the pen that would otherwise be ignored.
//
//	{"format": 1, "materials": [{"name": "old door", "like": "mild steel", "yield_mpa": 150, "thickness_mm": [0.8, 0.9], "source": "calibrated"}]}
func ParseLibrary(data []byte) (Library, error) {
	var f struct {
		Format    int     `json:"format"`
		Materials []entry `json:"materials"`
	}
	file := strict.File{What: "material file", Holds: "list materials", Mend: "correct it or remove it", MaxBytes: maxLibraryBytes}
	if err := file.Decode(data, &f); err != nil {
		return nil, err
	}
	if f.Format != 1 {
		return nil, fmt.Errorf("the material file has format %d; write \"format\": 1", f.Format)
	}
	if len(f.Materials) > maxLibrary {
		return nil, fmt.Errorf("the file lists %d materials; list at most %d", len(f.Materials), maxLibrary)
	}
	var l Library
	seen := map[string]bool{}
	for _, e := range f.Materials {
		m, err := e.material(l)
		if err != nil {
			return nil, err
		}
		if seen[key(m.Name)] {
			return nil, fmt.Errorf("two materials are called %q; give each its own name", m.Name)
		}
		seen[key(m.Name)] = true
		l = append(l, m)
	}
	return l, nil
}

// material fills an entry up from its model, built-in or listed before it.
func (e entry) material(before Library) (Material, error) {
	like := e.Like
	if like == "" {
		like = e.Family
	}
	if like == "" {
		return Material{}, fmt.Errorf("%q names neither \"like\" nor \"family\"; write which known material it is like, or steel or aluminium", e.Name)
	}
	m, err := before.Lookup(like)
	if err != nil {
		return Material{}, fmt.Errorf("%q: %w", e.Name, err)
	}
	m.Name, m.CoilMPa = e.Name, [2]float64{}
	if e.Family != "" {
		m.Family = e.Family
	}
	if e.YieldMPa != nil {
		m = m.WithYield(*e.YieldMPa)
	}
	for _, f := range []struct {
		from *float64
		to   *float64
	}{{e.EMPa, &m.EMPa}, {e.Nu, &m.Nu}, {e.Spread, &m.Spread}, {e.SwiftK, &m.SwiftK}, {e.SwiftN, &m.SwiftN}, {e.R, &m.R}} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
	if e.ThicknessMM != nil {
		m.GaugeMM = *e.ThicknessMM
	}
	m.Source = e.Source
	if m.Source == "" {
		m.Source = "added by the technician, like " + like
	}
	return m, m.Check()
}
