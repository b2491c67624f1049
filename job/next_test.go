package job

import (
	"testing"
	"time"
)

// TestNext: one thing to do for each state of a job, and nothing for one that has left the bench.
func TestNext(t *testing.T) {
	measured := Capture{ID: "c", State: Measured}
	for _, c := range []struct {
		job  Job
		last Capture
		want string
	}{
		{Job{Step: Arrive}, Capture{}, "take photos"},
		{Job{Step: Look}, Capture{ID: "c", State: Queued}, "wait for the measurement"},
		{Job{Step: Look}, Capture{ID: "c", State: Refused}, "take the photos again"},
		{Job{Step: Look}, measured, "look at the marks"},
		{Job{Step: Offer}, Capture{}, "take photos"},
		{Job{Step: Offer}, measured, "make the quote"},
		{Job{Step: Offer, Record: Record{Deal: Deal{Paper: "p"}}}, measured, "get the customer's yes"},
		{Job{Step: Offer, Record: Record{Deal: Deal{Paper: "p", Accepted: Signature{At: time.Unix(1, 0)}}}}, measured, "start the work"},
		{Job{Step: Work}, Capture{ID: "c", State: Refused}, "work on"},
		{Job{Step: Prove}, measured, "photograph and check"},
		{Job{Step: HandOver}, measured, "hand over"},
		{Job{Step: Done}, measured, "closed"},
		{Job{Step: Done, Declined: true}, measured, "declined"},
	} {
		if got := c.job.Next(c.last); got != c.want {
			t.Errorf("%s: %q, want %q", c.job.Step, got, c.want)
		}
	}
}
