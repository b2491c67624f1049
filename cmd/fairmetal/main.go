// Command fairmetal measures dents from photos of mirrored stripes and carries the repair from the first look to the invoice.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"fairmetal/inspection"
)

// Exit codes are part of the interface.
const (
	exitFailed  = 1 // something went wrong
	exitRefused = 2 // the input cannot be used; the line on stderr says why and what to do
)

// commands is the command line.
type commands struct {
	Log string `help:"Form of the log on stderr: text for people, json for programs." enum:"text,json" default:"text" env:"FAIRMETAL_LOG"`

	Demo     demoCmd     `cmd:"" help:"Make a demo workshop, measure it and show it in the browser."`
	Serve    serveCmd    `cmd:"" help:"Serve the web app on your workshop."`
	Backup   backupCmd   `cmd:"" help:"Write the workshop into one file, also while it is open."`
	Restore  restoreCmd  `cmd:"" help:"Make a workshop of a backup, in an empty folder."`
	Support  supportCmd  `cmd:"" help:"Write what helps to find a fault into one file, without personal data."`
	People   peopleCmd   `cmd:"" help:"List who may sign in on the network, let people in and out."`
	Doctor   doctorCmd   `cmd:"" help:"Find missing, torn or altered files and say what to do."`
	Worker   workerCmd   `cmd:"" help:"Measure the captures of a shared workshop, on any number of computers."`
	Measure  measureCmd  `cmd:"" help:"Measure a capture: height map, marks, overlay."`
	Plan     planCmd     `cmd:"" help:"Plan the repair of a measured panel."`
	Quote    quoteCmd    `cmd:"" help:"Price the repair and write the quote as PDF."`
	Compare  compareCmd  `cmd:"" help:"Tell what happened between two captures."`
	Fair     fairCmd     `cmd:"" help:"The hand-over check: does any reflected line wobble, from any side?"`
	Tracing  tracingCmd  `cmd:"" help:"Draw a round of hits at true size (PDF), to lay over the panel."`
	Metal    metalCmd    `cmd:"" help:"Tell what a tip does to a sheet: force, height under load, what stays."`
	Shot     shotCmd     `cmd:"" help:"Tell which photo measures a flaw of a size and depth."`
	Export   exportCmd   `cmd:"" help:"Write a measured surface as X3P, TIFF, PLY, STL or CSV."`
	Card     cardCmd     `cmd:"" help:"Print scale cards at true size (PDF)."`
	Board    boardCmd    `cmd:"" help:"Print a striped board at true size (PDF)."`
	Rehearse rehearseCmd `cmd:"" help:"Work made-up panels in the computer: does the plan hold?"`
	Scenes   scenesCmd   `cmd:"" help:"Render our own fleet with truth, for the score table."`
	Score    scoreCmd    `cmd:"" help:"Compare measured scenes with their truth: the score table."`
}

// streams are where a command writes: results to Out, words to the person to Err.
type streams struct {
	Out, Err io.Writer
}

func main() {
	os.Exit(run(os.Args[1:], streams{os.Stdout, os.Stderr}))
}

func run(args []string, s streams) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var c commands
	exited := -1
	parser, err := kong.New(&c,
		kong.Name("fairmetal"),
		kong.Description("Reads dents from the reflection of a striped board and plans their repair without paint."),
		kong.UsageOnError(),
		kong.Writers(s.Out, s.Err),
		kong.Exit(func(code int) { exited = code }),
		kong.Bind(s),
		kong.BindTo(ctx, (*context.Context)(nil)),
	)
	if err != nil {
		fmt.Fprintln(s.Err, err)
		return exitFailed
	}
	k, err := parser.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		fmt.Fprintf(s.Err, "fairmetal: %v; see fairmetal --help\n", err)
		return exitRefused
	}
	logTo(s.Err, c.Log)
	return exitCode(k.Run(), s)
}

// exitCode prints an error in one line and tells its exit code.
func exitCode(err error, s streams) int {
	var refusal *inspection.Refusal
	switch {
	case err == nil:
		return 0
	case errors.As(err, &refusal):
		fmt.Fprintf(s.Err, "refused: %v\n", refusal)
		return exitRefused
	}
	fmt.Fprintf(s.Err, "fairmetal: %v\n", err)
	return exitFailed
}

// printJSON writes v as indented JSON.
func printJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(v)
}
