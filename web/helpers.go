package web

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"fairmetal/job"
	"fairmetal/plan"
	"fairmetal/words"
)

// stepNames are the steps as people say them.
var stepNames = map[job.Step]string{job.Arrive: "Arrive", job.Look: "Look", job.Offer: "Offer", job.Work: "Work", job.Prove: "Prove", job.HandOver: "Hand over"}

// helpers are the functions of the templates in a language. t says a text: the English text is the key.
func helpers(l words.Lang) template.FuncMap {
	return template.FuncMap{
		"t":     func(v any) string { return l.T(fmt.Sprint(v)) },
		"n":     l.N,
		"money": l.Money,
		"date":  l.Date,
		"time":  l.Time,
		"mm":    func(um float64) string { return l.Number(um/1000, 2) },
		"f0":    func(v float64) string { return l.Number(v, 0) },
		"f1":    func(v float64) string { return l.Number(v, 1) },
		"f2":    func(v float64) string { return l.Number(v, 2) },
		"sign":  l.Signed,
		"pct":   func(v float64) string { return l.Number(math.Round(100*v), 0) },
		"stage": func(s plan.Stage) string {
			return map[plan.Stage]string{plan.Raise: "raise", plan.Level: "level", plan.Finish: "finish"}[s]
		},
		// Stripes can be level, too.
		"stagename": func(s plan.Stage) string {
			return map[plan.Stage]string{plan.Raise: "raise", plan.Level: "level out", plan.Finish: "finish"}[s]
		},
		"step": func(s job.Step) string { return l.T(stepNames[s]) },
		"tax": func(bp int64) string {
			return strings.TrimSuffix(strings.TrimRight(l.Number(float64(bp)/100, 2), "0"), l.Number(0.5, 1)[1:2])
		},
		"thumb": thumbOf,
		"placename": func(key string) string {
			p, _ := job.PlaceOf(key)
			return p.Name
		},
		"points": func(line []job.Stroke) string {
			var b strings.Builder
			for _, p := range line {
				fmt.Fprintf(&b, "%.1f,%.1f ", p[0], p[1])
			}
			return b.String()
		},
		"option": func(v string) string {
			if name := words.Lang(v).Name(); name != "" {
				return name
			}
			return l.T(v)
		},
		"list": func(v ...string) []string { return v },
		"map": func(kv ...any) map[string]any {
			m := map[string]any{}
			for i := 0; i+1 < len(kv); i += 2 {
				m[fmt.Sprint(kv[i])] = kv[i+1]
			}
			return m
		},
	}
}

// number reads what a person typed: comma or point; 0 where there is none, NaN-free.
func number(s string) float64 {
	v, err := strconv.ParseFloat(strings.ReplaceAll(strings.TrimSpace(s), ",", "."), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

// langOf is the language of a paper.
func langOf(p job.Paper) words.Lang { return words.Match(p.Lang) }
