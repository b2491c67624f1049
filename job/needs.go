package job

// Needs says what each step of a job still lacks, in words; a step that lacks nothing is done. captures and papers are the job's own.
func (j Job) Needs(captures []Capture, papers []Paper) map[Step][]string {
	out := map[Step][]string{}
	need := func(s Step, ok bool, text string) {
		if !ok {
			out[s] = append(out[s], text)
		}
	}
	measured := 0
	for _, c := range captures {
		if c.State == Measured {
			measured++
		}
	}
	made := map[string]bool{}
	for _, p := range papers {
		made[p.Kind] = made[p.Kind] || p.State != "taken back"
	}
	need(Arrive, j.Customer != "", "a customer")
	need(Arrive, j.FilmUM > 0 || len(j.Record.Arrival.Readings) > 0, "paint readings")
	need(Arrive, j.Record.Arrival.Consent.Given(), "consent to the risks")
	need(Look, measured > 0, "a measured capture")
	need(Offer, j.Record.Deal.Choice != "", "a choice: all, some or decline")
	if j.Record.Deal.Choice == "decline" {
		return out
	}
	need(Offer, made["quote"] || j.Record.Deal.Paper != "", "a quote")
	need(Offer, j.Record.Deal.Accepted.Given() || j.Record.Deal.How != "", "the customer's yes")
	need(Work, len(j.Record.Work.Hits) > 0, "hits done")
	need(Prove, measured > 1, "a capture after the work")
	need(HandOver, made["invoice"], "an invoice")
	need(HandOver, j.Record.Departure.Received.Given(), "a signature for the vehicle")
	return out
}
