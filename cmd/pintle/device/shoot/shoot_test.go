package shoot

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/whole"
	"pintle/solve/frame"
	"pintle/solve/render"
)

var began = time.Date(2026, 11, 28, 22, 0, 0, 250e6, time.UTC)

// canned is a camera that delivers prepared files, in pieces.
type canned struct {
	format string
	data   []byte
	piece  int
	err    error // after half of the data
}

func (c *canned) Name() string             { return "canned" }
func (c *canned) About() device.CameraInfo { return device.CameraInfo{} }
func (c *canned) Close() error             { return nil }
func (c *canned) Expose(_ context.Context, _ device.Exposure, create device.Create) (device.Taken, error) {
	taken := device.Taken{Start: began}
	w, err := create(c.format, began)
	if err != nil {
		return taken, err
	}
	data := c.data
	if c.err != nil {
		data = data[:len(data)/2]
	}
	for len(data) > 0 && err == nil {
		n := min(c.piece, len(data))
		_, err = w.Write(data[:n])
		data = data[n:]
	}
	if err == nil {
		err = c.err
	}
	return taken, err
}

// fits returns a small picture whose header has cards more.
func fits(t *testing.T, cards ...render.Card) []byte {
	t.Helper()
	var b bytes.Buffer
	im := &frame.Image{W: 40, H: 30, U16: make([]uint16, 1200)}
	for i := range im.U16 {
		im.U16[i] = uint16(i * 50)
	}
	if err := render.WriteFITS(&b, im, append(cards, render.Card{Key: "EXPTIME", Value: 2.0})); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestTake(t *testing.T) {
	date := func(s string) render.Card { return render.Card{Key: "DATE-OBS", Value: s} }
	fill := func(n int) (cards []render.Card) { // so that the header is just full
		for i := range n {
			cards = append(cards, render.Card{Key: fmt.Sprintf("FILL%d", i), Value: i})
		}
		return cards
	}
	for name, c := range map[string]struct {
		cards     []render.Card
		corrected bool
		apart     time.Duration
	}{
		"right":          {[]render.Card{date("2026-11-28T22:00:01.5")}, false, 1250 * time.Millisecond},
		"an hour off":    {[]render.Card{date("2026-11-28T23:00:00.25")}, true, time.Hour},
		"none":           {nil, true, 0},
		"a date alone":   {[]render.Card{date("2026-11-28")}, true, 0},
		"header full":    {fill(36 - 9), true, 0},
		"middle as well": {[]render.Card{date("2020-01-01T00:00:00"), {Key: "DATE-AVG", Value: "2020-01-01T00:00:01"}, {Key: "TIMESYS", Value: "TAI"}}, true, time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC).Sub(began)},
	} {
		for _, piece := range []int{1 << 20, 100, 2880} {
			f := &Folder{Dir: filepath.Join(t.TempDir(), "new")}
			data := fits(t, c.cards...)
			got, err := f.Take(context.Background(), &canned{".fits", data, piece, nil}, device.Exposure{Time: 2 * time.Second})
			if err != nil || got.Corrected != c.corrected || got.Apart != c.apart || got.TakenBy != "canned" {
				t.Fatalf("%s: %+v, %v", name, got, err)
			}
			read, err := frame.Read(context.Background(), got.Path, frame.Options{})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			mid := began.Add(time.Second)
			if !c.corrected {
				mid = mid.Add(c.apart)
			}
			if read.Time.Err != nil || !read.Time.Mid.Equal(mid) || read.Image.U16[777] != 777*50 {
				t.Errorf("%s: middle at %v, want %v (%v)", name, read.Time.Mid, mid, read.Time.Err)
			}
			if kept, _ := os.ReadFile(got.Path); !c.corrected && !bytes.Equal(kept, data) {
				t.Errorf("%s: the file is not as it was delivered", name)
			}
			checkNames(t, f.Dir, "frame-0001.fits")
		}
	}
}

func checkNames(t *testing.T, dir string, want ...string) {
	t.Helper()
	list, _ := os.ReadDir(dir)
	var names []string
	for _, e := range list {
		names = append(names, e.Name())
	}
	if strings.Join(names, " ") != strings.Join(want, " ") {
		t.Errorf("the folder has %q, want %q", names, want)
	}
}

// Other files pass as they are, and names that are taken are left alone.
func TestOtherFiles(t *testing.T) {
	f := &Folder{Dir: t.TempDir()}
	if err := os.WriteFile(filepath.Join(f.Dir, "frame-0001.cr2"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, data := range []string{"II*\x00raw", "SIMPLE  = never ends", "SIM"} {
		got, err := f.Take(context.Background(), &canned{".cr2", []byte(data), 2, nil}, device.Exposure{})
		if err != nil || got.Corrected {
			t.Fatalf("%+v, %v", got, err)
		}
		if kept, _ := os.ReadFile(got.Path); string(kept) != data {
			t.Errorf("%q became %q", data, kept)
		}
	}
	checkNames(t, f.Dir, "frame-0001.cr2", "frame-0002.cr2", "frame-0003.cr2", "frame-0004.cr2")
}

func TestNothingIsLeftOfAFailure(t *testing.T) {
	gone := errors.New("gone")
	for name, c := range map[string]*canned{"camera gone": {".fits", fits(t), 100, gone}, "empty": {".fits", nil, 100, nil}} {
		f := &Folder{Dir: t.TempDir()}
		if _, err := f.Take(context.Background(), c, device.Exposure{}); err == nil || c.err != nil && !errors.Is(err, gone) {
			t.Errorf("%s: %v", name, err)
		}
		checkNames(t, f.Dir)
	}
}

// full is a file on a disk that has room for n bytes.
type full struct {
	part
	n int
}

func (f *full) Write(b []byte) (int, error) {
	if f.n -= len(b); f.n < 0 {
		return 0, syscall.ENOSPC
	}
	return f.part.Write(b)
}

func TestDiskFull(t *testing.T) {
	f := &Folder{Dir: t.TempDir()}
	f.open = func(path string) (part, error) {
		file, err := whole.Begin(path)
		return &full{file, 4000}, err
	}
	_, err := f.Take(context.Background(), &canned{".fits", fits(t), 1000, nil}, device.Exposure{})
	var fault *device.Fault
	if !errors.As(err, &fault) || fault.Kind != NoRoom || !errors.Is(err, syscall.ENOSPC) || !strings.Contains(fault.Try, "make room") {
		t.Error(err)
	}
	checkNames(t, f.Dir)
	under := filepath.Join(f.Dir, "file")
	if err := os.WriteFile(under, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := (&Folder{Dir: filepath.Join(under, "x")}).Take(context.Background(), &canned{".fits", fits(t), 1000, nil}, device.Exposure{}); device.KindOf(err) != NoRoom {
		t.Error(err)
	}
}

func TestNextExposure(t *testing.T) {
	cam := device.CameraInfo{Shortest: time.Second, Longest: 20 * time.Second}
	for _, c := range []struct {
		now  time.Duration
		s    Shown
		next time.Duration
		why  Change
	}{
		{4 * time.Second, Shown{Stars: 100, Sky: 0.1}, 4 * time.Second, NoChange},
		{4 * time.Second, Shown{Stars: 10, Sky: 0.1}, 8 * time.Second, FewStars},
		{4 * time.Second, Shown{Stars: 10, Sky: 0.4}, 4 * time.Second, NoChange}, // longer would only be brighter
		{8 * time.Second, Shown{Stars: 10, Sky: 0.1}, 10 * time.Second, FewStars},
		{10 * time.Second, Shown{Stars: 10, Sky: 0.1}, 10 * time.Second, NoChange},
		{4 * time.Second, Shown{Stars: 100, Burnt: 60, Sky: 0.1}, 2 * time.Second, BurntOut},
		{4 * time.Second, Shown{Stars: 100, Sky: 0.8}, 2 * time.Second, BrightSky},
		{time.Second, Shown{Stars: 100, Sky: 0.8}, time.Second, NoChange},
	} {
		got, why := Next(device.Exposure{Time: c.now, Binning: 2}, c.s, cam, 10*time.Second)
		if got.Time != c.next || why != c.why || got.Binning != 2 {
			t.Errorf("%v %+v: %v, %q", c.now, c.s, got.Time, why)
		}
	}
}

func FuzzClockWriter(f *testing.F) {
	f.Add([]byte("SIMPLE  =                    T"), 80)
	f.Add(append([]byte(fmt.Sprintf("%-80s%-80s%-80s", "SIMPLE  = T", "DATE-OBS= '2026-11-28T22:00:00'", "END")), bytes.Repeat([]byte(" "), 2880)...), 7)
	f.Fuzz(func(t *testing.T, b []byte, piece int) {
		piece = max(1, min(piece, 5000))
		var out bytes.Buffer
		w := newClockWriter(&out, began)
		for rest := b; len(rest) > 0; {
			n := min(piece, len(rest))
			if _, err := w.Write(rest[:n]); err != nil {
				t.Fatal(err)
			}
			rest = rest[n:]
		}
		if err := w.flush(); err != nil {
			t.Fatal(err)
		}
		if !w.corrected && !bytes.Equal(out.Bytes(), b) || w.corrected && out.Len()%blockLen != len(b)%blockLen {
			t.Errorf("%d bytes became %d", len(b), out.Len())
		}
	})
}
