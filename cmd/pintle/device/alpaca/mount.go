package alpaca

import (
	"context"
	"errors"
	"net/url"
	"strconv"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/index/sphere"
)

// Mount is a telescope of an Alpaca server.
type Mount struct {
	*endpoint
	name     string
	speeds   device.Speeds
	canTrack bool
}

// OpenMount connects to telescope n at host, which includes the port.
func OpenMount(ctx context.Context, host string, n int, now func() time.Time) (*Mount, error) {
	m := OpenToStop(host, n, now)
	if err := m.connect(ctx); err != nil {
		return nil, err
	}
	m.name = m.deviceName(ctx)
	var can bool
	if err := m.get(ctx, "canmoveaxis", url.Values{"Axis": {"0"}}, &can); err != nil {
		return nil, err
	}
	if !can {
		return nil, device.NewFault(device.Unfit, "turn RA by hand: pintle axis without --mount does that", "%s cannot turn its RA axis by rate", m.name)
	}
	var rates []struct{ Minimum, Maximum float64 }
	if err := m.get(ctx, "axisrates", url.Values{"Axis": {"0"}}, &rates); err != nil {
		return nil, err
	}
	m.speeds.Signless = true // the standard does not tell which sign is west
	for _, r := range rates {
		if r.Minimum >= 0 && r.Maximum >= r.Minimum && r.Maximum <= 360 {
			m.speeds.Ranges = append(m.speeds.Ranges, device.Range{Min: device.DegreesPerSecond(r.Minimum), Max: device.DegreesPerSecond(r.Maximum)})
		}
	}
	m.canTrack, _ = optional[bool](ctx, m.endpoint, "cansettracking")
	return m, nil
}

// OpenToStop returns a mount that nothing was asked of yet, for someone who wants
// to call Stop.
func OpenToStop(host string, n int, now func() time.Time) *Mount {
	return &Mount{endpoint: newEndpoint(host, "telescope", n, now), name: "telescope " + strconv.Itoa(n)}
}

func (e *endpoint) deviceName(ctx context.Context) string {
	if s, ok := optional[string](ctx, e, "name"); ok && s != "" {
		return clean(s, 60)
	}
	return e.kind + " " + strconv.Itoa(e.n)
}

// Name returns the device's own name.
func (m *Mount) Name() string { return m.name }

// Speeds returns the rates of the RA axis.
func (m *Mount) Speeds() device.Speeds { return m.speeds }

// Close frees the connections; the device stays connected to its server, for
// others.
func (m *Mount) Close() error { m.http.CloseIdleConnections(); return nil }

// Position asks where the mount points.
func (m *Mount) Position(ctx context.Context) (device.Position, error) {
	var ra, dec float64
	before := m.now()
	if err := m.get(ctx, "rightascension", nil, &ra); err != nil {
		return device.Position{}, err
	}
	at := before.Add(m.now().Sub(before) / 2)
	if err := m.get(ctx, "declination", nil, &dec); err != nil {
		return device.Position{}, err
	}
	if !(ra >= -24 && ra <= 48 && dec >= -90.01 && dec <= 90.01) {
		return device.Position{}, device.NewFault(device.Gone, "look at the driver", "%s tells an impossible position, %g h and %g degrees", m.name, ra, dec)
	}
	return device.Position{RA: sphere.Angle(ra) * sphere.Hour, Dec: sphere.Angle(dec) * sphere.Degree, At: at}, nil
}

// State asks for what else the mount tells of itself.
func (m *Mount) State(ctx context.Context) (device.State, error) {
	p, err := m.Position(ctx)
	s := device.State{Position: p, CanTrack: m.canTrack}
	if err != nil {
		return s, err
	}
	s.Parked, _ = optional[bool](ctx, m.endpoint, "atpark")
	s.Tracking, _ = optional[bool](ctx, m.endpoint, "tracking")
	s.Slewing, _ = optional[bool](ctx, m.endpoint, "slewing")
	if side, ok := optional[int](ctx, m.endpoint, "sideofpier"); ok {
		s.Pier = map[int]device.Pier{0: device.PierEast, 1: device.PierWest}[side]
	}
	if text, ok := optional[string](ctx, m.endpoint, "utcdate"); ok {
		if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
			s.Clock, s.ClockOK = t.Sub(m.now()), true
		}
	}
	return s, nil
}

// Move starts the RA axis. A positive rate is taken for west; the turner finds
// out whether it is.
func (m *Mount) Move(ctx context.Context, d device.Direction, s device.Speed) error {
	rate := s.Rate.Degrees() * float64(d)
	if s.Reverse {
		rate = -rate
	}
	return m.moveAxis(ctx, 0, rate)
}

func (m *Mount) moveAxis(ctx context.Context, axis int, rate float64) error {
	return m.put(ctx, "moveaxis", url.Values{"Axis": {strconv.Itoa(axis)}, "Rate": {strconv.FormatFloat(rate, 'f', -1, 64)}})
}

// Stop sets both axes' rates to 0, then aborts. A device that has nothing to
// abort may say so.
func (m *Mount) Stop(ctx context.Context) error {
	ra := m.moveAxis(ctx, 0, 0)
	dec := unlessUnable(m.moveAxis(ctx, 1, 0))
	return errors.Join(ra, dec, unlessUnable(m.put(ctx, "abortslew", nil)))
}

// unlessUnable drops the errors that say that there is nothing to stop.
func unlessUnable(err error) error {
	var e *Error
	if errors.As(err, &e) && (e.Number == notImplemented || e.Number == invalidValue || e.Number == whileParked || e.Number == invalidNow) {
		return nil
	}
	return err
}

// Track switches tracking on or off.
func (m *Mount) Track(ctx context.Context, on bool) error {
	return m.put(ctx, "tracking", url.Values{"Tracking": {boolean(on)}})
}

// Unpark lets a parked mount move.
func (m *Mount) Unpark(ctx context.Context) error { return m.put(ctx, "unpark", nil) }

// Reconnect sees whether the device answers again.
func (m *Mount) Reconnect(ctx context.Context) error {
	m.http.CloseIdleConnections()
	return m.connect(ctx)
}

func boolean(on bool) string {
	if on {
		return "True"
	}
	return "False"
}
