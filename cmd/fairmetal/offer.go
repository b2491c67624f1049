package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"
	"time"

	"fairmetal/compare"
	"fairmetal/fair"
	"fairmetal/inspection"
	"fairmetal/offer"
	"fairmetal/quote"
	"fairmetal/rack"
	"fairmetal/report"
)

// facts are the flags that plan and quote share.
type facts struct {
	Dir       string  `arg:"" help:"Result folder of fairmetal measure." type:"existingdir"`
	Rack      string  `help:"JSON file with your own tools." type:"existingfile"`
	Material  string  `help:"Sheet: steel, aluminium, mild steel, bake-hardening steel, aluminium 6xxx, aluminium 5xxx. Left out: as in capture.json."`
	Thickness float64 `help:"Sheet thickness in mm."`
	Yield     float64 `help:"Yield stress in MPa, if the metal felt harder or softer."`
	Told      string  `help:"What the rounds before told: the file that compare --round N --json printed." type:"existingfile"`
	Support   float64 `help:"Distance in mm from the damage to where the skin is held."`
	Film      float64 `help:"Measured paint thickness in um."`
	Refinish  bool    `help:"The panel was painted again."`
	Temp      float64 `help:"Skin temperature while working, C."`
	Kind      string  `help:"Kind of panel: roof, door, bonnet, wing, tailgate, quarter."`
	NoReach   bool    `help:"The back cannot be reached: pull only."`
	Access    string  `help:"JSON file that tells how areas are reached from behind." type:"existingfile"`
	JSON      bool    `name:"json" help:"Print JSON."`
}

func (f facts) make(rates quote.Rates) (*inspection.Stored, offer.Offer, error) {
	stored, err := inspection.Load(os.DirFS(f.Dir))
	if err != nil {
		return nil, offer.Offer{}, refused("result", err)
	}
	r := rack.Default()
	if f.Rack != "" {
		data, err := os.ReadFile(f.Rack)
		if err != nil {
			return nil, offer.Offer{}, err
		}
		if r, err = rack.Parse(data); err != nil {
			return nil, offer.Offer{}, refused("rack", err)
		}
	}
	var access rack.Access
	if f.Access != "" {
		data, err := os.ReadFile(f.Access)
		if err != nil {
			return nil, offer.Offer{}, err
		}
		if access, err = rack.ParseAccess(data); err != nil {
			return nil, offer.Offer{}, refused("access", err)
		}
	}
	known := offer.Facts{Material: f.Material, ThicknessMM: f.Thickness, YieldMPa: f.Yield, SupportMM: f.Support,
		FilmUM: f.Film, Refinish: f.Refinish, TempC: f.Temp, PanelKind: f.Kind, NoReach: f.NoReach, Access: access}
	if f.Told != "" {
		if known, err = heard(f.Told, known); err != nil {
			return nil, offer.Offer{}, refused("told", err)
		}
	}
	limits := fair.DefaultLimits(fair.PaintOf(stored.Capture.Panel.Paint))
	o, err := offer.MakeWith(stored, known, r, rates, offer.Books{Fair: &limits})
	if err != nil {
		return nil, offer.Offer{}, refused("plan", err)
	}
	return stored, o, nil
}

// heard adds what compare has printed to what is known; a yield that is given by hand goes before.
func heard(file string, known offer.Facts) (offer.Facts, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return known, err
	}
	var doc struct{ Story *compare.Story }
	if err := json.Unmarshal(data, &doc); err != nil {
		return known, fmt.Errorf("%s cannot be read (%w); write it with fairmetal compare BEFORE AFTER --round N --json", file, err)
	}
	if doc.Story == nil || doc.Story.YieldMPa <= 0 {
		return known, fmt.Errorf("%s tells nothing of the metal; write it with fairmetal compare BEFORE AFTER --round N --json", file)
	}
	if known.YieldMPa == 0 {
		known.YieldMPa = doc.Story.YieldMPa
	}
	known.Shape = doc.Story.Shape
	return known, nil
}

// refused makes an error about the input exit with the code for refusals.
func refused(code string, err error) error {
	var r *inspection.Refusal
	if errors.As(err, &r) {
		return err
	}
	return &inspection.Refusal{Code: code, Text: err.Error()}
}

type quoteCmd struct {
	facts
	Rates    string `help:"JSON file with your own rates." type:"existingfile"`
	House    string `help:"Name of the workshop on the paper." default:"Fairmetal workshop"`
	Customer string `help:"Name of the customer on the paper."`
	Vehicle  string `help:"The vehicle on the paper."`
	Number   string `help:"Number of the quote."`
	Lang     string `help:"Language of the paper." enum:"en,de" default:"en"`
}

// Run prices the repair and writes the paper.
func (c *quoteCmd) Run(s streams) error {
	rates := quote.DefaultRates()
	if c.Rates != "" {
		data, err := os.ReadFile(c.Rates)
		if err != nil {
			return err
		}
		if rates, err = quote.ParseRates(data); err != nil {
			return refused("rates", err)
		}
	}
	stored, o, err := c.make(rates)
	if err != nil {
		return err
	}
	files, err := o.Files()
	if err != nil {
		return err
	}
	now := time.Now()
	number := c.Number
	if number == "" {
		number = now.Format("20060102-1504")
	}
	l := offer.Letterhead{House: report.House{Name: c.House}, Vehicle: c.Vehicle, Number: number, Date: now, Lang: c.Lang}
	if c.Customer != "" {
		l.Customer = []string{c.Customer}
	}
	if files["quote.pdf"], err = o.Paper(stored, os.DirFS(c.Dir), l); err != nil {
		return err
	}
	if err := inspection.Save(c.Dir, files); err != nil {
		return err
	}
	if c.JSON {
		return printJSON(s.Out, o.Quote)
	}
	printVerdict(s, o)
	printQuote(s, o.Quote)
	fmt.Fprintf(s.Out, "quote in %s\n", filepath.Join(c.Dir, "quote.pdf"))
	return nil
}

func printQuote(s streams, q quote.Quote) {
	if q.Answer == "declined" {
		fmt.Fprintln(s.Out, "declined:")
		for _, r := range q.Reasons {
			fmt.Fprintf(s.Out, "  %s\n", r)
		}
		return
	}
	t := tabwriter.NewWriter(s.Out, 0, 0, 2, ' ', tabwriter.AlignRight)
	for _, l := range q.Lines {
		fmt.Fprintf(t, "%s\t%s\t%.2f\t\n", l.Text, l.Why, float64(l.AmountMinor)/100)
	}
	for _, x := range q.Taxes {
		fmt.Fprintf(t, "%s\t%.2f %% of %.2f\t%.2f\t\n", x.Name, float64(x.RateBP)/100, float64(x.BaseMinor)/100, float64(x.AmountMinor)/100)
	}
	fmt.Fprintf(t, "total\t%.1f h (%.1f to %.1f)\t%.2f\t%s\n", q.Hours, q.HoursLow, q.HoursHigh, float64(q.TotalMinor)/100, q.Currency)
	t.Flush()
}
