package verb

import (
	"bufio"
	"context"
	"fmt"
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
// "alt 5" and "az -10" turn its bolts by arcminutes.
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

// bolts turns the bolts of the pretended mount as lines of the input say.
func (a *app) bolts(f *fake.Server) {
	lines := bufio.NewScanner(os.Stdin)
	for lines.Scan() {
		var which string
		var by float64
		if _, err := fmt.Sscanf(strings.ToLower(lines.Text()), "%s %f", &which, &by); err != nil || which != "alt" && which != "az" || !(by >= -600 && by <= 600) {
			a.Note(words.PretendedKeys)
			continue
		}
		p := night.Pose{Alt: sphere.Angle(by) * sphere.Arcminute}
		if which == "az" {
			p = night.Pose{Az: sphere.Angle(by) * sphere.Arcminute}
		}
		if err := f.Mount().Move(p); err != nil {
			a.Fail(err)
		}
		a.stands(f)
	}
}
