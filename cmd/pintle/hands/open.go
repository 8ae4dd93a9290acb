package hands

import (
	"context"
	"errors"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/link"
	"pintle/index/sphere"
)

// Gear is what is to be commanded, by address.
type Gear struct {
	Camera link.Address
	Mount  *link.Address // nil: the person turns RA
	Lowest sphere.Angle  // least altitude of a path; 0 for the usual
	Unpark bool
	// Brake is the program and the arguments before the mount's address that make
	// it the mount's brake.
	Brake []string
}

// Open opens the camera, and the mount with its brake. closeAll lets go of them
// once Run or Measure has ended.
func Open(ctx context.Context, g Gear, c Config) (h *Hands, closeAll func() error, err error) {
	c.Clock = link.Clock{}
	c.Camera = func(ctx context.Context) (device.Camera, error) { return link.Camera(ctx, g.Camera) }
	cam, err := c.Camera(ctx)
	if err != nil {
		return nil, nil, err
	}
	if err := cam.About().Check(c.Shot); err != nil {
		return nil, nil, errors.Join(err, cam.Close())
	}
	closeAll = func() error { return nil }
	if g.Mount != nil {
		if c.Turner, closeAll, err = openMount(ctx, g); err != nil {
			return nil, nil, errors.Join(err, cam.Close())
		}
	}
	h = New(c)
	h.cam, h.now.Camera = cam, cam.Name()
	return h, closeAll, nil
}

// openMount opens the mount and starts its brake.
func openMount(ctx context.Context, g Gear) (*device.Turner, func() error, error) {
	m, err := link.Mount(ctx, *g.Mount)
	if err != nil {
		return nil, nil, err
	}
	brake, err := link.StartBrake(g.Brake[0], append(g.Brake[1:len(g.Brake):len(g.Brake)], g.Mount.String())...)
	if err != nil {
		return nil, nil, errors.Join(err, m.Close())
	}
	t := &device.Turner{Mount: m, Clock: link.Clock{}, Limits: device.Usual, Unpark: g.Unpark, Brake: brake}
	if g.Lowest > 0 {
		t.Limits.Lowest = g.Lowest
	}
	return t, func() error { return errors.Join(brake.Close(), m.Close()) }, nil
}
