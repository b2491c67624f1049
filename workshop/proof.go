package workshop

import (
	"encoding/binary"
	"encoding/json"

	"fairmetal/fair"
	"fairmetal/inspection"
	"fairmetal/offer"
)

// Proof makes what shows that the metal is fair, or how far from it: the hand-over check as fair.json, and planned.f32, the surface as it
// should be once the plan is worked, in the form of height.f32.
func Proof(set Settings, f offer.Facts, stored *inspection.Stored, o offer.Offer) (map[string][]byte, error) {
	v, err := fair.Judge(stored.Surface, set.Limits)
	if err != nil {
		return nil, err
	}
	check, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		return nil, err
	}
	after, err := offer.Planned(stored, f, o.Plan)
	if err != nil {
		return nil, err
	}
	planned, err := binary.Append(nil, binary.LittleEndian, after.Height)
	return map[string][]byte{"fair.json": append(check, '\n'), "planned.f32": planned}, err
}
