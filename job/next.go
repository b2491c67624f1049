package job

// Next is the one thing to do next on a job, in a few words; last is its newest capture, if it has one.
func (j Job) Next(last Capture) string {
	has := last.ID != ""
	switch {
	case j.Declined:
		return "declined"
	case j.Step == Done:
		return "closed"
	case has && last.State == Refused && (j.Step == Arrive || j.Step == Look || j.Step == Prove):
		return "take the photos again"
	case has && (last.State == Queued || last.State == Measuring):
		return "wait for the measurement"
	}
	switch j.Step {
	case Arrive, Look:
		if !has {
			return "take photos"
		}
		return "look at the marks"
	case Offer:
		switch {
		case !has:
			return "take photos"
		case j.Record.Deal.Paper == "":
			return "make the quote"
		case !j.Record.Deal.Accepted.Given():
			return "get the customer's yes"
		}
		return "start the work"
	case Work:
		return "work on"
	case Prove:
		return "photograph and check"
	}
	return "hand over"
}
