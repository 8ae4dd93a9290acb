package page

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"sync"
	"time"

	"pintle/axis/place"
	"pintle/cmd/pintle/evening"
	"pintle/cmd/pintle/session"
)

//go:embed files
var files embed.FS

// Options say how the page is served.
type Options struct {
	Phone   bool                  // to the local network, not to this computer only
	Port    int                   // the next free one when it is taken; 0 for any
	Key     string                // what an address must begin with
	Actions chan<- session.Action // what viewers ask for; dropped when it is full
	// Place reads a place that a viewer typed; its errors are shown.
	Place func(string) (place.Site, error)
	Now   func() time.Time
	// Urgent takes what is for a camera or mount past all that waits, a stop above
	// all; nil when there is none.
	Urgent func(session.Action) bool
	// Evening is the whole evening, when the page is not that of an adjustment alone.
	Evening *evening.Evening
	// Beat is how often a sign of life goes to every viewer, 0 = 1 s; Patience is
	// how long a viewer may take to read, 0 = 4 s.
	Beat, Patience time.Duration
}

// Server serves the page. Its methods may be called at any time and never wait
// for a viewer.
type Server struct {
	o       Options
	guard   *guard
	tickets *tickets
	lis     net.Listener
	http    *http.Server
	links   []string

	mu      sync.Mutex
	state   State
	at      time.Time // of the last frame
	resumed time.Time // of the run that goes on
	version uint64
	viewers map[*viewer]bool
	packing int // for so many of them
	picture []byte
	number  int
	evening uint64 // the version of what there is to say of it
}

// Limits of what strangers may use up.
const (
	mostConns     = 600 // of viewers
	mostViewers   = 300 // an open page each
	mostPacked    = 64  // of them whose stream is packed: that takes 0.8 MB each
	mostStrangers = 512 // connections that have not shown the key
	mostOfOne     = 256 // of them from one address
	mostHeader    = 8 << 10
)

// Open takes the port; Serve does the rest.
func Open(o Options) (*Server, error) {
	if len(o.Key) < 16 {
		return nil, fmt.Errorf("key of %d characters, must be at least 16", len(o.Key))
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Beat == 0 {
		o.Beat = time.Second
	}
	if o.Patience == 0 {
		o.Patience = 4 * time.Second
	}
	host := "127.0.0.1"
	if o.Phone {
		host = ""
	}
	lis, err := listen(host, o.Port)
	if err != nil {
		return nil, err
	}
	s := &Server{o: o, lis: lis, viewers: map[*viewer]bool{}, at: o.Now()}
	port := strconv.Itoa(lis.Addr().(*net.TCPAddr).Port)
	s.guard = &guard{key: o.Key, port: port, phone: o.Phone, bodies: o.Evening != nil}
	hosts := []string{"127.0.0.1"}
	if o.Phone {
		if own := ownAddresses(); len(own) > 0 {
			hosts = own
		}
	}
	for _, h := range hosts {
		s.links = append(s.links, "http://"+net.JoinHostPort(h, port)+"/"+o.Key+"/")
	}
	s.tickets = &tickets{guard: s.guard, now: o.Now, link: s.links[0]}
	s.http = &http.Server{
		Handler:           s.tickets.wrap(s.guard.wrap(s.routes())),
		ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, IdleTimeout: 30 * time.Second,
		WriteTimeout:   20 * time.Second, // the stream sets its own, write by write
		MaxHeaderBytes: mostHeader, ConnContext: withSlot,
		ErrorLog: silent, // addresses hold the key
	}
	return s, nil
}

// listen takes the port asked for, or one of the next 20.
func listen(host string, port int) (net.Listener, error) {
	var first error
	for i := range 20 {
		p := port
		if port != 0 {
			p += i
		}
		l, err := net.Listen("tcp", net.JoinHostPort(host, strconv.Itoa(p)))
		if err == nil {
			return &limited{Listener: l}, nil
		}
		if first == nil {
			first = err
		}
		if port == 0 || p >= 65535 {
			break
		}
	}
	return nil, first
}

// ownAddresses are this computer's addresses in local networks, IPv4 first: those
// are short enough to type.
func ownAddresses() (four []string) {
	var six []string
	addrs, _ := net.InterfaceAddrs()
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		switch {
		case !ok || n.IP.IsLoopback() || n.IP.IsLinkLocalUnicast() || n.IP.IsMulticast():
		case n.IP.To4() != nil:
			four = append(four, n.IP.String())
		default:
			six = append(six, n.IP.String())
		}
	}
	return append(four, six...)
}

// Links are the page's addresses, with the key.
func (s *Server) Links() []string { return s.links }

// Serve answers until the context ends or Close is called.
func (s *Server) Serve(ctx context.Context) error {
	stop := context.AfterFunc(ctx, s.Close)
	defer stop()
	if err := s.http.Serve(s.lis); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// Close ends everything at once.
func (s *Server) Close() { s.http.Close() }

// Show shows a state to all viewers. fresh says that it is of a new frame.
func (s *Server) Show(st State, fresh bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.state = st
	s.state.Picture = s.number
	switch {
	case fresh:
		s.at = s.o.Now()
	case !st.Resumed.IsZero() && !st.Resumed.Equal(s.resumed): // what was found before is as old as it is
		s.at, s.resumed = st.Resumed, st.Resumed
	}
	s.changed()
}

// changed has every viewer fetch what is newest.
func (s *Server) changed() {
	s.version++
	for v := range s.viewers {
		v.poke()
	}
}

// SetPicture takes the picture of the last frame, a PNG, and returns its number.
func (s *Server) SetPicture(png []byte) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.picture = png
	s.number++
	return s.number
}

// now returns the state as it is to be sent.
func (s *Server) now() (State, uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := s.state
	st.AgeMS, st.Evening = s.o.Now().Sub(s.at).Milliseconds(), s.evening
	return st, s.version
}

// Kinds of files.
const (
	html       = "text/html; charset=utf-8"
	css        = "text/css; charset=utf-8"
	javascript = "text/javascript; charset=utf-8"
)

// pageFiles are those of the page of an adjustment besides itself.
var pageFiles = map[string]string{
	"page.css":   css,
	"page.js":    javascript,
	"palette.js": javascript,
	"board.js":   javascript,
	"chart.js":   javascript,
	"link.js":    javascript,
	"awake.js":   javascript,
	"hands.js":   javascript,
	"sound.js":   javascript,
	"icon.svg":   "image/svg+xml",
}

func (s *Server) routes() http.Handler {
	m := http.NewServeMux()
	serveFile(m, "GET /{$}", html, read("page.html"))
	serveFiles(m, pageFiles)
	m.HandleFunc("GET /frame.png", s.sendPicture)
	m.HandleFunc("GET /events", s.stream)
	m.HandleFunc("POST /do/{action}", s.act)
	if s.o.Evening != nil {
		return s.withEvening(m)
	}
	return m
}

func (s *Server) sendPicture(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	png := s.picture
	s.mu.Unlock()
	if len(png) == 0 {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "image/png")
	_, _ = w.Write(png)
}

// act passes on what a viewer asks for.
func (s *Server) act(w http.ResponseWriter, r *http.Request) {
	a, err := s.action(session.ActionName(r.PathValue("action")), r.URL.Query())
	taken := false
	if err == nil {
		taken, err = s.handed(a)
	}
	switch {
	case errors.Is(err, errUnknown):
		http.NotFound(w, r)
		return
	case err != nil:
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	if taken {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	select {
	case s.o.Actions <- a:
		w.WriteHeader(http.StatusNoContent)
	default:
		http.Error(w, "busy", http.StatusServiceUnavailable)
	}
}

// errUnknown is an action that there is not.
var errUnknown = errors.New("no such action")

// mostTyped is how long a place may be that is typed.
const mostTyped = 100

// action reads what a viewer asks for.
func (s *Server) action(name session.ActionName, q url.Values) (session.Action, error) {
	a := session.Action{Name: name}
	if name == session.Place && s.o.Place != nil {
		text := q.Get("t")
		if len(text) > mostTyped {
			return a, fmt.Errorf("%d characters for a place, the limit is %d", len(text), mostTyped)
		}
		site, err := s.o.Place(text)
		a.Site = &site
		return a, err
	}
	what, known := actions[name]
	if st, _ := s.now(); !known || what.rehearsed && !st.Simulated {
		return a, errUnknown
	}
	var err error
	if what.read != nil {
		a.Value, err = what.read(q.Get("v"))
	}
	return a, err
}
