package job

// Place is a panel as the drawing of the vehicle shows it. Key is stable; Name is an English text of the catalogue.
type Place struct {
	Key, Name, Kind, Side string
}

// Places are the panels of the drawing, front to back on each side; a tailgate takes the place of the rear doors on some vehicles.
var Places = []Place{
	{"bonnet", "Bonnet", "bonnet", "middle"},
	{"roof-front", "Roof, front", "roof", "middle"},
	{"roof-middle", "Roof, middle", "roof", "middle"},
	{"roof-rear", "Roof, rear", "roof", "middle"},
	{"wing-left", "Front wing, left", "wing", "left"},
	{"door-left", "Front door, left", "door", "left"},
	{"slide-left", "Sliding or rear side door, left", "door", "left"},
	{"quarter-left", "Rear side panel, left", "quarter", "left"},
	{"wing-right", "Front wing, right", "wing", "right"},
	{"door-right", "Front door, right", "door", "right"},
	{"slide-right", "Sliding or rear side door, right", "door", "right"},
	{"quarter-right", "Rear side panel, right", "quarter", "right"},
	{"back-left", "Rear door, left", "tailgate", "left"},
	{"back-right", "Rear door, right", "tailgate", "right"},
	{"tailgate", "Tailgate", "tailgate", "middle"},
}

// PlaceOf finds a panel of the drawing by its key.
func PlaceOf(key string) (Place, bool) {
	for _, p := range Places {
		if p.Key == key {
			return p, true
		}
	}
	return Place{}, false
}

// Twins tells whether two jobs may be about the same panel of both sides of a vehicle.
func Twins(a, b Job) bool {
	left, right := a.Record.Arrival.Side, b.Record.Arrival.Side
	return a.ID != b.ID && a.VehicleID != "" && a.VehicleID == b.VehicleID && a.Kind == b.Kind && left != "middle" && (left == "" || left != right)
}
