package inspection

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairmetal/mark"
	"fairmetal/pose"
)

// underCards says beside which cards the metal is uneven though no mark is there: a mark hides under the card, or most of it.
func (r *run) underCards() {
	s := r.res.Surface
	um := mark.Smooth(s)
	uneven := float32(clearly * max(mark.DefaultMinDepthUM, lowSpreads*r.res.Quality.SpreadUM))
	var names []string
	for _, c := range []pose.Placed{r.res.Frame.A, r.res.Frame.B} {
		area := 0.0
		reach := math.Hypot(c.Corners[0].X-c.Corners[2].X, c.Corners[0].Y-c.Corners[2].Y)/2 + besideCardMM
		c0, r0 := s.Cell(c.Centre.X-reach, c.Centre.Y-reach)
		c1, r1 := s.Cell(c.Centre.X+reach, c.Centre.Y+reach)
		for row := max(0, int(r0)); row <= min(s.Rows-1, int(r1)); row++ {
			for col := max(0, int(c0)); col <= min(s.Cols-1, int(c1)); col++ {
				h := um[row*s.Cols+col]
				if !(h > uneven || h < -uneven) {
					continue
				}
				x, y := s.XY(col, row)
				if nearCard(c, x, y, besideCardMM) && !slices.ContainsFunc(r.res.Marks, func(m mark.Mark) bool { return m.Inside(x, y, skirtScale, 0) }) {
					area += s.PitchMM * s.PitchMM
				}
			}
		}
		if area > unevenMM2 {
			names = append(names, c.Letter)
		}
	}
	if len(names) > 0 {
		r.note(Warning, "under-card", fmt.Sprintf("the metal beside card %s is uneven though no mark is there: one may hide under the card", strings.Join(names, ", ")),
			"lay the card elsewhere on sound metal, and photograph again")
	}
}

const (
	clearly      = 1.5 // times as far as a mark must stand out, which the rim of the measured metal may reach
	besideCardMM = 8.0 // beside a card that belongs to it
	skirtScale   = 2.2 // of a mark as far as its crown and skirt reach
	unevenMM2    = 4.0 // from which a word is due
)
