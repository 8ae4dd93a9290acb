package terminal

import (
	"io"
	"regexp"
	"sync"
	"unicode/utf8"

	"pintle/cmd/pintle/words"
)

// outlet is a stream that nothing raw can pass: beside plain text only the end
// of a line, a tab and, with colour, the signs for it are let through, all else
// is shown escaped. It keeps the first error of writing; what is written after
// it is dropped.
type outlet struct {
	mu     sync.Mutex
	w      io.Writer
	colour bool
	rest   []byte // the beginning of a sign cut by the end of a write
	err    error
}

// colourSign is our own sign for bold and colours (SGR of ECMA-48).
var colourSign = regexp.MustCompile(`^\x1b\[[0-9;]*m`)

func (o *outlet) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	n := len(p)
	if len(o.rest) > 0 {
		p = append(o.rest, p...)
		o.rest = nil
	}
	var clean []byte
	for len(p) > 0 {
		r, size := utf8.DecodeRune(p)
		switch {
		case r == utf8.RuneError && size == 1 && !utf8.FullRune(p):
			o.rest = append(o.rest, p...)
			p = nil
			continue
		case r == '\n' || r == '\t' || words.Plain(r):
			clean = append(clean, p[:size]...)
		case r == 0x1b && o.colour && colourSign.Match(p):
			size = len(colourSign.Find(p))
			clean = append(clean, p[:size]...)
		default:
			clean = append(clean, words.Foreign(string(p[:size]))...)
		}
		p = p[size:]
	}
	if o.write(clean); o.err != nil {
		return 0, o.err
	}
	return n, nil
}

// steer writes what moves the cursor: bars, and nothing that is not ours.
func (o *outlet) steer(s string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.write([]byte(s))
}

func (o *outlet) write(p []byte) {
	if o.err == nil && len(p) > 0 {
		_, o.err = o.w.Write(p)
	}
}

// flush writes what is kept and returns the first error.
func (o *outlet) flush() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.write([]byte(words.Foreign(string(o.rest))))
	o.rest = nil
	return o.err
}
