package inspection

import (
	"errors"
	"fmt"

	"fairmetal/capture"
	"fairmetal/photo"
)

// Severity grades a notice.
type Severity string

// Severities of notices.
const (
	Info    Severity = "info"
	Warning Severity = "warning"
)

// Notice is a word to the technician that comes with a result.
type Notice struct {
	Code     string   `json:"code"`
	Severity Severity `json:"severity"`
	Text     string   `json:"text"`
	Advice   string   `json:"advice"`
}

// String is the notice in one line.
func (n Notice) String() string { return n.Text + "; " + n.Advice }

// Refusal says why a capture cannot be measured and what to do.
type Refusal struct {
	Code   string
	Text   string
	Advice string
}

// Error is the refusal in one line.
func (r *Refusal) Error() string {
	if r.Advice == "" {
		return r.Text
	}
	return r.Text + "; " + r.Advice
}

func refuse(code, text, advice string) *Refusal {
	return &Refusal{Code: code, Text: text, Advice: advice}
}

// refuseCapture carries a complaint about capture.json over.
func refuseCapture(err error) error {
	var e *capture.Error
	if errors.As(err, &e) {
		return refuse(e.Code, e.Text, e.Advice)
	}
	return refuse("capture", err.Error(), "check capture.json")
}

// refusePhoto carries a complaint about one photo over, with its name.
func refusePhoto(file string, err error) error {
	var e *photo.Error
	if errors.As(err, &e) {
		return refuse(e.Code, fmt.Sprintf("%s %s", file, e.Text), e.Advice)
	}
	return refuse("photo", fmt.Sprintf("%s cannot be read (%v)", file, err), "copy it again")
}

func (r *run) note(s Severity, code, text, advice string) {
	r.res.Notices = append(r.res.Notices, Notice{Code: code, Severity: s, Text: text, Advice: advice})
}
