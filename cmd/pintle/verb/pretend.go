package verb

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"net"
	"net/http"
	"os"
	"strings"
	"time"

	"pintle/cmd/night"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/device/fake"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// pretend runs demo --devices: the invented mount and camera of a night that is
// now, as an Alpaca server on this computer, until the user ends it. Lines such as
// "alt 5" and "az -10" turn its bolts by arcminutes, "ra 20" turns RA by hand, in degrees
// to the west.
func (a *app) pretend(ctx context.Context, f *demoFlags) error {
	spec := fake.Tonight(a.now(), f.seed, f.south)
	n, err := night.New(spec)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", "127.0.0.1:11111")
	if err != nil {
		l, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return advice.With(fmt.Errorf("no port for the pretended devices: %w", err), "look what the network of this computer forbids")
	}
	f1 := &fake.Server{Night: n, Now: a.now}
	server := &http.Server{Handler: f1, ReadHeaderTimeout: 5 * time.Second}
	defer context.AfterFunc(ctx, func() { server.Close() })()
	found := fake.Found(ctx, l.Addr().(*net.TCPAddr).Port) == nil // else another server of this computer answers
	a.Pretended(words.Pretended(l.Addr().String(), found, spec.Site))
	a.stands(f1)
	go a.bolts(f1)
	if err := server.Serve(l); err != nil && ctx.Err() == nil {
		return err
	}
	return nil
}

// stands tells how far the pretended axis is off.
func (a *app) stands(f *fake.Server) {
	if t, err := f.Mount().Truth(a.now()); err == nil {
		a.Note(words.PretendedOff(t.Offset))
	}
}

// bolts turns the pretended mount as lines of the input say.
func (a *app) bolts(f *fake.Server) {
	lines := bufio.NewScanner(os.Stdin)
	for lines.Scan() {
		p, ok := handPose(lines.Text(), f.Night.Spec().Site.Lat < 0)
		if !ok {
			a.Note(words.PretendedKeys)
			continue
		}
		if err := f.Mount().Move(p); err != nil {
			a.Fail(err)
		}
		if p.Turn != 0 {
			a.Note(words.PretendedTurned(p.Turn.Abs()))
			continue
		}
		a.stands(f)
	}
}

// handPose reads by what a hand turns the pretended mount.
func handPose(line string, south bool) (p night.Pose, ok bool) {
	var which string
	var by float64
	if _, err := fmt.Sscanf(strings.ToLower(line), "%s %f", &which, &by); err != nil {
		return p, false
	}
	switch small := sphere.Angle(by) * sphere.Arcminute; {
	case which == "alt" && math.Abs(by) <= 600:
		return night.Pose{Alt: small}, true
	case which == "az" && math.Abs(by) <= 600:
		return night.Pose{Az: small}, true
	case which == "ra" && math.Abs(by) <= 60 && south:
		return night.Pose{Turn: sphere.Angle(by) * sphere.Degree}, true
	case which == "ra" && math.Abs(by) <= 60:
		return night.Pose{Turn: -sphere.Angle(by) * sphere.Degree}, true
	}
	return p, false
}
