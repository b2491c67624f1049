package main

import (
	"errors"
	"fmt"

	"fairmetal/shot"
)

type shotCmd struct {
	Width  float64 `help:"Width of the flaw in mm." default:"20"`
	Depth  float64 `help:"Its depth in um." default:"100"`
	Board  float64 `help:"Distance from the panel to the board in mm." default:"500"`
	Camera float64 `help:"Distance from the camera to the panel in mm." default:"450"`
	Tilt   float64 `help:"Angle of the line of sight from square on, degrees." default:"35"`
	Crown  float64 `help:"Radius of the crown in mm; 0: flat." default:"0"`
	PX     float64 `name:"mm-per-px" help:"Panel that a pixel spans, mm." default:"0.3"`
	Pitch  float64 `help:"Pitch of your stripes in mm; 0: let me choose." default:"0"`
	JSON   bool    `name:"json" help:"Print JSON."`
}

// Run says which photo measures a flaw.
func (c *shotCmd) Run(s streams) error {
	if !(c.Width > 0 && c.Depth > 0 && c.Board >= 50 && c.Camera >= 50 && c.PX > 0 && c.Tilt >= 0 && c.Tilt < 80 && c.Pitch >= 0) {
		return refused("shot", errors.New("sizes and distances must be above zero, the tilt under 80 degrees; check the numbers"))
	}
	a := shot.Ask(shot.Flaw{WidthMM: c.Width, DepthUM: c.Depth}, shot.Place{BoardMM: c.Board, CameraMM: c.Camera, TiltDeg: c.Tilt, CrownMM: c.Crown, MMPerPX: c.PX, PitchMM: c.Pitch})
	if c.JSON {
		return printJSON(s.Out, a)
	}
	fmt.Fprintln(s.Out, a.Words)
	return nil
}
