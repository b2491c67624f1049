package inspection

import (
	"math"
	"testing"

	"fairmetal/internal/memfs"
	"fairmetal/register"
	"fairmetal/scene"
)

// BenchmarkMovedCards renders and measures a door before and after one of its two lows was raised, its cards laid 12 and -9 mm and 6
// degrees off in between, camera and board set up anew; it prints how far places are off after the later capture was laid onto the
// earlier, and their sigma, mm, rms over a disc of 80 mm.
func BenchmarkMovedCards(b *testing.B) {
	want := register.Move{XMM: 12, YMM: -9, TurnDeg: 6}
	for b.Loop() {
		s := scene.Fleet()[2].Spec
		var sides [2]register.Side
		for i := range sides {
			if i == 1 {
				s.Panel.Marks = append([]scene.Mark(nil), s.Panel.Marks...)
				s.Panel.Marks[0].DepthUM = 190
				for k := range s.Cards {
					s.Cards[k].XMM, s.Cards[k].YMM = want.To(s.Cards[k].XMM, s.Cards[k].YMM)
					s.Cards[k].AngleDeg += want.TurnDeg
				}
				s.Camera.TurnDeg -= 8 // not tilted: the made-up orange peel would lie elsewhere
				s.Board.DistanceMM, s.Board.TapedMM = s.Board.DistanceMM+30, s.Board.TapedMM+29
			}
			c, err := scene.Render(s, nil)
			if err != nil {
				b.Fatal(err)
			}
			r, err := Run(b.Context(), memfs.FS(c.Files), nil)
			if err != nil {
				b.Fatal(err)
			}
			sides[i] = register.Side{Surface: r.Surface, Marks: r.Marks}
		}
		r := register.Between(sides[0], sides[1])
		if !r.Sure || !r.Moved {
			b.Fatalf("%+v", r)
		}
		turn := (r.Move.TurnDeg - want.TurnDeg) * math.Pi / 180
		b.ReportMetric(math.Sqrt(math.Pow(r.Move.XMM-want.XMM, 2)+math.Pow(r.Move.YMM-want.YMM, 2)+math.Pow(80*turn, 2)), "mm-off")
		b.ReportMetric(r.PlaceSigmaMM, "mm-sigma")
	}
}
