package verb

import (
	"context"
	"fmt"
	"os"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/evening"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/page"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
)

// openFaces opens the page and the terminal's view, and listens to keys; quit is
// what the key for the end does, whatever the run is doing.
func (a *app) openFaces(ctx context.Context, quit func(), f *flags.Page, asJSON bool, r *session.Run) (closeAll func(), err error) {
	links, closePage, err := a.openPage(ctx, f, r)
	if err != nil {
		return nil, err
	}
	var view terminal.Live
	restore := func() {}
	switch {
	case asJSON:
		view = a.LiveJSON()
	case !a.Large:
		view = a.LiveLines()
	default:
		code := ""
		if len(links) > 0 {
			code, _ = page.QR(links[0])
		}
		screen := a.LiveScreen(links, code, a.now)
		view, restore = screen, keys(ctx, quit, os.Stdin, r, screen)
		back := restore
		restore = a.end.atLast(func() { screen.Leave(); back() })
	}
	r.Views = append(r.Views, view)
	if r.Commands() && (asJSON || !a.Large) {
		r.Views = append(r.Views, a.Teller(words.OnThePage))
	}
	return func() {
		view.Close()
		restore()
		closePage()
	}, nil
}

// openPage starts to serve the page and returns its addresses.
func (a *app) openPage(ctx context.Context, f *flags.Page, r *session.Run) (links []string, closePage func(), err error) {
	if f.Off {
		return nil, func() {}, nil
	}
	key, err := a.pageKey(f.Renew)
	if err != nil {
		return nil, nil, err
	}
	o := page.Options{Phone: f.Phone, Port: f.Port, Key: key, Actions: r.Actions, Now: a.now, Place: evening.ReadPlace}
	if r.Commands() {
		o.Urgent = r.Urgent
	}
	s, err := page.Open(o)
	if err != nil {
		return nil, nil, advice.With(fmt.Errorf("the page cannot be served: %w", err), "another --port, or --no-page")
	}
	go s.Serve(ctx)
	r.Views = append(r.Views, page.View{Server: s})
	r.Pictures = s.SetPicture
	a.Addresses(s.Links())
	if f.Phone {
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
