package indi

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// liveLine is what a reader of "live --json" would declare.
type liveLine struct {
	TakenBy string `json:"taken_by"`
	Time    time.Time
	Axis    *struct {
		Az  float64 `json:"az_deg"`
		Alt float64 `json:"alt_deg"`
	}
	Turns []struct {
		StoppedBy string `json:"stopped_by"`
	}
}

// The program itself beside the simulators: it photographs, turns RA, and follows
// six positions of the bolts, each within 0.7 arcminutes. The peer makes sure that
// nothing was sent that must not be.
func TestProgramLive(t *testing.T) {
	if !*long {
		t.Skip("takes two minutes: -long")
	}
	const alt, az = 20, -30 // arcmin
	p := start(t, 48*sphere.Degree, midnight())
	truth := p.misalign(alt*sphere.Arcminute, az*sphere.Arcminute)
	p.bring(30, 50)
	lines := p.program("live", "tonight", "--json", "--no-page", "--no-journal", "--turn", "20", "--yes", "--exposure", "1", "--fixed",
		"--camera", "indi://"+p.addr+"/CCD%20Simulator", "--mount", "indi://"+p.addr+"/Telescope%20Simulator",
		"--lat", fmt.Sprint(p.site.Lat.Degrees()), "--lon", fmt.Sprint(p.site.Lon.Degrees()), "--elev", fmt.Sprint(simElev))
	check := func(what string, after time.Time) {
		for late := time.After(90 * time.Second); ; {
			select {
			case l := <-lines:
				if l.Axis == nil || len(l.Turns) != 2 || !l.Time.After(after) {
					continue
				}
				pl, err := place.At(l.Time, p.site, air)
				if err != nil {
					t.Fatal(err)
				}
				got := sphere.LocalAt(sphere.Angle(l.Axis.Az)*sphere.Degree, sphere.Angle(l.Axis.Alt)*sphere.Degree)
				miss := got.Sep(truth.axis(pl)).Arcminutes()
				t.Logf("%s: off by %.2f'", what, miss)
				if miss > 0.7 || l.TakenBy != simCamera {
					t.Errorf("%s: the axis is off by %.2f', taken by %q", what, miss, l.TakenBy)
				}
				return
			case <-late:
				t.Fatal("no answer in 90 s")
			}
		}
	}
	check("measured", time.Time{})
	for i, b := range [][2]float64{{0.7, 1}, {0.4, 1}, {0.4, 0.5}, {0.4, 0.1}, {0.05, 0.1}, {0, 0}} {
		truth = p.misalign(sphere.Angle(alt*b[0])*sphere.Arcminute, sphere.Angle(az*b[1])*sphere.Arcminute)
		// The simulator may have asked for the stars of the exposure that runs.
		check(fmt.Sprintf("bolts at position %d", i+1), time.Now().Add(time.Second))
	}
}

// program builds the program and runs it until the test ends; the lines are what it
// prints.
func (p *peer) program(args ...string) <-chan liveLine {
	p.t.Helper()
	path := filepath.Join(p.home, "pintle")
	if out, err := exec.Command("go", "build", "-o", path, "pintle/cmd/pintle").CombinedOutput(); err != nil {
		p.t.Fatalf("%v: %s", err, out)
	}
	c := exec.Command(path, args...)
	c.Dir = p.home
	c.Env = append(os.Environ(), "XDG_CONFIG_HOME="+p.home, "XDG_DATA_HOME="+p.home)
	var said bytes.Buffer
	c.Stderr = &said
	out, err := c.StdoutPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		p.t.Fatal(err)
	}
	lines := make(chan liveLine, 1000)
	read := make(chan struct{})
	go func() {
		defer close(read)
		d := json.NewDecoder(out)
		for {
			var l liveLine
			if d.Decode(&l) != nil {
				io.Copy(io.Discard, out)
				return
			}
			lines <- l
		}
	}()
	p.t.Cleanup(func() {
		c.Process.Signal(os.Interrupt)
		<-read
		if err := c.Wait(); err != nil || p.t.Failed() {
			p.t.Errorf("%v: %s", err, strings.TrimSpace(said.String()))
		}
	})
	return lines
}
