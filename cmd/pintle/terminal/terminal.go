// Package terminal is the face that a terminal shows: tables, large signs,
// bars, errors, and JSON. It knows results and the sentences of package words,
// and nothing of commands or files; it decides nothing.
package terminal

import (
	"fmt"
	"io"
	"os"

	"golang.org/x/term"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/words"
)

// Terminal is where a run of the program writes: the answer to Out, all else to
// Err. Whatever is written there comes out harmless (see outlet).
type Terminal struct {
	Out, Err io.Writer
	Colour   bool // bold and colours may be used on Out
	Large    bool // Out is a terminal: moves in large signs too
	Progress bool // Err is a terminal: bars are drawn

	out, err *outlet
}

// New returns the face that writes to the two streams. Of the environment it
// asks NO_COLOR and TERM.
func New(stdout, stderr io.Writer, getenv func(string) string) *Terminal {
	t := &Terminal{Large: isTerminal(stdout), Progress: isTerminal(stderr)}
	t.Colour = t.Large && getenv("NO_COLOR") == "" && getenv("TERM") != "dumb"
	t.out = &outlet{w: stdout, colour: t.Colour}
	t.err = &outlet{w: stderr}
	t.Out, t.Err = t.out, t.err
	return t
}

// isTerminal reports whether what is written to w is seen on a terminal.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// The size of what is no terminal, columns and rows.
const usualWidth, usualHeight = 80, 24

// Size is the size of Out now, columns and rows: a window may be drawn larger at
// any time.
func (t *Terminal) Size() (w, h int) {
	if f, ok := t.out.w.(*os.File); ok {
		if w, h, err := term.GetSize(int(f.Fd())); err == nil && w > 0 && h > 0 {
			return w, h
		}
	}
	return usualWidth, usualHeight
}

// Columns is the width of Out now.
func (t *Terminal) Columns() int {
	w, _ := t.Size()
	return w
}

// Lost returns the first error of writing the answer, nil when all of it was
// written. Ask it at the end.
func (t *Terminal) Lost() error {
	if err := t.out.flush(); err != nil {
		return advice.With(fmt.Errorf("the answer could not be written: %w", err), "check that the disk is not full and the reader of a pipe still there")
	}
	return nil
}

// styled is text with our own signs for bold and colour.
type styled string

// Bold marks text that must be seen first.
func (t *Terminal) Bold(s string) styled { return t.style("1", s) }

func (t *Terminal) style(code, s string) styled {
	s = words.Foreign(s)
	if !t.Colour {
		return styled(s)
	}
	return styled("\x1b[" + code + "m" + s + "\x1b[0m")
}

// line prints a line of the answer.
func (t *Terminal) line(format string, args ...any) { printLine(t.Out, format, args) }

// Line is line for verbs that word their answer themselves.
func (t *Terminal) Line(format string, args ...any) { t.line(format, args...) }

// lines prints whole lines of the answer, each after an indent.
func (t *Terminal) lines(indent string, all []string) {
	for _, s := range all {
		t.line("%s%s", indent, s)
	}
}

// note prints a line beside the answer.
func (t *Terminal) note(format string, args ...any) { printLine(t.Err, format, args) }

// longest is how many places a text within a line may take: no sentence of ours
// is as long (no source, chosen as a screen of 80 by 12).
const longest = 960

// printLine prints a line. Text among the arguments may be anyone's: it cannot
// end the line or begin another.
func printLine(w io.Writer, format string, args []any) {
	for i, a := range args {
		switch x := a.(type) {
		case styled:
		case string:
			args[i] = words.Short(x, longest)
		case error:
			args[i] = words.Short(x.Error(), longest)
		}
	}
	fmt.Fprintf(w, format+"\n", args...)
}

// Fail prints an error and what to try.
func (t *Terminal) Fail(err error) {
	t.note("pintle: %v", err)
	if try := advice.Of(err); try != "" {
		t.note("  try: %s", try)
	}
}

// Warn prints an error that does not stop the work, and what to try.
func (t *Terminal) Warn(err error) { t.Fail(err) }

// NoAnswer says why a verb that did its work has no answer.
func (t *Terminal) NoAnswer(reason string) {
	t.line("")
	t.refused(reason)
}
