package link

import (
	"context"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/alpaca"
	"pintle/cmd/pintle/device/indi"
)

// Clock is the computer's clock.
type Clock struct{}

// Now returns the time.
func (Clock) Now() time.Time { return time.Now() }

// Wait waits.
func (Clock) Wait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Camera opens a camera.
func Camera(ctx context.Context, a Address) (device.Camera, error) {
	if a.Scheme == INDI {
		return as[device.Camera](indi.OpenCamera(ctx, a.Host, a.Name, time.Now))
	}
	if a.Kind != "camera" {
		return nil, device.NewFault(device.Unfit, advice, "%s is no camera", a)
	}
	return as[device.Camera](alpaca.OpenCamera(ctx, a.Host, a.Number, time.Now))
}

// Mount opens a mount.
func Mount(ctx context.Context, a Address) (device.Mount, error) {
	if a.Scheme == INDI {
		return as[device.Mount](indi.OpenMount(ctx, a.Host, a.Name, time.Now))
	}
	if a.Kind != "telescope" {
		return nil, device.NewFault(device.Unfit, advice, "%s is no mount", a)
	}
	return as[device.Mount](alpaca.OpenMount(ctx, a.Host, a.Number, time.Now))
}

// mountToStop opens a mount for Stop, in the shortest time.
func mountToStop(ctx context.Context, a Address) (device.Mount, error) {
	if a.Scheme == INDI {
		return as[device.Mount](indi.OpenToStop(ctx, a.Host, a.Name, time.Now))
	}
	return alpaca.OpenToStop(a.Host, a.Number, time.Now), nil
}

// as makes an interface of what was opened, nil when it was not.
func as[I any, T any](thing T, err error) (I, error) {
	if err != nil {
		var none I
		return none, err
	}
	return any(thing).(I), nil
}

// Found is a device that answers.
type Found struct {
	Address       Address
	Name, Driver  string
	Camera, Mount bool
	Connected     bool // INDI tells; an Alpaca server is asked only when opened
}

// At lists the cameras and mounts of one server.
func At(ctx context.Context, scheme, host string) ([]Found, error) {
	var out []Found
	if scheme == INDI {
		list, err := indi.List(ctx, host, time.Now)
		for _, d := range list {
			if d.Camera || d.Mount {
				out = append(out, Found{Address: Address{Scheme: INDI, Host: indi.WithPort(host), Name: d.Name}, Name: d.Name, Driver: d.Driver, Camera: d.Camera, Mount: d.Mount, Connected: d.Connected})
			}
		}
		return out, err
	}
	list, err := alpaca.List(ctx, host, time.Now)
	for _, d := range list {
		out = append(out, Found{Address: Address{Scheme: Alpaca, Host: host, Kind: d.Kind, Number: d.Number}, Name: d.Name, Camera: d.Camera, Mount: d.Mount})
	}
	return out, err
}

// Alpacas returns the Alpaca servers that answer to a broadcast.
func Alpacas(ctx context.Context) ([]string, error) {
	return alpaca.Discover(ctx, 1500*time.Millisecond)
}
