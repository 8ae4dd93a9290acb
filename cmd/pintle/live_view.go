package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"sync"
	"time"

	"pintle/cmd/pintle/page"
)

// view shows a run. Neither call may wait for whoever looks.
type view interface {
	// frame shows the state after a frame, every one of them.
	frame(page.State)
	// state shows a change that came of no frame.
	state(page.State)
	close()
}

// lines writes a line for each frame. What the reader does not take up in time
// is dropped, once there is much of it.
type lines struct {
	out    chan []byte
	done   chan struct{}
	render func(page.State) []byte
}

const mostLines = 4096

func newLines(w io.Writer, render func(page.State) []byte) *lines {
	l := &lines{make(chan []byte, mostLines), make(chan struct{}), render}
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

func (l *lines) frame(s page.State) {
	select {
	case l.out <- l.render(s):
	default:
	}
}

func (l *lines) state(page.State) {}

// close waits a little for a reader that is slow.
func (l *lines) close() {
	close(l.out)
	select {
	case <-l.done:
	case <-time.After(2 * time.Second):
	}
}

func jsonLine(s page.State) []byte {
	b, err := json.Marshal(lineOf(s))
	if err != nil {
		return nil
	}
	return append(b, '\n')
}

// screen redraws a panel in place.
type screen struct {
	w     io.Writer
	links []string
	bold  func(string) string
	width func() int
	now   func() time.Time

	mu     sync.Mutex
	last   page.State
	at     time.Time
	fresh  chan struct{}
	quit   chan struct{}
	done   chan struct{}
	height int
}

func newScreen(w io.Writer, links []string, bold func(string) string, width func() int, now func() time.Time) *screen {
	s := &screen{w: w, links: links, bold: bold, width: width, now: now, fresh: make(chan struct{}, 1), quit: make(chan struct{}), done: make(chan struct{})}
	s.at = now()
	go s.run()
	return s
}

func (s *screen) frame(st page.State) {
	s.mu.Lock()
	s.at = s.now()
	s.mu.Unlock()
	s.state(st)
}

func (s *screen) state(st page.State) {
	s.mu.Lock()
	s.last = st
	s.mu.Unlock()
	select {
	case s.fresh <- struct{}{}:
	default:
	}
}

func (s *screen) run() {
	defer close(s.done)
	tick := time.NewTicker(5 * time.Second)
	defer tick.Stop()
	for {
		select {
		case <-s.quit:
			s.draw()
			return
		case <-s.fresh:
		case <-tick.C:
		}
		s.draw()
	}
}

func (s *screen) draw() {
	s.mu.Lock()
	st, age := s.last, s.now().Sub(s.at)
	s.mu.Unlock()
	var b bytes.Buffer
	if s.height > 0 {
		fmt.Fprintf(&b, "\x1b[%dA", s.height)
	}
	b.WriteString("\r\x1b[J")
	rows := panel(st, s.links, age, s.bold)
	for _, r := range rows {
		b.WriteString(clip(r, s.width()))
		b.WriteString("\r\n")
	}
	s.height = len(rows)
	if !st.Muted && st.Within && st.Solved {
		b.WriteByte('\a')
	}
	_, _ = s.w.Write(b.Bytes()) // a terminal that went away ends the run by itself
}

func (s *screen) close() {
	close(s.quit)
	select {
	case <-s.done:
	case <-time.After(time.Second):
	}
}

// clip cuts a line to a width, control sequences left whole and not counted.
func clip(s string, width int) string {
	n, esc := 0, false
	for i, r := range s {
		switch {
		case esc:
			esc = r != 'm'
		case r == '\x1b':
			esc = true
		default:
			if n++; width > 0 && n > width {
				return s[:i] + "\x1b[0m"
			}
		}
	}
	return s
}
