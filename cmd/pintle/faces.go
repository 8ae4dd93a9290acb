package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/pflag"
	"golang.org/x/term"

	"pintle/axis/place"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/page"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
	"pintle/index/written"
)

// pageFlags say who may see the page.
type pageFlags struct {
	off   bool
	phone bool
	port  int
	renew bool
}

func (f *pageFlags) add(fs *pflag.FlagSet) {
	f.addServed(fs)
	fs.BoolVar(&f.off, "no-page", false, "do not serve the page")
}

// addServed adds those of a page that is always served.
func (f *pageFlags) addServed(fs *pflag.FlagSet) {
	fs.BoolVar(&f.phone, "phone", false, "let a phone in the same network open the page; prints its address and QR code")
	fs.IntVar(&f.port, "port", 7410, "`port` of the page, the next free one when it is taken; 0 for any")
	fs.BoolVar(&f.renew, "new-key", false, "give the page a new key; addresses handed out before are void")
}

func (f *pageFlags) check() error {
	switch {
	case f.port < 0 || f.port > 65535:
		return advice.With(fmt.Errorf("--port %d is out of range 0 to 65535", f.port), "leave it out")
	case f.phone && f.off:
		return advice.With(errors.New("--phone and --no-page contradict each other"), "give one of them")
	}
	return nil
}

// openFaces opens the page and the terminal's view, and listens to keys.
func (a *app) openFaces(ctx context.Context, f *liveFlags, r *session.Run) (closeAll func(), err error) {
	links, closePage, err := a.openPage(ctx, f, r)
	if err != nil {
		return nil, err
	}
	var view terminal.Live
	restore := func() {}
	switch {
	case f.asJSON:
		view = a.LiveJSON()
	case !a.Large:
		view = a.LiveLines()
	default:
		code := ""
		if len(links) > 0 {
			code, _ = page.QR(links[0])
		}
		screen := a.LiveScreen(links, code, a.now)
		view, restore = screen, keys(ctx, os.Stdin, r.Actions, r.Rehearse != nil, screen)
	}
	r.Views = append(r.Views, view)
	return func() {
		view.Close()
		restore()
		closePage()
	}, nil
}

// openPage starts to serve the page and returns its addresses.
func (a *app) openPage(ctx context.Context, f *liveFlags, r *session.Run) (links []string, closePage func(), err error) {
	if f.page.off {
		return nil, func() {}, nil
	}
	key, err := a.pageKey(f.page.renew)
	if err != nil {
		return nil, nil, err
	}
	s, err := page.Open(page.Options{Phone: f.page.phone, Port: f.page.port, Key: key, Actions: r.Actions, Now: a.now, Place: readPlace})
	if err != nil {
		return nil, nil, advice.With(fmt.Errorf("the page cannot be served: %w", err), "another --port, or --no-page")
	}
	go s.Serve(ctx)
	r.Views = append(r.Views, page.View{Server: s})
	r.Pictures = s.SetPicture
	a.Addresses(s.Links())
	if f.page.phone {
		a.showQR(s.Links()[0])
	}
	return s.Links(), s.Close, nil
}

// showQR prints the code of an address.
func (a *app) showQR(link string) {
	code, err := page.QR(link)
	if err != nil {
		a.Warn(fmt.Errorf("no QR code: %w", err))
		return
	}
	a.Code(code)
}

// readPlace reads a latitude and a longitude that were typed together.
func readPlace(text string) (place.Site, error) {
	var first error
	for _, cut := range cuts(text) {
		lat, err := written.Latitude(text[:cut])
		if err == nil {
			var lon = strings.TrimLeft(text[cut:], ", ;")
			x, err2 := written.Longitude(lon)
			if err2 == nil {
				s := place.Site{Lat: lat, Lon: x}
				return s, s.Check()
			}
			err = err2
		}
		if first == nil {
			first = err
		}
	}
	if first == nil {
		first = fmt.Errorf("%.40q is no latitude and longitude", text)
	}
	return place.Site{}, advice.With(first, "latitude, then longitude, such as 31°24'S 121°54'E or -31.4, 121.9")
}

// cuts are where a text may be cut in two: at its comma or semicolon, else at any
// blank.
func cuts(text string) (out []int) {
	for _, sep := range []string{";", ",", " "} {
		for i := range text {
			if strings.HasPrefix(text[i:], sep) {
				out = append(out, i)
			}
		}
		if out != nil && sep != " " {
			return out
		}
	}
	return out
}

// keys reads single keys from a terminal until the context ends.
func keys(ctx context.Context, in *os.File, actions chan<- session.Action, rehearsal bool, screen terminal.Screen) (restore func()) {
	fd := int(in.Fd())
	if !term.IsTerminal(fd) {
		return func() {}
	}
	old, err := term.MakeRaw(fd)
	if err != nil {
		return func() {}
	}
	k := keyboard{rehearsal: rehearsal, screen: screen}
	go func() {
		var b [1]byte
		for {
			if n, err := in.Read(b[:]); n == 0 || err != nil {
				return
			}
			if a, ok := k.press(b[0]); ok {
				select {
				case actions <- a:
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
	rehearsal bool
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
	if k.rehearsal {
		x, ok := rehearsalKeys[b]
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
		site, err := readPlace(string(k.typed))
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

// rehearsalKeys turn the pretended mount.
var rehearsalKeys = map[byte]session.Action{
	'l': {Name: session.HandRA, Value: 20}, 'j': {Name: session.HandRA, Value: -20},
	'w': {Name: session.HandAlt, Value: 5}, 's': {Name: session.HandAlt, Value: -5},
	'W': {Name: session.HandAlt, Value: 0.5}, 'S': {Name: session.HandAlt, Value: -0.5},
	'd': {Name: session.HandAz, Value: 5}, 'a': {Name: session.HandAz, Value: -5},
	'D': {Name: session.HandAz, Value: 0.5}, 'A': {Name: session.HandAz, Value: -0.5},
}
