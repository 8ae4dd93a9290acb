//go:build unix

package link

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http/httptest"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/cmd/night"
	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/fake"
	"pintle/index/sphere"
)

// order is what a helper process of these tests is told.
type order struct {
	Mount string
	RA    float64 // degrees, of the frame that was recognised
	Dec   float64
	Site  place.Site
}

// The test binary doubles as the process that turns a mount, and as its brake.
func TestMain(m *testing.M) {
	switch mode := os.Getenv("PINTLE_TEST_ROLE"); {
	case len(os.Args) == 3 && os.Args[1] == "brake":
		at, err := Parse(os.Args[2])
		if err == nil {
			err = HoldBrake(context.Background(), at, os.Stdin, os.Stderr)
		}
		exitOn(err)
	case mode == "turn":
		exitOn(turnAsTold())
	default:
		os.Exit(m.Run())
	}
}

func exitOn(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// turnAsTold turns a mount as the program does, until a signal ends it.
func turnAsTold() error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	var o order
	if err := json.Unmarshal([]byte(os.Getenv("PINTLE_TEST_ORDER")), &o); err != nil {
		return err
	}
	at, err := Parse(o.Mount)
	if err != nil {
		return err
	}
	m, err := Mount(ctx, at)
	if err != nil {
		return err
	}
	exe, err := os.Executable()
	if err != nil {
		return err
	}
	brake, err := StartBrake(exe, "brake", o.Mount)
	if err != nil {
		return err
	}
	defer brake.Close()
	t := device.Turner{Mount: m, Clock: Clock{}, Limits: device.Usual, Brake: brake, Agree: func(context.Context, device.Question) error { return nil }}
	sky := sphere.SkyAt(sphere.Angle(o.RA)*sphere.Degree, sphere.Angle(o.Dec)*sphere.Degree)
	if err := t.Seen(ctx, device.Pointing{Sky: sky, At: time.Now(), Site: o.Site}); err != nil {
		return err
	}
	_, err = t.Turn(ctx, device.Request{Angle: 40 * sphere.Degree})
	return err
}

// However the process ends that turns the mount, the mount stands soon; where its link is
// cut at the same moment, soon after that is back.
func TestMountStandsWhenTheProcessEnds(t *testing.T) {
	for _, c := range []struct {
		signal syscall.Signal
		cut    time.Duration
		within time.Duration
	}{{syscall.SIGINT, 0, time.Second}, {syscall.SIGTERM, 0, time.Second}, {syscall.SIGHUP, 0, time.Second}, {syscall.SIGKILL, 0, 2 * time.Second},
		{syscall.SIGINT, 1500 * time.Millisecond, 3 * time.Second}, {syscall.SIGKILL, 1500 * time.Millisecond, 3 * time.Second}} {
		t.Run(fmt.Sprint(c.signal, c.cut), func(t *testing.T) {
			t.Parallel()
			n, err := night.New(fake.Tonight(time.Now(), 1, false))
			if err != nil {
				t.Fatal(err)
			}
			var back atomic.Int64 // when the link is, nanoseconds of Unix time
			f := &fake.Server{Night: n, Now: time.Now, Fail: func(string) bool { return time.Now().UnixNano() < back.Load() }}
			server := httptest.NewServer(f)
			defer server.Close()
			truth, err := f.Mount().Truth(time.Now())
			if err != nil {
				t.Fatal(err)
			}
			ra, dec := truth.Centre.RADec()
			o, err := json.Marshal(order{"alpaca://" + strings.TrimPrefix(server.URL, "http://") + "/telescope/0", ra.Degrees(), dec.Degrees(), f.Night.Spec().Site})
			if err != nil {
				t.Fatal(err)
			}
			helper := exec.Command(os.Args[0])
			helper.Env = append(os.Environ(), "PINTLE_TEST_ROLE=turn", "PINTLE_TEST_ORDER="+string(o))
			var said strings.Builder
			helper.Stderr = &said
			if err := helper.Start(); err != nil {
				t.Fatal(err)
			}
			ended := make(chan error, 1)
			go func() { ended <- helper.Wait() }()
			until(t, 20*time.Second, func() bool { return math.Abs(f.Moving()) > 2 })
			time.Sleep(500 * time.Millisecond)
			begun := time.Now().Add(c.cut)
			back.Store(begun.UnixNano())
			if err := helper.Process.Signal(c.signal); err != nil {
				t.Fatal(err)
			}
			until(t, 10*time.Second, func() bool { return f.Moving() == 0 })
			took := time.Since(begun)
			t.Logf("stands after %v", took)
			if took < 0 {
				t.Error("it was stopped through a link that is cut")
			}
			if took > c.within {
				t.Errorf("the mount stood %v after %v; %v are allowed", took, c.signal, c.within)
			}
			<-ended
			if c.signal == syscall.SIGKILL {
				until(t, 10*time.Second, func() bool { return strings.Contains(said.String(), "the mount was stopped") })
			} else if !strings.Contains(said.String(), "context canceled") || !f.Mount().Tracking() {
				t.Errorf("%q; tracking %v", said.String(), f.Mount().Tracking())
			}
		})
	}
}

func until(t *testing.T, most time.Duration, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(most); !ok(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited for %v", most)
		}
	}
}
