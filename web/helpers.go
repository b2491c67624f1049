package web

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"fairmetal/job"
	"fairmetal/plan"
)

// stepNames are the steps as people say them.
var stepNames = map[job.Step]string{job.Arrive: "Arrive", job.Look: "Look", job.Offer: "Offer", job.Work: "Work", job.Prove: "Prove", job.HandOver: "Hand over"}

// helpers are the functions of the templates. t marks every text for translation: the English text is the key.
var helpers = template.FuncMap{
	"t":     text,
	"money": money,
	"mm":    func(um float64) string { return fmt.Sprintf("%.2f", um/1000) },
	"f0":    func(v float64) string { return strconv.FormatFloat(math.Round(v), 'f', 0, 64) },
	"f1":    func(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) },
	"sign":  func(v float64) string { return fmt.Sprintf("%+.0f", v) },
	"pct":   func(v float64) int { return int(math.Round(100 * v)) },
	"stage": func(s plan.Stage) string {
		return map[plan.Stage]string{plan.Raise: "raise", plan.Level: "level", plan.Finish: "finish"}[s]
	},
	"step":  func(s job.Step) string { return stepNames[s] },
	"count": count,
	"tax": func(bp int64) string {
		return strings.TrimRight(strings.TrimRight(fmt.Sprintf("%d.%02d", bp/100, bp%100), "0"), ".")
	},
	"map": func(kv ...any) map[string]any {
		m := map[string]any{}
		for i := 0; i+1 < len(kv); i += 2 {
			m[fmt.Sprint(kv[i])] = kv[i+1]
		}
		return m
	},
}

// money formats minor units; papers format by locale, pages stay plain.
func money(minor int64, currency string) string {
	sign := ""
	if minor < 0 {
		sign, minor = "-", -minor
	}
	return fmt.Sprintf("%s%d.%02d %s", sign, minor/100, minor%100, currency)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// number reads what a person typed: comma or point; 0 where there is none, NaN-free.
func number(s string) float64 {
	v, err := strconv.ParseFloat(strings.ReplaceAll(strings.TrimSpace(s), ",", "."), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}
