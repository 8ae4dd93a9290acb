package page

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"sync"
)

// limited is a listener that keeps strangers from using up what viewers need. A
// connection is a stranger's until a request on it has shown the key. Strangers
// are never turned away, since the next one may be a viewer: when there are too
// many, from one address or in all, the one that has waited longest is closed.
type limited struct {
	net.Listener

	mu        sync.Mutex
	strangers []*slot // the oldest first
	viewers   int
}

// slot is a connection as limited counts it.
type slot struct {
	net.Conn
	of    *limited
	from  netip.Addr
	state slotState // guarded by of.mu
}

type slotState int

const (
	stranger slotState = iota
	admittedOne
	closed
)

func (l *limited) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	s := &slot{Conn: c, of: l}
	if t, ok := c.(*net.TCPConn); ok {
		_ = t.SetWriteBuffer(64 << 10) // little is buffered for a viewer that does not read
	}
	if a, ok := c.RemoteAddr().(*net.TCPAddr); ok {
		s.from = a.AddrPort().Addr().Unmap()
	}
	if old := l.take(s); old != nil {
		old.Close()
	}
	return s, nil
}

// take counts a new stranger, and returns the one that must go for it.
func (l *limited) take(s *slot) (old *slot) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.strangers = append(l.strangers, s)
	count, most := map[netip.Addr]int{}, 0
	for _, x := range l.strangers {
		count[x.from]++
		most = max(most, count[x.from])
	}
	if most <= mostOfOne && len(l.strangers) <= mostStrangers {
		return nil
	}
	i := slices.IndexFunc(l.strangers, func(x *slot) bool { return count[x.from] == most })
	return l.strangers[i]
}

// admit counts a connection among those of viewers; false when there are too
// many of them.
func (s *slot) admit() bool {
	l := s.of
	l.mu.Lock()
	defer l.mu.Unlock()
	if s.state == stranger && l.viewers < mostConns {
		l.forget(s)
		s.state = admittedOne
		l.viewers++
	}
	return s.state == admittedOne
}

func (l *limited) forget(s *slot) {
	l.strangers = slices.DeleteFunc(l.strangers, func(x *slot) bool { return x == s })
}

func (s *slot) Close() error {
	l := s.of
	l.mu.Lock()
	switch s.state {
	case stranger:
		l.forget(s)
	case admittedOne:
		l.viewers--
	}
	s.state = closed
	l.mu.Unlock()
	return s.Conn.Close()
}

// slotKey is where a request's context holds its connection.
type slotKey struct{}

func withSlot(ctx context.Context, c net.Conn) context.Context {
	return context.WithValue(ctx, slotKey{}, c)
}

// admitted counts the connection of a request that has shown the key.
func admitted(r *http.Request) bool {
	s, ok := r.Context().Value(slotKey{}).(*slot)
	return !ok || s.admit()
}
