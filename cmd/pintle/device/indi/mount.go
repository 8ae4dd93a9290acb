package indi

import (
	"context"
	"errors"
	"sync"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/index/sphere"
)

const (
	readyTime = 8 * time.Second         // for a driver to connect and define
	answer    = 1500 * time.Millisecond // for an order
	settle    = 1500 * time.Millisecond // for a first true position
	askAfter  = 1200 * time.Millisecond // a position that old is asked for again
	askSoon   = 300 * time.Millisecond  // while the mount is being stopped
)

// Mount is a mount behind an INDI server. It may be used by several goroutines.
type Mount struct {
	addr, dev string
	now       func() time.Time

	mu     sync.Mutex
	c      *client
	asked  time.Time
	haste  time.Time // until then positions are asked for soon
	speeds device.Speeds
}

// OpenMount connects to a mount and waits until it tells where it points.
func OpenMount(ctx context.Context, addr, dev string, now func() time.Time) (*Mount, error) {
	m := &Mount{addr: addr, dev: dev, now: now}
	if err := m.open(ctx, readyTime); err != nil {
		m.Close()
		return nil, err
	}
	m.speeds = m.readSpeeds()
	return m, nil
}

// OpenToStop connects without waiting for anything, for someone who wants to
// call Stop and see whether the mount stands.
func OpenToStop(ctx context.Context, addr, dev string, now func() time.Time) (*Mount, error) {
	m := &Mount{addr: addr, dev: dev, now: now}
	c, err := dial(ctx, addr, dev, now)
	m.c = c
	if err != nil {
		return nil, err
	}
	return m, nil
}

// open makes a connection and brings the device up.
func (m *Mount) open(ctx context.Context, most time.Duration) error {
	c, err := dial(ctx, m.addr, m.dev, m.now)
	if err != nil {
		return err
	}
	m.mu.Lock()
	if m.c != nil {
		m.c.close()
	}
	m.c = c
	m.mu.Unlock()
	if err := c.bringUp(ctx, m.dev, most, "TELESCOPE_MOTION_WE"); err != nil {
		return err
	}
	if err := c.until(ctx, most, func() bool { return coordinates(c, m.dev) != nil }); err != nil {
		return missing(err, m.dev, "its coordinates")
	}
	// What is defined when a driver has just connected may not be true yet.
	c.until(ctx, settle, func() bool { v := coordinates(c, m.dev); return v != nil && v.news > 0 })
	return nil
}

// bringUp waits for a device, connects it if it is not, and waits for a property.
func (c *client) bringUp(ctx context.Context, dev string, most time.Duration, name string) error {
	if err := c.until(ctx, most, func() bool { return c.get(dev, "CONNECTION") != nil }); err != nil {
		if err != errLate {
			return err
		}
		return device.NewFault(device.Gone, "pintle devices lists what there is", "the INDI server knows no device %q", dev)
	}
	if !c.get(dev, "CONNECTION").on("CONNECT") {
		if err := c.order(ctx, switches(dev, "CONNECTION", on("CONNECT")), most); err != nil {
			return err
		}
		if err := c.until(ctx, most, func() bool { return c.get(dev, "CONNECTION").on("CONNECT") }); err != nil {
			return missing(err, dev, "to connect to its hardware")
		}
	}
	if err := c.until(ctx, most, func() bool { return c.get(dev, name) != nil }); err != nil {
		return missing(err, dev, name)
	}
	return nil
}

func missing(err error, dev, what string) error {
	if err != errLate {
		return err
	}
	return device.NewFault(device.Unfit, "look at the driver; is it of the right kind, and is the hardware switched on?", "device %q does not offer %s", dev, what)
}

func (m *Mount) client() *client {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.c
}

// Name returns the device's name.
func (m *Mount) Name() string { return m.dev }

// Close ends the connection.
func (m *Mount) Close() error {
	if c := m.client(); c != nil {
		return c.close()
	}
	return nil
}

// Speeds returns the steps of the slew rate; they have no unit.
func (m *Mount) Speeds() device.Speeds { return m.speeds }

func (m *Mount) readSpeeds() device.Speeds {
	v := m.client().get(m.dev, "TELESCOPE_SLEW_RATE")
	if v == nil || len(v.elements) == 0 {
		return device.Speeds{Steps: []string{"as set in the driver"}}
	}
	var s device.Speeds
	for _, e := range v.elements {
		s.Steps = append(s.Steps, e.label)
	}
	return s
}

// coordinates returns where the mount points, of date or else J2000.
func coordinates(c *client, dev string) *vector {
	if v := c.get(dev, "EQUATORIAL_EOD_COORD"); v != nil {
		return v
	}
	return c.get(dev, "EQUATORIAL_COORD")
}

// Position returns the last position told. Drivers that tell only changes are
// asked when it gets old.
func (m *Mount) Position(ctx context.Context) (device.Position, error) {
	c := m.client()
	if err := m.alive(c); err != nil {
		return device.Position{}, err
	}
	v := coordinates(c, m.dev)
	if v == nil {
		m.ask(c, "EQUATORIAL_EOD_COORD")
		c.until(ctx, answer, func() bool { return coordinates(c, m.dev) != nil })
		if v = coordinates(c, m.dev); v == nil {
			return device.Position{}, device.NewFault(device.Gone, "look at the driver", "%s does not tell where it points", m.dev)
		}
	}
	if err := m.ask(c, v.name); err != nil {
		return device.Position{}, err
	}
	ra, ok1 := v.number("RA")
	dec, ok2 := v.number("DEC")
	if !ok1 || !ok2 || ra < -24 || ra > 48 || dec < -90.01 || dec > 90.01 {
		return device.Position{}, device.NewFault(device.Gone, "look at the driver", "%s tells an impossible position", m.dev)
	}
	return device.Position{RA: sphere.Angle(ra) * sphere.Hour, Dec: sphere.Angle(dec) * sphere.Degree, At: v.arrived}, nil
}

// ask asks for the position when the last one is old.
func (m *Mount) ask(c *client, name string) error {
	now, v := m.now(), coordinates(c, m.dev)
	m.mu.Lock()
	after := askAfter
	if now.Before(m.haste) {
		after = askSoon
	}
	old := (v == nil || now.Sub(v.arrived) > after) && now.Sub(m.asked) > after
	if old {
		m.asked = now
	}
	m.mu.Unlock()
	if !old {
		return nil
	}
	return c.send(getProperties(m.dev, name))
}

// alive returns an error when the link or the driver is gone.
func (m *Mount) alive(c *client) error {
	if err := c.failed(); err != nil {
		return err
	}
	if v := c.get(m.dev, "CONNECTION"); v != nil && !v.on("CONNECT") {
		return device.NewFault(device.Gone, "look at the driver; it may have crashed and started again", "the driver of %s is not connected to the mount any more", m.dev)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.devices) > 0 && c.devices[m.dev] == nil {
		return device.NewFault(device.Gone, "look at the driver; it may have crashed", "the server has no device %q any more", m.dev)
	}
	return nil
}

// State returns what the mount says of itself.
func (m *Mount) State(ctx context.Context) (device.State, error) {
	p, err := m.Position(ctx)
	if err != nil {
		return device.State{}, err
	}
	c := m.client()
	s := device.State{Position: p, Parked: c.get(m.dev, "TELESCOPE_PARK").on("PARK")}
	if v := c.get(m.dev, "TELESCOPE_TRACK_STATE"); v != nil {
		s.CanTrack, s.Tracking = true, v.on("TRACK_ON")
	}
	// Motion by rate leaves the coordinates at Ok; Busy is a goto.
	we, ns := c.get(m.dev, "TELESCOPE_MOTION_WE"), c.get(m.dev, "TELESCOPE_MOTION_NS")
	s.Slewing = coordinates(c, m.dev).busy() || we.on("MOTION_WEST") || we.on("MOTION_EAST") || ns.on("MOTION_NORTH") || ns.on("MOTION_SOUTH")
	pier := c.get(m.dev, "TELESCOPE_PIER_SIDE")
	switch east, west := pier.on("PIER_EAST"), pier.on("PIER_WEST"); {
	case east && !west:
		s.Pier = device.PierEast
	case west && !east:
		s.Pier = device.PierWest
	}
	s.Clock, s.ClockOK = m.clock(c)
	return s, nil
}

func (v *vector) busy() bool { return v != nil && v.state == "Busy" }

// clock returns how far the mount's clock is ahead. Only what was told as news
// counts: a definition repeats what the clock said when it was last set.
func (m *Mount) clock(c *client) (time.Duration, bool) {
	v := c.get(m.dev, "TIME_UTC")
	e := v.element("UTC")
	if e == nil || v.news == 0 {
		return 0, false
	}
	t, err := time.Parse("2006-01-02T15:04:05", e.value)
	if err != nil {
		return 0, false
	}
	return t.Sub(v.arrived), true
}

// Move starts the RA axis.
func (m *Mount) Move(ctx context.Context, d device.Direction, s device.Speed) error {
	c := m.client()
	if err := m.alive(c); err != nil {
		return err
	}
	if v := c.get(m.dev, "TELESCOPE_SLEW_RATE"); v != nil && s.Step >= 0 && s.Step < len(v.elements) {
		if err := c.order(ctx, switches(m.dev, v.name, on(v.elements[s.Step].name)), answer); err != nil {
			return err
		}
	}
	west := d == device.West != s.Reverse
	n := switches(m.dev, "TELESCOPE_MOTION_WE", on("MOTION_WEST"), off("MOTION_EAST"))
	if !west {
		n = switches(m.dev, "TELESCOPE_MOTION_WE", off("MOTION_WEST"), on("MOTION_EAST"))
	}
	n.starts = true
	return c.order(ctx, n, answer)
}

// Stop switches motion off in all directions and aborts.
func (m *Mount) Stop(context.Context) error {
	c := m.client()
	m.mu.Lock()
	m.haste = m.now().Add(15 * time.Second)
	m.mu.Unlock()
	stop := switches(m.dev, "TELESCOPE_MOTION_WE", off("MOTION_WEST"), off("MOTION_EAST")).xml() +
		switches(m.dev, "TELESCOPE_MOTION_NS", off("MOTION_NORTH"), off("MOTION_SOUTH")).xml() +
		switches(m.dev, "TELESCOPE_ABORT_MOTION", on("ABORT")).xml()
	return errors.Join(c.send(stop), m.alive(c))
}

// Track switches tracking on or off.
func (m *Mount) Track(ctx context.Context, track bool) error {
	name := "TRACK_OFF"
	if track {
		name = "TRACK_ON"
	}
	return m.client().order(ctx, switches(m.dev, "TELESCOPE_TRACK_STATE", on(name)), answer)
}

// Unpark lets a parked mount move.
func (m *Mount) Unpark(ctx context.Context) error {
	return m.client().order(ctx, switches(m.dev, "TELESCOPE_PARK", on("UNPARK")), answer)
}

// Reconnect makes a new connection, and has the driver connect again if it was
// started anew.
func (m *Mount) Reconnect(ctx context.Context) error { return m.open(ctx, 2*time.Second) }
