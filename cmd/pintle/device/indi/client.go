package indi

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	"pintle/cmd/pintle/device"
)

const (
	dialTime  = 3 * time.Second
	writeTime = 2 * time.Second
	maxKnown  = 20000 // properties kept
)

// Interfaces of a driver, bits of DRIVER_INTERFACE.
const (
	isTelescope = 1 << 0
	isCamera    = 1 << 1
)

// client is one connection to a server and what it has told.
type client struct {
	conn net.Conn
	now  func() time.Time

	mu      sync.Mutex
	devices map[string]map[string]*vector
	known   int
	said    map[string]note // last message of a device
	changed chan struct{}   // closed at the next change
	err     error           // why the connection ended
}

// note is a message from a driver to people.
type note struct {
	text string
	n    int // of all messages of the device
}

// dial connects and asks for the properties of a device, "" for all.
func dial(ctx context.Context, addr, dev string, now func() time.Time) (*client, error) {
	conn, err := connect(ctx, addr)
	if err != nil {
		return nil, err
	}
	c := &client{conn: conn, now: now, devices: map[string]map[string]*vector{}, said: map[string]note{}, changed: make(chan struct{})}
	go c.read(newReader(conn))
	if err := c.send(getProperties(dev, "")); err != nil {
		conn.Close()
		return nil, err
	}
	return c, nil
}

func connect(ctx context.Context, addr string) (net.Conn, error) {
	d := net.Dialer{Timeout: dialTime}
	conn, err := d.DialContext(ctx, "tcp", WithPort(addr))
	if err != nil {
		return nil, &device.Fault{Kind: device.LinkLost, Text: "no INDI server at " + WithPort(addr), Try: "is it running there, and reachable?", Err: err}
	}
	return conn, nil
}

// WithPort adds the usual port to a host that comes without one.
func WithPort(addr string) string {
	if _, _, err := net.SplitHostPort(addr); err != nil {
		return net.JoinHostPort(strings.Trim(addr, "[]"), Port)
	}
	return addr
}

func (c *client) close() error { return c.conn.Close() }

// read takes in messages until the connection ends.
func (c *client) read(r *reader) {
	for {
		m, err := r.next()
		c.mu.Lock()
		if err != nil {
			c.err = err
		} else {
			c.take(m)
		}
		close(c.changed)
		c.changed = make(chan struct{})
		c.mu.Unlock()
		if err != nil {
			c.conn.Close()
			return
		}
	}
}

// take keeps what a message says.
func (c *client) take(m *message) {
	dev, name := m.attr.get("device"), m.attr.get("name")
	if s := m.attr.get("message"); s != "" && dev != "" {
		if _, ok := c.said[dev]; ok || len(c.said) < maxKnown {
			c.said[dev] = note{s, c.said[dev].n + 1}
		}
	}
	switch {
	case strings.HasPrefix(m.tag, "def") && strings.HasSuffix(m.tag, "Vector"):
		c.define(define(m, c.now()))
	case strings.HasPrefix(m.tag, "set") && strings.HasSuffix(m.tag, "Vector"):
		if v := c.devices[dev][name]; v != nil {
			v.update(m, c.now())
		}
	case m.tag == "delProperty" && name != "":
		if _, ok := c.devices[dev][name]; ok {
			delete(c.devices[dev], name)
			c.known--
		}
	case m.tag == "delProperty": // a driver that died: all of its properties
		c.known -= len(c.devices[dev])
		delete(c.devices, dev)
	}
}

func (c *client) define(v *vector) {
	d := c.devices[v.device]
	if old := d[v.name]; old != nil {
		v.news = old.news
	} else if c.known++; c.known > maxKnown {
		c.known--
		return
	}
	if d == nil {
		d = map[string]*vector{}
		c.devices[v.device] = d
	}
	d[v.name] = v
}

// get returns a copy of a property, nil when it is not defined.
func (c *client) get(dev, name string) *vector {
	c.mu.Lock()
	defer c.mu.Unlock()
	v := c.devices[dev][name]
	if v == nil {
		return nil
	}
	w := *v
	w.elements = slices.Clone(v.elements)
	return &w
}

// failed returns why the connection ended, nil while it stands.
func (c *client) failed() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.err == nil {
		return nil
	}
	return &device.Fault{Kind: device.LinkLost, Text: "the connection to the INDI server has ended", Try: "look at the server and the network", Err: c.err}
}

var errLate = errors.New("no answer in time")

// until waits for ok, which is asked after every change, at most for a time.
func (c *client) until(ctx context.Context, most time.Duration, ok func() bool) error {
	timer := time.NewTimer(most)
	defer timer.Stop()
	for {
		c.mu.Lock()
		changed := c.changed
		c.mu.Unlock()
		if ok() {
			return nil
		}
		if err := c.failed(); err != nil {
			return err
		}
		select {
		case <-changed:
		case <-timer.C:
			return errLate
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// send writes to the server.
func (c *client) send(xml string) error {
	c.conn.SetWriteDeadline(time.Now().Add(writeTime))
	if _, err := c.conn.Write([]byte(xml)); err != nil {
		c.conn.Close()
		return &device.Fault{Kind: device.LinkLost, Text: "the INDI server cannot be reached any more", Try: "look at the server and the network", Err: err}
	}
	return nil
}

// order sends a new value and waits for the driver to take it. A refusal is a
// state of Alert, or Idle with a message; some drivers answer Idle when they
// have switched something off, which is none.
func (c *client) order(ctx context.Context, n newVector, most time.Duration) error {
	before, said := c.news(n.device, n.name)
	if err := c.send(n.xml()); err != nil {
		return err
	}
	err := c.until(ctx, most, func() bool { news, _ := c.news(n.device, n.name); return news != before })
	if err == errLate {
		return &device.Fault{Kind: device.Refused, Text: fmt.Sprintf("the driver of %s does not answer to %s", n.device, n.name), Try: "look at the driver, start it again", Err: err}
	}
	if err != nil {
		return err
	}
	v := c.get(n.device, n.name)
	c.mu.Lock()
	note := c.said[n.device]
	c.mu.Unlock()
	if v == nil || v.state == "Alert" || v.state == "Idle" && note.n != said && n.starts {
		return device.NewFault(device.Refused, "look at what the driver says", "%s refuses %s: %.200s", n.device, n.name, note.text)
	}
	return nil
}

// news returns how often a property was told, and how many messages its device
// has sent.
func (c *client) news(dev, name string) (news, notes int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if v := c.devices[dev][name]; v != nil {
		news = v.news
	}
	return news, c.said[dev].n
}
