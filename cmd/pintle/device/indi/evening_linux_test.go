package indi

import (
	"context"
	"testing"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/fake"
	"pintle/cmd/pintle/device/shoot"
	"pintle/index/sphere"
)

// wall is the computer's clock.
type wall struct{}

func (wall) Now() time.Time { return time.Now() }

func (wall) Wait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// midnight returns the longitude where it is an hour past midnight.
func midnight() sphere.Angle {
	u := time.Now().UTC()
	h := 1 - (float64(u.Hour()) + float64(u.Minute())/60)
	return (sphere.Angle(h) * sphere.Hour).Wrap()
}

var air = place.Air{Pressure: 1013, Temp: 10, Humidity: 0.5}

// evening is camera, mount and turner at a peer.
type evening struct {
	*peer
	cam    *Camera
	mount  *Mount
	turner *device.Turner
	folder *shoot.Folder
	shot   device.Exposure
}

func (p *peer) evening() *evening {
	p.t.Helper()
	ctx := context.Background()
	e := &evening{peer: p, folder: &shoot.Folder{Dir: p.t.TempDir()}, shot: device.Exposure{Time: time.Second}}
	var err error
	if e.cam, err = OpenCamera(ctx, p.addr, simCamera, time.Now); err != nil {
		p.t.Fatal(err)
	}
	p.t.Cleanup(func() { e.cam.Close() })
	if e.mount, err = OpenMount(ctx, p.addr, simMount, time.Now); err != nil {
		p.t.Fatal(err)
	}
	p.t.Cleanup(func() { e.mount.Close() })
	e.turner = &device.Turner{Mount: e.mount, Clock: wall{}, Limits: device.Usual, Agree: func(context.Context, device.Question) error { return nil }}
	return e
}

// look takes a photograph and recognises it.
func (e *evening) look() axis.Sighting {
	e.t.Helper()
	f, err := e.folder.Take(context.Background(), e.cam, e.shot)
	if err != nil {
		e.t.Fatal(err)
	}
	s, p, err := fake.Recognise(f.Path, e.site, air)
	if err != nil {
		e.t.Fatal(err)
	}
	if err := e.turner.Seen(context.Background(), p); err != nil {
		e.t.Fatal(err)
	}
	return s
}

// The simulators as a mount out of true by a known amount: three photographs,
// RA turned between them by rate.
func TestThreeFramesByRate(t *testing.T) {
	for _, c := range []struct {
		lat, alt, az float64 // degrees; arcmin
		ha, dec      float64
	}{
		{48, 0, 0, 15, 40}, {48, 20, -30, 15, 40}, {-34, -35, 45, -15, -40},
	} {
		p := start(t, sphere.Angle(c.lat)*sphere.Degree, midnight())
		truth := p.misalign(sphere.Angle(c.alt)*sphere.Arcminute, sphere.Angle(c.az)*sphere.Arcminute)
		p.bring(c.ha, c.dec)
		e := p.evening()
		begun := time.Now()
		list := []axis.Sighting{e.look()}
		for range 2 {
			turned, err := e.turner.Turn(context.Background(), device.Request{Angle: 20 * sphere.Degree})
			t.Logf("%+v", turned)
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, e.look())
		}
		r, err := axis.Fit(list)
		if err != nil {
			t.Fatal(err)
		}
		took := time.Since(begun)
		miss := r.Axis.Sep(truth.axis(list[1].Place))
		t.Logf("%+v: off by %.2f' (rms %.1f\", tilt %.1f\") in %.0f s", c, miss.Arcminutes(), r.RMS.Arcseconds(), r.Tilt.Arcseconds(), took.Seconds())
		if miss > 0.7*sphere.Arcminute {
			t.Errorf("%+v: the axis is off by %.2f'", c, miss.Arcminutes())
		}
	}
}
