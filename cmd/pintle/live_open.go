package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/pflag"
	"golang.org/x/term"

	"pintle/cmd/pintle/page"
)

// pageFlags say who may see the page.
type pageFlags struct {
	off   bool
	phone bool
	port  int
	renew bool
}

func (f *pageFlags) add(fs *pflag.FlagSet) {
	fs.BoolVar(&f.phone, "phone", false, "let a phone in the same network open the page; prints its address and QR code")
	fs.BoolVar(&f.off, "no-page", false, "do not serve the page")
	fs.IntVar(&f.port, "port", 7410, "`port` of the page, the next free one when it is taken; 0 for any")
	fs.BoolVar(&f.renew, "new-key", false, "give the page a new key; addresses handed out before are void")
}

func (f *pageFlags) check() error {
	switch {
	case f.port < 0 || f.port > 65535:
		return hint(fmt.Errorf("--port %d is out of range 0 to 65535", f.port), "leave it out")
	case f.phone && f.off:
		return hint(errors.New("--phone and --no-page contradict each other"), "give one of them")
	}
	return nil
}

// openPage starts to serve the page and returns its addresses.
func (a *app) openPage(ctx context.Context, f *liveFlags, r *liveRun) (links []string, closePage func(), err error) {
	if f.page.off {
		return nil, func() {}, nil
	}
	key, err := a.pageKey(f.page.renew)
	if err != nil {
		return nil, nil, err
	}
	s, err := page.Open(page.Options{Phone: f.page.phone, Port: f.page.port, Key: key, Actions: r.actions, Now: a.now})
	if err != nil {
		return nil, nil, hint(fmt.Errorf("the page cannot be served: %w", err), "another --port, or --no-page")
	}
	go s.Serve(ctx)
	r.views = append(r.views, pageView{s})
	r.pictures = s.SetPicture
	for _, l := range s.Links() {
		fmt.Fprintf(a.err, "page: %s\n", l)
	}
	if f.page.phone {
		a.showQR(s.Links()[0])
	}
	return s.Links(), s.Close, nil
}

// pageView shows states on the page.
type pageView struct{ s *page.Server }

func (v pageView) frame(st page.State) { v.s.Show(st, true) }
func (v pageView) state(st page.State) { v.s.Show(st, false) }
func (v pageView) close()              {}

// openViews starts what writes to standard output, and the keys.
func (a *app) openViews(ctx context.Context, f *liveFlags, r *liveRun, links []string) (closeAll func()) {
	var v view
	restore := func() {}
	switch {
	case f.asJSON:
		v = newLines(a.out, jsonLine)
	case !a.Large:
		v = newLines(a.out, func(s page.State) []byte { return []byte(plainLine(s)) })
		if r.offer != nil {
			fmt.Fprintf(a.err, "--resume goes on with %s\n", offerWords(r.offer.at, r.offer.total, r.offer.solved))
		}
	default:
		restore = keys(ctx, os.Stdin, r)
		v = newScreen(a.Screen(), links, a.bold, a.Columns, a.now)
	}
	r.views = append(r.views, v)
	return func() {
		v.close()
		restore()
	}
}

// keys reads single keys from a terminal until the context ends.
func keys(ctx context.Context, in *os.File, r *liveRun) (restore func()) {
	fd := int(in.Fd())
	if !term.IsTerminal(fd) {
		return func() {}
	}
	old, err := term.MakeRaw(fd)
	if err != nil {
		return func() {}
	}
	go func() {
		var b [1]byte
		for {
			if n, err := in.Read(b[:]); n == 0 || err != nil {
				return
			}
			if a, ok := r.key(b[0]); ok {
				select {
				case r.actions <- a:
				case <-ctx.Done():
					return
				}
			}
		}
	}()
	return func() { _ = term.Restore(fd, old) }
}

// key is what a key asks for. The state it steps from is the last shown.
func (r *liveRun) key(b byte) (page.Action, bool) {
	switch b {
	case 'q', 'Q', 3, 4: // and Ctrl-C, Ctrl-D
		return page.Action{Name: quitKey}, true
	case 'n', 'N':
		return page.Action{Name: page.Fresh}, true
	case 'r', 'R':
		return page.Action{Name: page.Resume}, true
	case 'm', 'M':
		return page.Action{Name: toggleMute}, true
	case '+', '=':
		return page.Action{Name: stepTolerance, Value: 1}, true
	case '-', '_':
		return page.Action{Name: stepTolerance, Value: -1}, true
	}
	return r.rehearsalKey(b)
}

// Actions of keys, relative to what is.
const (
	toggleMute    = "toggle-mute"
	stepTolerance = "step-tolerance"
)

// tolerances are the steps of the tolerance keys, arcmin.
var tolerances = []float64{0.1, 0.2, 0.3, 0.5, 0.75, 1, 1.5, 2, 3, 5, 7.5, 10, 15, 20, 30, 60, 120, 300, 600}

// nextTolerance returns the step after t, or before it.
func nextTolerance(t, way float64) float64 {
	if way > 0 {
		for _, x := range tolerances {
			if x > t*1.0001 {
				return x
			}
		}
		return tolerances[len(tolerances)-1]
	}
	out := tolerances[0]
	for _, x := range tolerances {
		if x < t*0.9999 {
			out = x
		}
	}
	return out
}

// absoluteAction turns an action of a key into one that says it all.
func (r *liveRun) absoluteAction(x page.Action) page.Action {
	switch x.Name {
	case toggleMute:
		v := 1.0
		if r.scene.state.Muted {
			v = 0
		}
		return page.Action{Name: page.Mute, Value: v}
	case stepTolerance:
		return page.Action{Name: page.Tolerance, Value: nextTolerance(r.engine.tolerance, x.Value)}
	}
	return x
}

// showQR prints a QR code, dark on light whatever the terminal's colours.
func (a *app) showQR(link string) {
	code, err := page.QR(link)
	if err == nil {
		_, err = io.WriteString(a.err, code)
	}
	if err != nil {
		fmt.Fprintf(a.err, "no QR code: %v\n", err)
	}
}

// rehearsalKey is what further keys ask for in a rehearsal.
func (r *liveRun) rehearsalKey(b byte) (page.Action, bool) {
	if r.rehearse == nil {
		return page.Action{}, false
	}
	x, ok := rehearsalKeys[b]
	return x, ok
}

// rehearsalKeys turn the pretended mount.
var rehearsalKeys = map[byte]page.Action{
	'l': {Name: page.TurnRA, Value: 20}, 'j': {Name: page.TurnRA, Value: -20},
	'w': {Name: page.TurnAlt, Value: 5}, 's': {Name: page.TurnAlt, Value: -5},
	'W': {Name: page.TurnAlt, Value: 0.5}, 'S': {Name: page.TurnAlt, Value: -0.5},
	'd': {Name: page.TurnAz, Value: 5}, 'a': {Name: page.TurnAz, Value: -5},
	'D': {Name: page.TurnAz, Value: 0.5}, 'A': {Name: page.TurnAz, Value: -0.5},
}
