package verb

import (
	"context"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/link"
	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/evening"
	"pintle/cmd/pintle/hands"
)

// shooter is a camera that photographs for the evening. It chooses its exposures.
type shooter struct {
	cam    device.Camera
	folder shoot.Folder
	next   device.Exposure
}

// openShooter opens the camera at an address.
func (a *app) openShooter(ctx context.Context, at string, exposure time.Duration, dir string) (evening.Shooter, error) {
	address, err := link.Parse(at)
	if err != nil {
		return nil, err
	}
	cam, err := link.Camera(ctx, address)
	if err != nil {
		return nil, err
	}
	s := &shooter{cam: cam, folder: shoot.Folder{Dir: dir, Prefix: a.now().Format("150405")}, next: device.Exposure{Time: exposure}}
	if err := cam.About().Check(s.next); err != nil {
		cam.Close()
		return nil, err
	}
	return s, nil
}

// openTask opens camera and mount for photographs between which RA is turned.
func (a *app) openTask(ctx context.Context, t evening.Task) (*hands.Hands, func() error, error) {
	camera, err := link.Parse(t.Camera)
	if err != nil {
		return nil, nil, err
	}
	mount, err := link.Parse(t.Mount)
	if err != nil {
		return nil, nil, err
	}
	return a.held(ctx, hands.Gear{Camera: camera, Mount: &mount, Lowest: t.Lowest, Unpark: t.Unpark}, t.Hands)
}

// Take takes a photograph, and chooses the exposure of the next by what it shows.
func (s *shooter) Take(ctx context.Context) (string, error) {
	f, err := s.folder.Take(ctx, s.cam, s.next)
	if err != nil {
		return "", err
	}
	// One that cannot be read is told where photographs are looked at.
	if shown, err := shoot.Look(ctx, f.Path); err == nil {
		s.next, _ = shoot.Next(s.next, shown, s.cam.About(), max(device.UsualLongest, s.next.Time))
	}
	return f.Path, nil
}

func (s *shooter) Name() string { return s.cam.Name() }

func (s *shooter) Exposure() time.Duration { return s.next.Time }

func (s *shooter) Close() error { return s.cam.Close() }
