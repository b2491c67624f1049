package door

// Own are the door's own routes.
func (d *Door) Own() []Route { return d.routes(true) }
