package indi

import (
	"context"
	"testing"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/index/sphere"
)

// What the simulators say of themselves, and that orders are refused in words.
func TestSimulators(t *testing.T) {
	p := start(t, 50*sphere.Degree, 10*sphere.Degree)
	ctx := context.Background()
	list, err := List(ctx, p.addr, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]Device{}
	for _, d := range list {
		kinds[d.Name] = d
	}
	if !kinds[simMount].Mount || kinds[simMount].Camera || !kinds[simCamera].Camera || kinds[simCamera].Mount || kinds["Focuser Simulator"].Camera {
		t.Errorf("%+v", list)
	}
	cam, err := OpenCamera(ctx, p.addr, simCamera, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer cam.Close()
	// The driver's own definitions, as indi_getprop shows them.
	want := device.CameraInfo{Width: 1280, Height: 1024, Pixel: 5.2, Shortest: 10 * time.Millisecond, Longest: time.Hour, MaxBinning: 4, HasGain: true, MaxGain: 100, Driver: simCamera}
	got := cam.About()
	if got.Pixel-want.Pixel > 1e-6 {
		t.Errorf("pixel of %g um", got.Pixel)
	}
	if got.Pixel = want.Pixel; got.Width != want.Width || got.Height != want.Height || got.Shortest != want.Shortest || got.Longest != want.Longest || got.MaxBinning != 4 || got.MaxGain != 100 {
		t.Errorf("%+v, want %+v", got, want)
	}
	for _, e := range []device.Exposure{{}, {Time: 2 * time.Hour}, {Time: time.Second, Binning: 5}} {
		if _, err := cam.Expose(ctx, e, nil); device.KindOf(err) != device.Refused {
			t.Errorf("%+v: %v", e, err)
		}
	}
}
