package alpaca

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/solve/frame"
	"pintle/solve/render"
)

const (
	readyPoll   = 100 * time.Millisecond
	deliverTime = 90 * time.Second
)

// Camera is a camera of an Alpaca server.
type Camera struct {
	*endpoint
	name   string
	info   device.CameraInfo
	mosaic string // colours of the first 2 x 2 pixels
}

// OpenCamera connects to camera n at host, which includes the port.
func OpenCamera(ctx context.Context, host string, n int, now func() time.Time) (*Camera, error) {
	c := &Camera{endpoint: newEndpoint(host, "camera", n, now)}
	if err := c.connect(ctx); err != nil {
		return nil, err
	}
	c.name = c.deviceName(ctx)
	if err := c.look(ctx); err != nil {
		return nil, err
	}
	return c, nil
}

// look notes what the camera can do.
func (c *Camera) look(ctx context.Context) error {
	info := device.CameraInfo{Driver: c.name}
	if err := errors.Join(c.get(ctx, "cameraxsize", nil, &info.Width), c.get(ctx, "cameraysize", nil, &info.Height)); err != nil {
		return err
	}
	info.Pixel, _ = optional[float64](ctx, c.endpoint, "pixelsizex")
	info.MaxBinning, _ = optional[int](ctx, c.endpoint, "maxbinx")
	low, _ := optional[float64](ctx, c.endpoint, "exposuremin")
	high, _ := optional[float64](ctx, c.endpoint, "exposuremax")
	info.SetExposures(low, high)
	c.gains(ctx, &info)
	if kind, ok := optional[int](ctx, c.endpoint, "sensortype"); ok && kind == 2 {
		x, _ := optional[int](ctx, c.endpoint, "bayeroffsetx")
		y, _ := optional[int](ctx, c.endpoint, "bayeroffsety")
		c.mosaic = mosaic(x, y)
	}
	info.Mosaic = c.mosaic != ""
	c.info = info
	return nil
}

// mosaic returns the colours of the first 2 x 2 pixels when the red one of the
// pattern is at (x, y). The offset is that of the whole sensor; only whole
// sensors are taken.
func mosaic(x, y int) string {
	const rggb = "RGGB"
	var b [4]byte
	for i := range b {
		col, row := (i%2+x)&1, (i/2+y)&1
		b[i] = rggb[2*row+col]
	}
	return string(b[:])
}

// gains notes whether gain is a value or an index into names.
func (c *Camera) gains(ctx context.Context, info *device.CameraInfo) {
	low, ok1 := optional[float64](ctx, c.endpoint, "gainmin")
	high, ok2 := optional[float64](ctx, c.endpoint, "gainmax")
	if ok1 && ok2 {
		info.HasGain, info.MinGain, info.MaxGain = true, low, high
		return
	}
	names, _ := optional[[]string](ctx, c.endpoint, "gains")
	for _, n := range names[:min(len(names), 1000)] {
		info.Gains = append(info.Gains, clean(n, 40))
	}
}

// Name returns the device's own name.
func (c *Camera) Name() string { return c.name }

// About returns what the camera can do.
func (c *Camera) About() device.CameraInfo { return c.info }

// Close frees the connections.
func (c *Camera) Close() error { c.http.CloseIdleConnections(); return nil }

// Expose takes a photograph and writes it as a FITS file.
func (c *Camera) Expose(ctx context.Context, e device.Exposure, create device.Create) (device.Taken, error) {
	if err := c.info.Check(e); err != nil {
		return device.Taken{}, err
	}
	if err := c.prepare(ctx, e); err != nil {
		return device.Taken{}, err
	}
	taken := device.Taken{Start: c.now()}
	form := url.Values{"Duration": {strconv.FormatFloat(e.Time.Seconds(), 'f', -1, 64)}, "Light": {"True"}}
	if err := c.put(ctx, "startexposure", form); err != nil {
		return taken, err
	}
	if err := c.await(ctx, e.Time); err != nil {
		return taken, err
	}
	p, err := c.fetch(ctx)
	if err != nil {
		return taken, err
	}
	w, err := create(".fits", taken.Start)
	if err != nil {
		return taken, err
	}
	n := &counter{w: w}
	err = c.write(ctx, n, p, e, taken.Start)
	taken.Bytes = n.n
	return taken, err
}

// prepare sets binning, the whole sensor, and gain.
func (c *Camera) prepare(ctx context.Context, e device.Exposure) error {
	set := func(method, name string, v int) error {
		return c.put(ctx, method, url.Values{name: {strconv.Itoa(v)}})
	}
	if e.Binning > 0 {
		if err := set("binx", "BinX", e.Binning); err != nil {
			return err
		}
		if err := set("biny", "BinY", e.Binning); err != nil {
			return err
		}
	}
	bin, ok := optional[int](ctx, c.endpoint, "binx")
	if !ok || bin < 1 {
		bin = 1
	}
	err := errors.Join(set("startx", "StartX", 0), set("starty", "StartY", 0),
		set("numx", "NumX", c.info.Width/bin), set("numy", "NumY", c.info.Height/bin))
	if err == nil && e.Gain != nil {
		err = set("gain", "Gain", int(*e.Gain))
	}
	return err
}

// await waits for the picture; a failed exposure shows when it is asked for.
func (c *Camera) await(ctx context.Context, long time.Duration) error {
	tick := time.NewTicker(readyPoll)
	defer tick.Stop()
	late := time.NewTimer(long + deliverTime)
	defer late.Stop()
	failures := 0
	for {
		select {
		case <-ctx.Done():
			c.put(context.WithoutCancel(ctx), "abortexposure", nil)
			return ctx.Err()
		case <-late.C:
			return device.NewFault(device.Gone, "look at the camera and its driver", "no photograph from %s %.0f s after the exposure", c.name, deliverTime.Seconds())
		case <-tick.C:
		}
		var ready bool
		err := c.get(ctx, "imageready", nil, &ready)
		switch {
		case err == nil && ready:
			return nil
		case err == nil:
			failures = 0
		case device.KindOf(err) == device.LinkLost && ctx.Err() == nil:
			if failures++; failures > 3 {
				return &device.Fault{Kind: device.Gone, Text: "the camera " + c.name + " has gone in mid-exposure", Try: "look at its cable and server; it can be opened again", Err: err}
			}
		case ctx.Err() == nil:
			return &device.Fault{Kind: device.Refused, Text: "the exposure of " + c.name + " has failed", Try: "look at what its driver says", Err: err}
		}
	}
}

// fetch gets the picture, as ImageBytes when the server knows them.
func (c *Camera) fetch(ctx context.Context) (*picture, error) {
	ctx, cancel := context.WithTimeout(ctx, deliverTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, c.url("imagearray")+"?"+c.ids(nil).Encode(), nil)
	if err != nil {
		return nil, err
	}
	r.Header.Set("Accept", "application/imagebytes, application/json;q=0.5")
	resp, err := c.http.Do(r)
	if err != nil {
		return nil, c.unreachable(err)
	}
	defer resp.Body.Close()
	var p *picture
	switch {
	case resp.StatusCode != http.StatusOK:
		err = fmt.Errorf("status %d", resp.StatusCode)
	case isContent(resp, "application/imagebytes"):
		p, err = readBytes(bufio.NewReaderSize(resp.Body, 1<<20))
	default:
		p, err = readJSON(resp.Body)
	}
	if err != nil {
		return nil, &device.Fault{Kind: device.Refused, Text: "the picture of " + c.name + " cannot be used", Try: "look at the camera's driver", Err: err}
	}
	return p, nil
}

// write makes a FITS file: 16 bits, colours as their mean.
func (c *Camera) write(ctx context.Context, w io.Writer, p *picture, e device.Exposure, start time.Time) error {
	im := &frame.Image{W: p.w, H: p.h, U16: make([]uint16, p.w*p.h), Mosaic: c.mosaic}
	shift := 1.0
	if top, ok := optional[float64](ctx, c.endpoint, "maxadu"); ok && top > 65535 {
		shift = 65535 / top
	}
	for x := range p.w { // along the columns, as they lie in memory
		for y := range p.h {
			v := 0.0
			for k := range p.planes {
				v += p.pixel(x, y, k)
			}
			im.U16[y*p.w+x] = uint16(min(max(v*shift/float64(p.planes), 0), 65535))
		}
	}
	if t, ok := optional[string](ctx, c.endpoint, "lastexposurestarttime"); ok {
		if at, err := time.Parse("2006-01-02T15:04:05", t); err == nil {
			start = at
		}
	}
	return render.WriteFITS(w, im, c.cards(e, p, start))
}

func (c *Camera) cards(e device.Exposure, p *picture, start time.Time) []render.Card {
	cards := []render.Card{
		{Key: "INSTRUME", Value: clean(ascii(c.name), 30)},
		{Key: "DATE-OBS", Value: start.UTC().Format("2006-01-02T15:04:05.000"), Comment: "UTC, start of the exposure"},
		{Key: "EXPTIME", Value: e.Time.Seconds(), Comment: "s"},
		{Key: "ROWORDER", Value: "TOP-DOWN"},
	}
	if c.info.Pixel > 0 && c.info.Width > 0 {
		cards = append(cards, render.Card{Key: "XPIXSZ", Value: c.info.Pixel * float64(max(c.info.Width/p.w, 1)), Comment: "um, binned"})
	}
	if c.mosaic != "" && p.planes == 1 && p.w == c.info.Width {
		cards = append(cards, render.Card{Key: "BAYERPAT", Value: c.mosaic})
	}
	return cards
}

// ascii leaves what a FITS card may hold.
func ascii(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c < ' ' || c > '~' || c == '\'' {
			b[i] = '?'
		}
	}
	return string(b)
}

// counter counts bytes.
type counter struct {
	w io.Writer
	n int64
}

func (c *counter) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.n += int64(n)
	return n, err
}
