package indi

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// The tests run in a network namespace of their own where that is possible,
// because indiserver listens on all addresses.
func TestMain(m *testing.M) {
	if filepath.Base(os.Args[0]) == "gsc" {
		standIn()
		return
	}
	if os.Getenv("PINTLE_TEST_NET") == "" && !fuzzing() {
		if status, err := inNamespace(); err == nil {
			os.Exit(status)
		}
	}
	if os.Getenv("PINTLE_TEST_NET") != "" {
		loopbackUp()
	}
	if err := flag.Set("test.parallel", "4"); err != nil { // they wait; what the command line says comes later
		panic(err)
	}
	os.Exit(m.Run())
}

func fuzzing() bool {
	for _, a := range os.Args {
		if strings.HasPrefix(a, "-test.fuzz") && !strings.HasPrefix(a, "-test.fuzzcachedir") {
			return true
		}
	}
	return false
}

// inNamespace runs this program again in a new network namespace.
func inNamespace() (status int, err error) {
	exe, err := os.Executable()
	if err != nil {
		return 0, err
	}
	c := exec.Command(exe, os.Args[1:]...)
	c.Env = append(os.Environ(), "PINTLE_TEST_NET=own")
	c.Stdin, c.Stdout, c.Stderr = os.Stdin, os.Stdout, os.Stderr
	c.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNET, Pdeathsig: syscall.SIGKILL}
	if os.Getuid() != 0 {
		c.SysProcAttr.Cloneflags |= syscall.CLONE_NEWUSER
		c.SysProcAttr.UidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}}
		c.SysProcAttr.GidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}}
	}
	if err := c.Start(); err != nil {
		return 0, err
	}
	err = c.Wait()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return exit.ExitCode(), nil
	}
	return 0, err
}

func loopbackUp() {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM, 0)
	if err == nil {
		defer unix.Close(fd)
		var r *unix.Ifreq
		if r, err = unix.NewIfreq("lo"); err == nil {
			r.SetUint16(unix.IFF_UP | unix.IFF_RUNNING)
			err = unix.IoctlIfreq(fd, unix.SIOCSIFFLAGS, r)
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "loopback of the test's network:", err)
		os.Exit(1)
	}
}

const (
	simMount  = "Telescope Simulator"
	simCamera = "CCD Simulator"
)

// peer is an indiserver with its simulators, and a proxy before it that keeps
// all that was sent and can cut the link.
type peer struct {
	t      *testing.T
	server *exec.Cmd
	port   string
	home   string
	site   place.Site

	*proxy
}

// start starts the server with a site set by the simulators' own configuration
// files, as if it had been set on an earlier evening.
func start(t *testing.T, lat, lon sphere.Angle, env ...string) *peer {
	t.Helper()
	if _, err := exec.LookPath("indiserver"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("indiserver is missing; .ci/run should have installed indi-bin")
		}
		t.Skip("no indiserver here: apt-get install --no-install-recommends indi-bin")
	}
	p := &peer{t: t, home: t.TempDir()}
	p.configure(lat, lon)
	exe, err := os.Executable()
	if err == nil {
		err = os.Symlink(exe, filepath.Join(p.home, "gsc"))
	}
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, p.port, _ = net.SplitHostPort(l.Addr().String())
	l.Close()
	p.server = exec.Command("indiserver", "-p", p.port, "-u", filepath.Join(p.home, "sock"), "indi_simulator_telescope", "indi_simulator_ccd", "indi_simulator_focus")
	p.server.Env = append(os.Environ(), "HOME="+p.home, "PATH="+p.home+":"+os.Getenv("PATH"), "PINTLE_TEST_SKY="+p.skyFile(), "PINTLE_TEST_SERVER=127.0.0.1:"+p.port)
	p.server.Env = append(p.server.Env, env...)
	p.server.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
	if testing.Verbose() {
		p.server.Stderr = os.Stderr
	}
	if err := p.server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		syscall.Kill(-p.server.Process.Pid, syscall.SIGKILL)
		p.server.Wait()
	})
	p.wait()
	p.proxy = newProxy(t, "127.0.0.1:"+p.port)
	return p
}

// wait waits until the server listens.
func (p *peer) wait() {
	for range 100 {
		c, err := net.Dial("tcp", "127.0.0.1:"+p.port)
		if err == nil {
			c.Close()
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.t.Fatal("indiserver does not listen")
}

func (p *peer) configure(lat, lon sphere.Angle) {
	dir := filepath.Join(p.home, ".indi")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		p.t.Fatal(err)
	}
	p.site = place.Site{Lat: lat, Lon: lon.Wrap(), Elev: simElev}
	write := func(dev, body string) {
		if err := os.WriteFile(filepath.Join(dir, dev+"_config.xml"), []byte("<INDIDriver>\n"+body+"</INDIDriver>\n"), 0o644); err != nil {
			p.t.Fatal(err)
		}
	}
	number := func(dev, name string, kv ...any) string {
		s := fmt.Sprintf("<newNumberVector device='%s' name='%s'>\n", dev, name)
		for i := 0; i < len(kv); i += 2 {
			s += fmt.Sprintf("<oneNumber name='%v'>%v</oneNumber>\n", kv[i], kv[i+1])
		}
		return s + "</newNumberVector>\n"
	}
	write(simMount, number(simMount, "GEOGRAPHIC_COORD", "LAT", lat.Degrees(), "LONG", lon.Turn().Degrees(), "ELEV", simElev)+
		number(simMount, "TELESCOPE_INFO", "TELESCOPE_APERTURE", 50, "TELESCOPE_FOCAL_LENGTH", simFocal, "GUIDER_APERTURE", 50, "GUIDER_FOCAL_LENGTH", simFocal))
}

// optics makes the simulated camera see as many stars as a real one: by itself
// it saturates at magnitude 1 in a second.
func (p *peer) optics() {
	p.t.Helper()
	c := p.raw()
	ctx := context.Background()
	if err := c.bringUp(ctx, simCamera, readyTime, "CCD_EXPOSURE"); err != nil {
		p.t.Fatal(err)
	}
	for _, s := range []struct {
		name, element string
		value         float64
	}{
		{"SIMULATOR_SETTINGS", "SIM_SATURATION", 9}, {"SIM_FOCUSING", "SIM_SEEING", 12},
		{"SIMULATOR_SETTINGS", "SIM_XSIZE", simPixel}, {"SIMULATOR_SETTINGS", "SIM_YSIZE", simPixel},
		{"SIMULATOR_SETTINGS", "SIM_XRES", 2560}, {"SIMULATOR_SETTINGS", "SIM_YRES", 2048},
	} {
		v := c.get(simCamera, s.name)
		xml := fmt.Sprintf("<newNumberVector device='%s' name='%s'>", simCamera, s.name)
		for _, e := range v.elements {
			if e.name == s.element {
				e.value = fmt.Sprint(s.value)
			}
			xml += fmt.Sprintf("<oneNumber name='%s'>%s</oneNumber>", e.name, e.value)
		}
		c.send(xml + "</newNumberVector>\n")
		c.until(ctx, 3*time.Second, func() bool { x, _ := c.get(simCamera, s.name).number(s.element); return x == s.value })
	}
}

// raw opens a connection that the proxy does not see, for what only a test does.
func (p *peer) raw() *client {
	p.t.Helper()
	c, err := dial(context.Background(), "127.0.0.1:"+p.port, "", time.Now)
	if err != nil {
		p.t.Fatal(err)
	}
	p.t.Cleanup(func() { c.close() })
	return c
}

// bring drives the mount, by its keypad so to speak, to an hour angle and a
// declination in degrees.
func (p *peer) bring(ha, dec float64) {
	p.t.Helper()
	p.optics()
	c := p.raw()
	ctx := context.Background()
	if err := c.bringUp(ctx, simMount, readyTime, "TELESCOPE_MOTION_WE"); err != nil {
		p.t.Fatal(err)
	}
	// It takes its longitude in only when its configuration is read once more.
	c.send(fmt.Sprintf("<newSwitchVector device='%s' name='CONFIG_PROCESS'><oneSwitch name='CONFIG_LOAD'>On</oneSwitch></newSwitchVector>\n", simMount))
	time.Sleep(500 * time.Millisecond)
	where := func() (h, d float64) {
		v := coordinates(c, simMount)
		ra, _ := v.number("RA")
		d, _ = v.number("DEC")
		return (p.sidereal(v.arrived) - sphere.Angle(ra)*sphere.Hour).Wrap().Degrees(), d
	}
	c.send(switches(simMount, "TELESCOPE_SLEW_RATE", on("4x")).xml())
	run := func(property, plus, minus string, short func() bool) (stop func()) {
		sw := func(p, m string) {
			c.send(fmt.Sprintf("<newSwitchVector device='%s' name='%s'><oneSwitch name='%s'>%s</oneSwitch><oneSwitch name='%s'>%s</oneSwitch></newSwitchVector>\n", simMount, property, plus, p, minus, m))
		}
		was := short()
		if was {
			sw("On", "Off")
		} else {
			sw("Off", "On")
		}
		return func() {
			c.until(ctx, 60*time.Second, func() bool { return short() != was })
			sw("Off", "Off")
		}
	}
	north := run("TELESCOPE_MOTION_NS", "MOTION_NORTH", "MOTION_SOUTH", func() bool { _, d := where(); return d < dec })
	west := run("TELESCOPE_MOTION_WE", "MOTION_WEST", "MOTION_EAST", func() bool { h, _ := where(); return h < ha })
	if h, d := where(); math.Abs(h-ha) < math.Abs(d-dec) {
		west()
		north()
	} else {
		north()
		west()
	}
	c.send(switches(simMount, "TELESCOPE_TRACK_STATE", on("TRACK_ON")).xml())
	time.Sleep(500 * time.Millisecond)
}

// sidereal returns the sidereal time at the peer's site.
func (p *peer) sidereal(t time.Time) sphere.Angle {
	pl, err := place.At(t, p.site, place.Air{})
	if err != nil {
		p.t.Fatal(err)
	}
	return pl.SiderealTime()
}

// proxy passes bytes on and keeps those that go to the server.
type proxy struct {
	t    *testing.T
	to   string
	l    net.Listener
	addr string

	mu    sync.Mutex
	sent  strings.Builder
	conns []net.Conn
	cut   bool
}

func newProxy(t *testing.T, to string) *proxy {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{t: t, to: to, l: l, addr: l.Addr().String()}
	t.Cleanup(func() { l.Close(); p.setCut(true); p.checkSent() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			p.serve(c)
		}
	}()
	return p
}

func (p *proxy) serve(c net.Conn) {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, err := net.Dial("tcp", p.to)
	if err != nil || p.cut {
		c.Close()
		return
	}
	p.conns = append(p.conns, c, s)
	go func() { io.Copy(c, s); c.Close(); s.Close() }()
	go func() { io.Copy(io.MultiWriter(s, p), c); c.Close(); s.Close() }()
}

func (p *proxy) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.sent.Write(b)
}

// setCut cuts the link, or lets new connections through again.
func (p *proxy) setCut(cut bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut = cut
	if cut {
		for _, c := range p.conns {
			c.Close()
		}
		p.conns = nil
	}
}

// checkSent fails the test when a goto, sync, park, site or time command went
// over the wire.
func (p *proxy) checkSent() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if word := forbidden(p.sent.String()); word != "" {
		p.t.Errorf("%s was sent:\n%s", word, p.sent.String())
	}
}

// forbidden returns what of a stream must never be sent.
func forbidden(sent string) string {
	for _, m := range strings.SplitAfter(sent, ">") {
		if !strings.HasPrefix(strings.TrimSpace(m), "<new") && !strings.Contains(m, "oneSwitch") {
			continue
		}
		for _, w := range []string{"COORD", "TIME_UTC", "LST", "HOME", "TARGET", "SYNC", "SLEW\"", "PARK_", `"PARK"`, "OPTION", "LOCATION"} {
			if strings.Contains(m, w) {
				return m
			}
		}
	}
	return ""
}
