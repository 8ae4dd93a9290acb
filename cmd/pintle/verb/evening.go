package verb

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/evening"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/page"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
)

// eveningFlags are those of the verb evening.
type eveningFlags struct {
	index     flags.Index
	record    flags.Journal
	page      flags.Page
	folder    string
	watch     string
	noBrowser bool
}

func (a *app) eveningCommand() *cobra.Command {
	var f eveningFlags
	c := &cobra.Command{
		Use:     "evening",
		Short:   "the whole evening in a browser, from the set-up by day to the report",
		Long:    words.EveningLong,
		Example: words.EveningExample,
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return a.evening(cmd.Context(), &f) },
	}
	fs := c.Flags()
	fs.StringVar(&f.folder, "folder", "", "the `folder` of the evening (default: one for tonight, beside the journal)")
	fs.StringVar(&f.watch, "watch", "", "the `folder` into which your camera program saves its frames: new ones are taken over and measured at once")
	fs.BoolVar(&f.noBrowser, "no-browser", false, "open no browser, print the address only")
	f.page.AddServed(fs)
	f.record.Add(fs)
	f.index.Add(fs)
	return c
}

// evening runs the verb: in the folder of tonight, unless the program does so
// already.
func (a *app) evening(ctx context.Context, f *eveningFlags) error {
	if err := f.page.Check(); err != nil {
		return err
	}
	if f.watch != "" {
		if fi, err := os.Stat(f.watch); err != nil || !fi.IsDir() {
			return advice.With(fmt.Errorf("--watch %s is not a folder", f.watch), "name the folder into which your camera program saves its frames")
		}
	}
	record, err := a.journal(f.record)
	if err != nil {
		return err
	}
	if f.folder == "" {
		_, offset := a.now().Zone()
		f.folder = filepath.Join(filepath.Dir(record), "evenings", journal.Day(a.now(), float64(offset)/240))
	}
	if link, ticket, runs := running(ctx, f.folder); runs {
		a.Addresses([]string{link})
		f.browse(func() string { return ticket })
		return nil
	}
	return evening.Alone(f.folder, func() error { return a.serveEvening(ctx, f, record) })
}

// serveEvening opens the evening and its page, and runs until the end.
func (a *app) serveEvening(ctx context.Context, f *eveningFlags, record string) error {
	gearFile, err := a.gearPath()
	if err != nil {
		return err
	}
	key, err := a.pageKey(f.page.Renew)
	if err != nil {
		return err
	}
	solver, closeIndex, err := a.solver(f.index)
	if err != nil {
		return err
	}
	defer closeIndex()
	e, err := evening.Open(evening.Config{Folder: f.folder, Gear: gearFile, Journal: record, Watch: f.watch, Now: a.now, Shooter: a.openShooter, Hands: a.openTask,
		Photos: &session.Photographs{Solver: solver, Now: a.now, Lenses: lensesOf(solver)}})
	if err != nil {
		return err
	}
	s, err := page.Open(page.Options{Phone: f.page.Phone, Port: f.page.Port, Key: key, Actions: e.Actions(), Now: a.now, Place: evening.ReadPlace, Evening: e, Urgent: e.Urgent})
	if err != nil {
		return advice.With(fmt.Errorf("the page cannot be served: %w", err), "another --port")
	}
	defer s.Close()
	e.Attach(page.View{Server: s}, s.SetPicture, s.SetEvening)
	served := make(chan error, 1)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() { served <- s.Serve(ctx); cancel() }()
	defer f.publish(a, s.Links()[0])()
	a.Addresses(s.Links())
	if f.page.Phone {
		a.showQR(s.Links()[0])
	}
	f.browse(s.Ticket)
	err = e.Run(ctx)
	cancel()
	return errors.Join(err, <-served)
}

// publish keeps the address while the program runs, for a second start to find.
func (f *eveningFlags) publish(a *app, link string) (end func()) {
	path := evening.AddressFile(f.folder)
	err := whole.Write(path, whole.How{Replace: true, Perm: 0o600}, func(w io.Writer) error {
		_, err := io.WriteString(w, link+"\n")
		return err
	})
	if err != nil {
		a.Warn(err)
	}
	return func() { os.Remove(path) }
}

// running returns the page's address, and one that opens it once, when the program
// serves the folder already.
func running(ctx context.Context, dir string) (link, ticket string, runs bool) {
	b, err := os.ReadFile(evening.AddressFile(dir))
	if err != nil || len(b) > 200 {
		return "", "", false
	}
	link = strings.TrimSpace(string(b))
	u, err := url.Parse(link)
	if err != nil {
		return "", "", false
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, link+"api/v1/ticket", strings.NewReader("{}"))
	if err != nil {
		return "", "", false
	}
	r.Header.Set("Origin", "http://"+u.Host)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return "", "", false
	}
	defer answer.Body.Close()
	var said struct{ Link string }
	err = json.NewDecoder(io.LimitReader(answer.Body, 1000)).Decode(&said)
	return link, said.Link, err == nil && answer.StatusCode == http.StatusOK
}

// browse opens the browser, where the system has a way to; the address is printed
// in any case.
func (f *eveningFlags) browse(ticket func() string) {
	if f.noBrowser {
		return
	}
	c := map[string][]string{"darwin": {"open"}, "windows": {"rundll32", "url.dll,FileProtocolHandler"}}[runtime.GOOS]
	if c == nil {
		c = []string{"xdg-open"}
	}
	cmd := exec.Command(c[0], append(c[1:], ticket())...)
	if cmd.Start() == nil {
		go func() { _ = cmd.Wait() }()
	}
}
