package indi

import (
	"context"
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"
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
	e.openCamera()
	var err error
	if e.mount, err = OpenMount(ctx, p.addr, simMount, time.Now); err != nil {
		p.t.Fatal(err)
	}
	p.t.Cleanup(func() { e.mount.Close() })
	e.turner = &device.Turner{Mount: e.mount, Clock: wall{}, Limits: device.Usual, Agree: func(context.Context, device.Question) error { return nil }}
	return e
}

func (e *evening) openCamera() {
	e.t.Helper()
	var err error
	if e.cam, err = OpenCamera(context.Background(), e.addr, simCamera, time.Now); err != nil {
		e.t.Fatal(err)
	}
	e.t.Cleanup(func() { e.cam.Close() })
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

var (
	evenings = flag.Int("evenings", 1, "number of evenings with the simulators, at most 6")
	long     = flag.Bool("long", false, "run the tests that take minutes, too: all evenings, and the program beside the simulators")
)

// The simulators as a mount out of true by a known amount: three photographs,
// RA turned between them by rate.
func TestEvenings(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute of waiting")
	}
	t.Parallel()
	turn := 12 * sphere.Degree
	if *long {
		turn = 20 * sphere.Degree
	}
	for i, c := range []struct {
		lat, alt, az float64 // degrees; arcmin
		ha, dec      float64
	}{
		{48, 20, -30, 50, 60}, {-34, -35, 45, -60, -60}, {48, 0, 0, 15, 40}, {60, -40, -20, 60, 60}, {-20, 0, 60, -30, -50}, {35, 60, 0, 30, 30},
	} {
		if i >= *evenings && !*long {
			break
		}
		p := start(t, sphere.Angle(c.lat)*sphere.Degree, midnight())
		truth := p.misalign(sphere.Angle(c.alt)*sphere.Arcminute, sphere.Angle(c.az)*sphere.Arcminute)
		p.bring(c.ha, c.dec)
		e := p.evening()
		begun := time.Now()
		list := []axis.Sighting{e.look()}
		for range 2 {
			turned, err := e.turner.Turn(context.Background(), device.Request{Angle: turn})
			if err != nil {
				t.Fatalf("%+v: %v", turned, err)
			}
			list = append(list, e.look())
		}
		r, err := axis.Fit(list)
		if err != nil {
			t.Fatal(err)
		}
		took, miss := time.Since(begun), r.Axis.Sep(truth.axis(list[1].Place))
		t.Logf("%+v: off by %.2f' (rms %.1f\", scatter %.1f\") in %.0f s", c, miss.Arcminutes(), r.RMS.Arcseconds(), r.Tilt.Arcseconds(), took.Seconds())
		if miss > 0.7*sphere.Arcminute {
			t.Errorf("%+v: the axis is off by %.2f'", c, miss.Arcminutes())
		}
		if *evenings > 1 || *long {
			e.turnBolts(r, c.alt, c.az)
		}
	}
}

// What may go wrong in mid-turn and in mid-exposure, each with a server of its own.
func TestEveningsMishaps(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute of waiting")
	}
	t.Parallel()
	for name, mishap := range map[string]func(*evening){
		"link cut": (*evening).cutInMidTurn, "mount's driver killed": (*evening).mountDies, "camera's driver killed": (*evening).cameraDies,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := start(t, 48*sphere.Degree, midnight())
			p.misalign(20*sphere.Arcminute, -30*sphere.Arcminute)
			p.bring(50, 60)
			e := p.evening()
			e.look()
			mishap(e)
			if name == "link cut" { // the evening goes on
				e.openCamera()
				e.look()
			}
		})
	}
}

// turnBolts turns the adjusters to six positions, one after the other, and follows
// the axis there.
func (e *evening) turnBolts(r *axis.Result, alt, az float64) {
	e.t.Helper()
	f, err := axis.Follow(r)
	if err != nil {
		e.t.Fatal(err)
	}
	for i, b := range [][2]float64{{0.7, 1}, {0.4, 1}, {0.4, 0.5}, {0.4, 0.1}, {0.05, 0.1}, {0, 0}} {
		truth := e.misalign(sphere.Angle(alt*b[0])*sphere.Arcminute, sphere.Angle(az*b[1])*sphere.Arcminute)
		s := e.look()
		st, err := f.Next(s)
		if err != nil {
			e.t.Fatal(err)
		}
		miss := st.Axis.Sep(truth.axis(s.Place))
		e.t.Logf("bolts at position %d: off by %.2f'", i+1, miss.Arcminutes())
		if miss > 0.7*sphere.Arcminute {
			e.t.Errorf("bolts at position %d: the axis is off by %.2f'", i+1, miss.Arcminutes())
		}
	}
}

// begin starts a turn and returns when the mount moves; the channel tells how it
// ended. The turner knows the rates from before.
func (e *evening) begin(angle float64) <-chan error {
	e.t.Helper()
	ended := make(chan error, 1)
	raw := e.raw()
	raw.until(context.Background(), 5*time.Second, func() bool { return coordinates(raw, simMount) != nil })
	go func() {
		_, err := e.turner.Turn(context.Background(), device.Request{Angle: sphere.Angle(angle) * sphere.Degree})
		ended <- err
	}()
	if raw.until(context.Background(), 5*time.Second, func() bool {
		v := raw.get(simMount, "TELESCOPE_MOTION_WE")
		return v.on("MOTION_WEST") || v.on("MOTION_EAST")
	}) != nil {
		e.t.Fatal("the mount does not move: ", <-ended)
	}
	time.Sleep(700 * time.Millisecond)
	return ended
}

// cutInMidTurn cuts the link for 3 s.
func (e *evening) cutInMidTurn() {
	e.t.Helper()
	ended := e.begin(20)
	e.setCut(true)
	time.Sleep(3 * time.Second)
	e.setCut(false)
	back := time.Now()
	raw := e.raw()
	if raw.until(context.Background(), 10*time.Second, func() bool {
		v := raw.get(simMount, "TELESCOPE_MOTION_WE")
		return v != nil && !v.on("MOTION_WEST") && !v.on("MOTION_EAST")
	}) != nil {
		e.t.Error("the mount still moves")
	}
	took := time.Since(back)
	err := <-ended
	e.t.Logf("link cut: stands %.1f s after it is back: %v", took.Seconds(), err)
	if took > 3*time.Second || device.KindOf(err) != device.LinkLost {
		e.t.Errorf("stands %v after the link is back: %v", took, err)
	}
}

// mountDies kills the mount's driver in mid-turn; the server starts it again.
func (e *evening) mountDies() {
	e.t.Helper()
	ended := e.begin(20)
	e.kill("indi_simulator_telescope")
	err := <-ended
	e.t.Logf("driver killed: %v", err)
	if k := device.KindOf(err); k != device.Gone && k != device.LinkLost && k != device.Silent {
		e.t.Errorf("the driver died, and the turn ended with %v", err)
	}
	if s, err := e.mount.State(context.Background()); err != nil || s.Slewing {
		e.t.Errorf("afterwards: %+v, %v", s, err)
	}
}

// cameraDies kills the camera's driver in mid-exposure.
func (e *evening) cameraDies() {
	e.t.Helper()
	time.AfterFunc(1500*time.Millisecond, func() { e.kill("indi_simulator_ccd") })
	_, err := e.folder.Take(context.Background(), e.cam, device.Exposure{Time: 5 * time.Second})
	e.t.Logf("camera's driver killed: %v", err)
	if device.KindOf(err) != device.Gone {
		e.t.Errorf("the driver died, and the exposure ended with %v", err)
	}
}

// kill ends a driver of this test's own server.
func (e *evening) kill(driver string) {
	list, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%d/children", e.server.Process.Pid, e.server.Process.Pid))
	if err != nil {
		e.t.Error(err)
		return
	}
	for _, f := range strings.Fields(string(list)) {
		name, _ := os.ReadFile("/proc/" + f + "/cmdline")
		if pid, err := strconv.Atoi(f); err == nil && strings.Contains(string(name), driver) {
			syscall.Kill(pid, syscall.SIGKILL)
			return
		}
	}
	e.t.Errorf("no %s among the server's drivers", driver)
}
