package job

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// ClassMM are the upper ends of our size classes of marks, by their length, mm; the last class is open.
var ClassMM = []float64{10, 20, 40, 80}

// Classes counts marks by size: one more class than ClassMM.
func Classes(sizes []Size) []int {
	out := make([]int, len(ClassMM)+1)
	for _, s := range sizes {
		i, _ := slices.BinarySearch(ClassMM, s.LengthMM)
		out[i]++
	}
	return out
}

// Match finds the job that a folder or file name means: its vehicle stands in it, by one of its names, and its panel, unless the vehicle has one
// job only. names gives what a job's vehicle and panel are called. Case, signs and word order of the panel do not matter.
func Match(jobs []Job, path string, names func(Job) (vehicle, panel []string)) (Job, error) {
	in := tokens(path)
	type found struct {
		job   Job
		words int // of the panel: "roof front" means more than "roof"
	}
	var vehicle []Job
	var best []found
	longest := 0
	for _, j := range jobs {
		v, _ := names(j)
		n := 0
		for _, name := range v {
			if w := tokens(name); len(w) > n && consecutive(in, w) {
				n = len(w)
			}
		}
		switch {
		case n == 0 || n < longest:
		case n > longest:
			longest, vehicle = n, []Job{j}
		default:
			vehicle = append(vehicle, j)
		}
	}
	if len(vehicle) == 0 {
		return Job{}, &FieldError{"folder", fmt.Sprintf("No vehicle of the sheet is named in %q: rename the folder.", path)}
	}
	for _, j := range vehicle {
		_, p := names(j)
		n := 0
		for _, name := range p {
			if w := tokens(name); len(w) > n && all(in, w) {
				n = len(w)
			}
		}
		switch {
		case n == 0 || len(best) > 0 && n < best[0].words:
		case len(best) == 0 || n > best[0].words:
			best = []found{{j, n}}
		default:
			best = append(best, found{j, n})
		}
	}
	switch {
	case len(best) == 1:
		return best[0].job, nil
	case len(vehicle) == 1:
		return vehicle[0], nil
	case len(best) == 0:
		return Job{}, &FieldError{"folder", fmt.Sprintf("The vehicle of %q has several panels, and none is named: rename the folder.", path)}
	}
	return Job{}, &FieldError{"folder", fmt.Sprintf("%q fits several panels: name the panel in full.", path)}
}

// tokens are the words and the figures of a name, lower case.
func tokens(s string) []string {
	var out []string
	var kind rune
	for _, r := range strings.ToLower(s) {
		k := ' '
		if unicode.IsLetter(r) {
			k = 'a'
		} else if unicode.IsDigit(r) {
			k = '1'
		}
		switch {
		case k == ' ':
		case k == kind:
			out[len(out)-1] += string(r)
		default:
			out = append(out, string(r))
		}
		kind = k
	}
	for i, w := range out {
		if w[0] >= '0' && w[0] <= '9' {
			if w = strings.TrimLeft(w, "0"); w == "" {
				w = "0"
			}
			out[i] = w
		}
	}
	return out
}

// consecutive tells whether the words follow each other somewhere.
func consecutive(in, words []string) bool {
	for i := 0; len(words) > 0 && i+len(words) <= len(in); i++ {
		if slices.Equal(in[i:i+len(words)], words) {
			return true
		}
	}
	return false
}

// all tells whether each of the words is there.
func all(in, words []string) bool {
	return len(words) > 0 && !slices.ContainsFunc(words, func(w string) bool { return !slices.Contains(in, w) })
}
