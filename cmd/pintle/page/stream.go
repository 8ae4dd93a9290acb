package page

import (
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"
)

// viewer is one open page. It is told that there is something new, and fetches
// what is newest when it can: states it was too slow for it never sees.
type viewer struct{ news chan struct{} }

func (v *viewer) poke() {
	select {
	case v.news <- struct{}{}:
	default:
	}
}

// enter takes a viewer in, when there is room.
func (s *Server) enter() (*viewer, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.viewers) >= mostViewers {
		return nil, false
	}
	v := &viewer{make(chan struct{}, 1)}
	v.poke()
	s.viewers[v] = true
	return v, true
}

func (s *Server) leave(v *viewer) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.viewers, v)
}

// Viewers is how many pages are open.
func (s *Server) Viewers() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.viewers)
}

// stream sends states as server-sent events (HTML standard, section 9.2), and a
// sign of life in between. A viewer that does not read is dropped.
func (s *Server) stream(w http.ResponseWriter, r *http.Request) {
	v, ok := s.enter()
	if !ok {
		http.Error(w, "too many pages are open", http.StatusServiceUnavailable)
		return
	}
	defer s.leave(v)
	rc := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	beat := time.NewTicker(s.o.Beat)
	defer beat.Stop()
	out, flush, done := s.packed(w, r)
	defer done()
	send := func(event string, data []byte) error {
		if err := rc.SetWriteDeadline(time.Now().Add(s.o.Patience)); err != nil {
			return err
		}
		if _, err := fmt.Fprintf(out, "event: %s\ndata: %s\n\n", event, data); err != nil {
			return err
		}
		if err := flush(); err != nil {
			return err
		}
		return rc.Flush()
	}
	for {
		var err error
		select {
		case <-r.Context().Done():
			return
		case <-v.news:
			st, _ := s.now()
			var b []byte
			if b, err = json.Marshal(st); err == nil {
				err = send("state", b)
			}
		case <-beat.C:
			st, _ := s.now()
			err = send("beat", fmt.Appendf(nil, `{"seq":%d,"age_ms":%d}`, st.Seq, st.AgeMS))
		}
		if err != nil {
			return
		}
	}
}

// packed is where a stream is written to: one state is much like the last, so that
// packed together each takes a few hundred bytes on its way to a phone. Where too many
// look on the stream goes as it is.
func (s *Server) packed(w http.ResponseWriter, r *http.Request) (out io.Writer, flush func() error, done func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.packing >= mostPacked || !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		return w, func() error { return nil }, func() {}
	}
	s.packing++
	w.Header().Set("Content-Encoding", "gzip")
	z := gzip.NewWriter(w)
	return z, z.Flush, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.packing--
	}
}
