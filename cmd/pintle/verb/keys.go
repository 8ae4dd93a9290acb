package verb

import (
	"context"
	"os"

	"golang.org/x/term"

	"pintle/cmd/pintle/evening"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
)

// keys reads single keys from a terminal until the context ends. The one that
// ends the run does not wait behind a frame.
func keys(ctx context.Context, quit func(), in *os.File, r *session.Run, screen terminal.Screen) (restore func()) {
	fd := int(in.Fd())
	if !term.IsTerminal(fd) {
		return func() {}
	}
	old, err := term.MakeRaw(fd)
	if err != nil {
		return func() {}
	}
	k := keyboard{pretended: r.Rehearse != nil, screen: screen}
	go func() {
		var b [1]byte
		for {
			if n, err := in.Read(b[:]); n == 0 || err != nil {
				return
			}
			if r.Keys != nil && (!k.typing || r.Turning()) && r.Keys(b[0]) {
				continue // a stop goes before what is typed
			}
			if a, ok := k.press(b[0]); ok {
				if a.Name == session.Quit {
					quit()
					return
				}
				select {
				case r.Actions <- a:
				case <-ctx.Done():
					return
				}
			}
		}
	}()
	return func() { _ = term.Restore(fd, old) }
}

// keyboard turns keys into actions.
type keyboard struct {
	pretended bool // mount and camera, turned by keys
	screen    terminal.Screen
	typing    bool // a place
	typed     []byte
}

// Keys that are not letters.
const (
	ctrlC, ctrlD, enter, escape, backspace, del = 3, 4, 13, 27, 8, 127
)

func (k *keyboard) press(b byte) (session.Action, bool) {
	if k.typing {
		return k.letter(b)
	}
	switch b {
	case 'q', 'Q', ctrlC, ctrlD:
		return session.Action{Name: session.Quit}, true
	case 'n', 'N':
		return session.Action{Name: session.Fresh}, true
	case 'r', 'R':
		return session.Action{Name: session.ResumeRun}, true
	case 'm', 'M':
		return session.Action{Name: session.ToggleMute}, true
	case '+', '=':
		return session.Action{Name: session.StepTolerance, Value: 1}, true
	case '-', '_':
		return session.Action{Name: session.StepTolerance, Value: -1}, true
	case 'p', 'P':
		k.screen.Code()
		return session.Action{}, false
	}
	if k.pretended {
		x, ok := pretendedKeys[b]
		return x, ok
	}
	if b == 's' || b == 'S' {
		k.typing, k.typed = true, nil
		k.ask("")
	}
	return session.Action{}, false
}

// letter takes a key while a place is typed.
func (k *keyboard) letter(b byte) (session.Action, bool) {
	switch b {
	case ctrlC, ctrlD:
		return session.Action{Name: session.Quit}, true
	case escape:
		k.typing = false
		k.screen.Ask("")
	case enter, '\n':
		site, err := evening.ReadPlace(string(k.typed))
		if err != nil {
			k.ask(err.Error())
			return session.Action{}, false
		}
		k.typing = false
		k.screen.Ask("")
		return session.Action{Name: session.Place, Site: &site}, true
	case backspace, del:
		r := []rune(string(k.typed))
		k.typed = []byte(string(r[:max(0, len(r)-1)]))
		k.ask("")
	default:
		if b >= ' ' && len(k.typed) < 100 {
			k.typed = append(k.typed, b)
		}
		k.ask("")
	}
	return session.Action{}, false
}

func (k *keyboard) ask(wrong string) { k.screen.Ask(words.AskPlace(string(k.typed), wrong)) }

// pretendedKeys turn the pretended mount.
var pretendedKeys = map[byte]session.Action{
	'l': {Name: session.HandRA, Value: 20}, 'j': {Name: session.HandRA, Value: -20},
	'w': {Name: session.HandAlt, Value: 5}, 's': {Name: session.HandAlt, Value: -5},
	'W': {Name: session.HandAlt, Value: 0.5}, 'S': {Name: session.HandAlt, Value: -0.5},
	'd': {Name: session.HandAz, Value: 5}, 'a': {Name: session.HandAz, Value: -5},
	'D': {Name: session.HandAz, Value: 0.5}, 'A': {Name: session.HandAz, Value: -0.5},
}
