package indi

import (
	"context"
	"errors"
	"html"
	"io"
	"net"
	"strings"
	"sync"
	"time"

	"pintle/cmd/pintle/device"
)

const (
	// deliverTime is how long a photograph may take to arrive after its exposure.
	deliverTime = 90 * time.Second
	// patience is for a camera's answer to an order: nothing moves meanwhile.
	patience = 10 * time.Second
)

// Camera is a camera behind an INDI server. Photographs come on a connection of
// their own that is always drained: a server drops clients that lag behind.
type Camera struct {
	c    *client
	dev  string
	now  func() time.Time
	blob net.Conn
	info device.CameraInfo

	mu   sync.Mutex
	sink *sink // of the exposure that is waited for, or nil
	dead error // of the second connection
}

// OpenCamera connects to a camera and waits until it can expose.
func OpenCamera(ctx context.Context, addr, dev string, now func() time.Time) (*Camera, error) {
	c, err := dial(ctx, addr, dev, now)
	if err != nil {
		return nil, err
	}
	cam := &Camera{c: c, dev: dev, now: now}
	if err = c.bringUp(ctx, dev, readyTime, "CCD_EXPOSURE"); err == nil {
		err = cam.setUp(ctx)
	}
	if err == nil {
		cam.blob, err = connect(ctx, addr)
	}
	if err == nil {
		_, err = io.WriteString(cam.blob, getProperties(dev, "CCD1")+enableBlobs(dev))
	}
	if err != nil {
		cam.Close()
		return nil, err
	}
	go cam.drain()
	return cam, nil
}

func enableBlobs(dev string) string {
	return `<enableBLOB device="` + html.EscapeString(dev) + `">Only</enableBLOB>` + "\n"
}

// setUp asks for ordinary files to be sent here, where a driver has the choice,
// and notes what the camera can do.
func (cam *Camera) setUp(ctx context.Context) error {
	// What a camera can do may be told a moment after it can expose.
	cam.c.until(ctx, 2*time.Second, func() bool {
		w, _ := cam.c.get(cam.dev, "CCD_INFO").number("CCD_MAX_X")
		return w > 0
	})
	for _, s := range []struct{ name, element string }{
		{"UPLOAD_MODE", "UPLOAD_CLIENT"}, {"CCD_FRAME_TYPE", "FRAME_LIGHT"},
		{"CCD_COMPRESSION", "INDI_DISABLED"}, {"CCD_COMPRESSION", "CCD_RAW"},
	} {
		v := cam.c.get(cam.dev, s.name)
		if v.element(s.element) == nil || v.on(s.element) {
			continue
		}
		if err := cam.c.order(ctx, switches(cam.dev, s.name, on(s.element)), patience); err != nil {
			return err
		}
	}
	cam.info = cam.about()
	return nil
}

func (cam *Camera) about() device.CameraInfo {
	info := device.CameraInfo{Driver: cam.dev}
	size := cam.c.get(cam.dev, "CCD_INFO")
	w, _ := size.number("CCD_MAX_X")
	h, _ := size.number("CCD_MAX_Y")
	if w > 0 && h > 0 && w < 1e6 && h < 1e6 {
		info.Width, info.Height = int(w), int(h)
	}
	if p, ok := size.number("CCD_PIXEL_SIZE"); ok && p > 0 && p < 1000 {
		info.Pixel = p
	}
	if e := cam.c.get(cam.dev, "CCD_EXPOSURE").element("CCD_EXPOSURE_VALUE"); e != nil && e.max > e.min {
		info.SetExposures(e.min, e.max)
	}
	if e := cam.c.get(cam.dev, "CCD_BINNING").element("HOR_BIN"); e != nil && e.max >= 1 && e.max < 100 {
		info.MaxBinning = int(e.max)
	}
	if _, name, e := cam.gain(); name != "" {
		info.HasGain, info.MinGain, info.MaxGain = true, e.min, e.max
	}
	if v := cam.c.get(cam.dev, "CCD_CFA"); v != nil {
		info.Mosaic = true
	}
	return info
}

// gain returns where the gain is set.
func (cam *Camera) gain() (property, name string, e element) {
	for _, p := range []struct{ property, name string }{{"CCD_GAIN", "GAIN"}, {"CCD_CONTROLS", "Gain"}} {
		if e := cam.c.get(cam.dev, p.property).element(p.name); e != nil {
			return p.property, p.name, *e
		}
	}
	return "", "", e
}

// Name returns the device's name.
func (cam *Camera) Name() string { return cam.dev }

// About returns what the camera can do.
func (cam *Camera) About() device.CameraInfo { return cam.info }

// Close ends both connections.
func (cam *Camera) Close() error {
	err := cam.c.close()
	if cam.blob != nil {
		err = errors.Join(err, cam.blob.Close())
	}
	return err
}

// sink is where the next photograph goes. After detach nothing is written.
type sink struct {
	mu     sync.Mutex
	create device.Create
	to     io.Writer
	n      int64
	done   chan error // of length 1
	off    bool
	start  time.Time
	// early is when the exposure is nearly over: what comes before is left over
	// from an earlier one.
	early time.Time
}

func (s *sink) bytes() int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.n
}

func (s *sink) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.off {
		return 0, errors.New("not wanted any more")
	}
	n, err := s.to.Write(b)
	s.n += int64(n)
	return n, err
}

func (s *sink) detach() {
	s.mu.Lock()
	s.off = true
	s.mu.Unlock()
}

// drain reads the second connection until it ends.
func (cam *Camera) drain() {
	r := newReader(cam.blob)
	var now *sink
	r.blob = func(vector, el attrs) io.Writer {
		now = cam.take(vector)
		if now == nil {
			return nil
		}
		to, err := now.create(suffix(el.get("format")), now.start)
		if err != nil {
			now.done <- err
			now = nil
			return nil
		}
		now.to = to
		return now
	}
	r.done = func(_, _ attrs, _ int64, err error) {
		if now != nil {
			now.done <- err
		}
		now = nil
	}
	for {
		if _, err := r.next(); err != nil {
			cam.mu.Lock()
			cam.dead = err
			s := cam.sink
			cam.sink = nil
			cam.mu.Unlock()
			if s != nil {
				s.done <- cam.gone(err)
			}
			return
		}
	}
}

// take returns the sink when a vector of BLOBs is what an exposure waits for.
func (cam *Camera) take(vector attrs) *sink {
	cam.mu.Lock()
	defer cam.mu.Unlock()
	if vector.get("device") != cam.dev || vector.get("name") != "CCD1" {
		return nil
	}
	s := cam.sink
	if s == nil || cam.now().Before(s.early) {
		return nil
	}
	cam.sink = nil
	return s
}

// suffix returns the suffix for a file of a format, which a driver names.
func suffix(format string) string {
	f := strings.ToLower(format)
	if len(f) < 2 || len(f) > 12 || f[0] != '.' {
		return ".bin"
	}
	for _, c := range f[1:] {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') {
			return ".bin"
		}
	}
	return f
}

func (cam *Camera) gone(err error) error {
	return &device.Fault{Kind: device.Gone, Text: "the camera " + cam.dev + " has gone in mid-exposure", Try: "look at its cable and driver; it can be opened again", Err: err}
}

// Expose takes a photograph.
func (cam *Camera) Expose(ctx context.Context, e device.Exposure, create device.Create) (device.Taken, error) {
	if err := cam.info.Check(e); err != nil {
		return device.Taken{}, err
	}
	if err := cam.prepare(ctx, e); err != nil {
		return device.Taken{}, err
	}
	start := cam.now()
	s := &sink{create: create, done: make(chan error, 2), start: start, early: start.Add(e.Time * 8 / 10)}
	cam.mu.Lock()
	dead := cam.dead
	cam.sink = s
	cam.mu.Unlock()
	if dead != nil {
		return device.Taken{}, cam.gone(dead)
	}
	defer func() {
		s.detach()
		cam.mu.Lock()
		cam.sink = nil
		cam.mu.Unlock()
	}()
	order := numbers(cam.dev, "CCD_EXPOSURE", num("CCD_EXPOSURE_VALUE", e.Time.Seconds()))
	order.starts = true
	taken := device.Taken{Start: start}
	if err := cam.c.order(ctx, order, patience); err != nil {
		return taken, err
	}
	err := cam.await(ctx, s, e.Time)
	taken.Bytes = s.bytes()
	return taken, err
}

// prepare sets what is asked for.
func (cam *Camera) prepare(ctx context.Context, e device.Exposure) error {
	if e.Binning > 0 && cam.c.get(cam.dev, "CCD_BINNING") != nil {
		b := float64(e.Binning)
		if err := cam.c.order(ctx, numbers(cam.dev, "CCD_BINNING", num("HOR_BIN", b), num("VER_BIN", b)), patience); err != nil {
			return err
		}
	}
	if e.Gain != nil {
		property, name, _ := cam.gain()
		return cam.c.order(ctx, numbers(cam.dev, property, num(name, *e.Gain)), patience)
	}
	return nil
}

// await waits for the photograph, or for a sign that it will not come.
func (cam *Camera) await(ctx context.Context, s *sink, long time.Duration) error {
	late := time.NewTimer(long + deliverTime)
	defer late.Stop()
	look := time.NewTicker(200 * time.Millisecond)
	defer look.Stop()
	for {
		select {
		case err := <-s.done:
			return err
		case <-ctx.Done():
			cam.c.send(switches(cam.dev, "CCD_ABORT_EXPOSURE", on("ABORT")).xml())
			return ctx.Err()
		case <-late.C:
			return device.NewFault(device.Gone, "look at the camera and its driver", "no photograph from %s %.0f s after the exposure", cam.dev, deliverTime.Seconds())
		case <-look.C:
			if err := cam.broken(); err != nil {
				return err
			}
		}
	}
}

// broken returns why no photograph will come any more.
func (cam *Camera) broken() error {
	if err := cam.c.failed(); err != nil {
		return cam.gone(err)
	}
	if v := cam.c.get(cam.dev, "CONNECTION"); !v.on("CONNECT") {
		return cam.gone(errors.New("its driver is not connected any more"))
	}
	if v := cam.c.get(cam.dev, "CCD_EXPOSURE"); v != nil && v.state == "Alert" {
		return device.NewFault(device.Refused, "look at what the driver says", "%s says that the exposure has failed: %.200s", cam.dev, cam.c.lastNote(cam.dev))
	}
	return nil
}

func (c *client) lastNote(dev string) string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.said[dev].text
}
