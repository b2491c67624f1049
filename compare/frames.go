package compare

import (
	"fmt"
	"math"

	"fairmetal/register"
)

// Panels compares two captures after it has looked at the metal itself how they lie: where the cards were moved in between, and the
// metal says surely by how much, the later capture is laid onto the earlier one first.
func Panels(before, after register.Side) Progress {
	r := register.Between(before, after)
	b, marks := after.Surface, after.Marks
	if r.Sure && r.Moved {
		b = register.Onto(b, r.Move, register.Around(b.Grid, r.Move))
		marks = r.Move.Marks(marks)
	}
	p := Captures(before.Surface, b, before.Marks, marks)
	p.Alignment = &r
	p.Frames = told(r)
	return p
}

// told says in a sentence how the two captures lie.
func told(r register.Result) string {
	shift := math.Hypot(r.Move.XMM, r.Move.YMM)
	switch {
	case !r.Sure:
		return fmt.Sprintf("the cards are taken to lie where they lay: the metal cannot tell (%s)", r.Reason)
	case r.Moved:
		return fmt.Sprintf("the cards were moved by %.1f mm and turned by %.1f degrees between the captures; the later one was laid onto the earlier by the metal itself, within %.2f mm (%s)",
			shift, math.Abs(r.Move.TurnDeg), r.PlaceSigmaMM, r.Reason)
	}
	return fmt.Sprintf("the cards lay still: by the metal itself the frames agree within %.2f mm and %.2f degrees (%s)", shift, math.Abs(r.Move.TurnDeg), r.Reason)
}
