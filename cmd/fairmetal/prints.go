package main

import (
	"fmt"
	"os"

	"fairmetal/inspection"
	"fairmetal/prints"
)

type cardCmd struct {
	Out   string    `help:"PDF to write." default:"cards.pdf"`
	Side  []float64 `help:"Sides of the symbols in mm." default:"40,40"`
	Paper string    `help:"A4, A3, A2, A1 or letter." default:"A4"`
}

// Run writes a sheet of scale cards.
func (c *cardCmd) Run(s streams) error {
	pdf, err := prints.Cards(prints.CardSheet{SidesMM: c.Side, Paper: c.Paper})
	return writePDF(s, c.Out, pdf, err)
}

type boardCmd struct {
	Out     string  `help:"PDF to write." default:"board.pdf"`
	Width   float64 `help:"Width of the board in mm." default:"800"`
	Height  float64 `help:"Height of the board in mm." default:"600"`
	Pitch   float64 `help:"Stripe and gap together, in mm." default:"16"`
	Stripes string  `help:"u: upright, v: level, uv: crossed." enum:"u,v,uv" default:"u"`
	Profile string  `help:"sine or square." enum:"sine,square" default:"square"`
	Bars    bool    `help:"Sine as fine black bars, for printers that draw greys badly."`
	Paper   string  `help:"A4, A3, A2, A1 or letter." default:"A4"`
}

// Run writes a striped board in tiles.
func (c *boardCmd) Run(s streams) error {
	pdf, err := prints.Board(prints.BoardSpec{WidthMM: c.Width, HeightMM: c.Height, PitchMM: c.Pitch, Stripes: c.Stripes, Profile: c.Profile, Bars: c.Bars, Paper: c.Paper})
	return writePDF(s, c.Out, pdf, err)
}

func writePDF(s streams, path string, pdf []byte, err error) error {
	if err != nil {
		return &inspection.Refusal{Code: "print", Text: err.Error()}
	}
	if err := os.WriteFile(path, pdf, 0o644); err != nil {
		return fmt.Errorf("%s cannot be written (%w); choose another place", path, err)
	}
	fmt.Fprintf(s.Out, "%s: print at 100 %%, without fitting to the page, and measure the ruler\n", path)
	return nil
}
