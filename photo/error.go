package photo

// Error says what is wrong with a photo and what to do. Text goes on from the file's name ("ends early ...").
type Error struct {
	Code   string // stable: truncated, not-image, unsupported, too-large, damaged
	Text   string
	Advice string
}

// Error is the complaint in one line.
func (e *Error) Error() string { return e.Text + "; " + e.Advice }

func truncated() *Error {
	return &Error{"truncated", "ends early (file damaged)", "copy it again"}
}
