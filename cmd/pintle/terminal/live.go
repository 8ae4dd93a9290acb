package terminal

import (
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// lines writes a line for each frame. What the reader does not take up in time
// is dropped, once there is much of it.
type lines struct {
	out    chan []byte
	done   chan struct{}
	render func(*session.State) []byte
	aside  func(string)    // says what cannot wait for a frame; nil for nobody
	told   map[string]bool // of that
}

const mostLines = 4096

func newLines(w io.Writer, render func(*session.State) []byte) *lines {
	l := &lines{out: make(chan []byte, mostLines), done: make(chan struct{}), render: render, told: map[string]bool{}}
	go func() {
		defer close(l.done)
		for b := range l.out {
			if _, err := w.Write(b); err != nil {
				return
			}
		}
	}()
	return l
}

func (l *lines) Frame(st session.State) {
	select {
	case l.out <- l.render(&st):
	default:
	}
}

// Show tells what frames may be missing for.
func (l *lines) Show(st session.State) {
	for _, n := range st.Notes {
		w := words.Note(n)
		if n.Kind != session.FolderTooDeep && n.Kind != session.FolderTooMany || l.told[w] || l.aside == nil {
			continue
		}
		l.told[w] = true
		l.aside("note: " + w)
	}
}

// Close waits a little for a reader that is slow.
func (l *lines) Close() {
	close(l.out)
	select {
	case <-l.done:
	case <-time.After(2 * time.Second):
	}
}

// Live is a view of a run that must be closed.
type Live interface {
	session.View
	Close()
}

// LiveJSON is the view that prints an object for each frame.
func (t *Terminal) LiveJSON() Live {
	l := newLines(t.Out, func(st *session.State) []byte {
		b, err := json.Marshal(liveLine(st))
		if err != nil {
			return nil
		}
		return append(numbered(b), '\n')
	})
	l.aside = t.Note
	return l
}

// LiveLines is the view for a place that is no terminal: first where and for
// which pole, then a line for each frame.
func (t *Terminal) LiveLines() Live {
	said := ""
	l := newLines(t.Out, func(st *session.State) []byte {
		out := ""
		if now := words.Standing(&st.Setting); now != said && st.Setting.Settled {
			said, out = now, now+"\n"
		}
		return []byte(out + plainLine(st) + "\n")
	})
	l.aside = t.Note
	return l
}

// plainLine is one frame in one line.
func plainLine(st *session.State) string {
	var b strings.Builder
	if st.Simulated {
		b.WriteString(words.Simulation + "  ")
	}
	f := st.Last
	if f.Miss != nil {
		own := st.OfFrame()
		st = &own
	}
	fmt.Fprintf(&b, "%s ", words.Pad(filepath.Base(f.Path), 20))
	switch a := st.Answer; {
	case st.Refusal != nil:
		b.WriteString("NO ANSWER  " + words.Refusal(st.Refusal))
	case f.Miss != nil:
		b.WriteString(words.Miss(f))
	case a == nil:
		fmt.Fprintf(&b, "%s  recognised", st.Phase)
	default:
		if len(st.Doubts) > 0 {
			b.WriteString("DOUBTFUL  ")
		}
		fmt.Fprintf(&b, "%s  ", st.Phase)
		for _, m := range st.Moves {
			fmt.Fprintf(&b, "%s %s  ", words.Sign(m.Direction), words.Hand(m))
		}
		b.WriteString(words.OffBy(st))
	}
	if n := words.Together(st); n != "" {
		fmt.Fprintf(&b, "  (%s)", n)
	}
	return words.Foreign(b.String())
}

// screen fills a terminal, as large as it allows, in red, and keeps to its size
// when that changes.
type screen struct {
	t     *Terminal
	size  func() (w, h int)
	links []string
	code  string // the QR code of the page, shown in place of all else when asked for
	now   func() time.Time

	mu    sync.Mutex
	last  session.State
	at    time.Time
	codes bool
	asked string
	fresh chan struct{}
	quit  chan struct{}
	done  chan struct{}
	left  sync.Once
}

// Screen is the view that fills a terminal.
type Screen interface {
	Live
	// Code shows the page's QR code, or ends that.
	Code()
	// Ask shows a question and what was typed so far; "" ends it.
	Ask(question string)
	// Leave gives the terminal back at once, without waiting for anything.
	Leave()
}

// LiveScreen returns the view for a terminal; links and code are the page's
// addresses and QR code.
func (t *Terminal) LiveScreen(links []string, code string, now func() time.Time) Screen {
	s := newScreen(t, t.Size, links, now)
	s.code = code
	t.out.steer("\x1b[?1049h\x1b[?25l") // a screen of its own, without a cursor
	go s.run()
	return s
}

func newScreen(t *Terminal, size func() (int, int), links []string, now func() time.Time) *screen {
	return &screen{t: t, size: size, links: links, now: now, at: now(), fresh: make(chan struct{}, 1), quit: make(chan struct{}), done: make(chan struct{})}
}

func (s *screen) Frame(st session.State) {
	s.mu.Lock()
	s.at = s.now()
	s.mu.Unlock()
	s.Show(st)
}

func (s *screen) Show(st session.State) {
	s.mu.Lock()
	s.last = st
	s.mu.Unlock()
	s.poke()
}

func (s *screen) Code() {
	s.mu.Lock()
	s.codes = !s.codes && s.code != ""
	s.mu.Unlock()
	s.poke()
}

func (s *screen) Ask(question string) {
	s.mu.Lock()
	s.asked = question
	s.mu.Unlock()
	s.poke()
}

func (s *screen) poke() {
	select {
	case s.fresh <- struct{}{}:
	default:
	}
}

func (s *screen) run() {
	defer close(s.done)
	tick := time.NewTicker(500 * time.Millisecond)
	defer tick.Stop()
	w0, h0 := s.size()
	drawn := s.now()
	for {
		select {
		case <-s.quit:
			return
		case <-s.fresh:
		case <-tick.C:
			w, h := s.size()
			if w == w0 && h == h0 && s.now().Sub(drawn) < 5*time.Second {
				continue
			}
			w0, h0 = w, h
		}
		drawn = s.now()
		s.draw()
	}
}

func (s *screen) draw() {
	s.mu.Lock()
	st, age, codes, asked := s.last, s.now().Sub(s.at), s.codes, s.asked
	s.mu.Unlock()
	w, h := s.size()
	var b strings.Builder
	b.WriteString("\x1b[H")
	if codes {
		b.WriteString("\x1b[J" + strings.ReplaceAll(s.code, "\n", "\r\n"))
	} else {
		for i, r := range panel(&st, asked, s.links, age, w, h) {
			if i > 0 {
				b.WriteString("\r\n")
			}
			b.WriteString(s.t.red(r) + "\x1b[K")
		}
		b.WriteString("\x1b[J")
	}
	if !st.Muted && st.Within && !st.Old && len(st.Doubts) == 0 {
		b.WriteByte('\a')
	}
	s.t.out.steer(b.String())
}

// red is the colour of the night; a row that must be seen first is bold too.
func (t *Terminal) red(r row) string {
	text := words.Foreign(r.text)
	switch {
	case !t.Colour:
		return text
	case r.bold:
		return "\x1b[1;31m" + text + "\x1b[0m"
	}
	return "\x1b[31m" + text + "\x1b[0m"
}

// Leave gives the terminal its own screen and cursor back.
func (s *screen) Leave() {
	s.left.Do(func() { s.t.out.steer("\x1b[?25h\x1b[?1049l") })
}

// Close leaves the last state on the terminal.
func (s *screen) Close() {
	close(s.quit)
	select {
	case <-s.done:
	case <-time.After(time.Second):
	}
	s.Leave()
	w, h := s.size()
	var b strings.Builder
	st := s.last
	st.Hands = nil // nothing is commanded any more
	for _, r := range ended(&st, s.now().Sub(s.at), w, h) {
		b.WriteString(words.Foreign(r.text) + "\r\n")
	}
	s.t.out.steer(b.String())
}

// Addresses prints those of the page.
func (t *Terminal) Addresses(links []string) {
	for _, l := range links {
		t.note("page: %s", l)
	}
}

// Code prints a QR code.
func (t *Terminal) Code(code string) { t.err.steer(code) }
