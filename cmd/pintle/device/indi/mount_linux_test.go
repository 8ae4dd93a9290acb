package indi

import (
	"bytes"
	"context"
	"io"
	"math"
	"testing"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/index/sphere"
)

func TestSimulators(t *testing.T) {
	p := start(t, 50*sphere.Degree, 10*sphere.Degree)
	ctx := context.Background()
	list, err := List(ctx, p.addr, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", list)
	m, err := OpenMount(ctx, p.addr, simMount, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	s, err := m.State(ctx)
	t.Logf("%+v %v", s, err)
	p.bring(20, 40)
	for i := range 4 {
		before, _ := m.Position(ctx)
		if err := m.Move(ctx, device.East, device.Speed{Step: i}); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second)
		if err := m.Stop(ctx); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second)
		after, _ := m.Position(ctx)
		t.Logf("step %d: %.4f degrees, dec %.3f", i, before.Turned(after).Degrees(), after.Dec.Degrees())
	}
	s, err = m.State(ctx)
	t.Logf("%+v %v", s, err)
	cam, err := OpenCamera(ctx, p.addr, simCamera, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer cam.Close()
	t.Logf("%+v", cam.About())
	var b bytes.Buffer
	got, err := cam.Expose(ctx, device.Exposure{Time: 500 * time.Millisecond, Binning: 2}, func(format string, _ time.Time) (io.Writer, error) {
		t.Log(format)
		return &b, nil
	})
	t.Logf("%+v %v %.2880q", got, err, b.String()[:min(b.Len(), 5760)])
	_ = math.Pi
}
