package job

import (
	"encoding/json"
	"math"
	"strings"
	"time"
)

// Bounds of a drawn signature: what a finger draws in half a minute.
const (
	maxStrokes = 200
	maxPoints  = 6000
)

// Sign puts a name, and what was drawn where something was, under a text. strokes is JSON: a list of strokes, each a list of [x, y] in
// hundredths of the pad's width; "" or an empty list where the name was only typed.
func Sign(text, name, strokes string, at time.Time) (Signature, error) {
	s := Signature{Text: text, Name: name, At: at.UTC().Truncate(time.Second)}
	if err := tidy([]limit{{"name of who signs", &s.Name, 200, true}}); err != nil {
		return Signature{}, err
	}
	if strings.TrimSpace(strokes) == "" {
		return s, nil
	}
	bad := &FieldError{"strokes", "The signature did not arrive whole: clear it and sign again, or type the name alone."}
	if err := json.Unmarshal([]byte(strokes), &s.Strokes); err != nil || len(s.Strokes) > maxStrokes {
		return Signature{}, bad
	}
	points := 0
	for _, line := range s.Strokes {
		points += len(line)
		for i, p := range line {
			if !(p[0] >= -50 && p[0] <= 150 && p[1] >= -50 && p[1] <= 150) {
				return Signature{}, bad
			}
			line[i] = Stroke{math.Round(p[0]*10) / 10, math.Round(p[1]*10) / 10}
		}
	}
	if points > maxPoints {
		return Signature{}, bad
	}
	return s, nil
}
