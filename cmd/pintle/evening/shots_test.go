package evening

import (
	"bytes"
	"context"
	"encoding/json"
	"image"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/session"
	"pintle/index"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/frame"
	"pintle/solve/render"
)

// looked puts a photograph on the list as if it had been looked at.
func looked(e *Evening, name, format string, hash uint64, s State) *Photograph {
	p := &Photograph{Name: name, State: s, Format: format}
	e.kept.Photographs = append(e.kept.Photographs, p)
	e.cache[name] = &session.Frame{Path: e.path(name), Name: name, Read: &frame.Frame{Format: format, Hash: hash}}
	return p
}

// The raw file and the JPEG of one press of the button count once, whichever came
// first; what was measured stays.
func TestOneShot(t *testing.T) {
	for _, c := range []struct {
		name      string
		raw, jpeg State // before
		rawAfter  State
		jpegAfter State
	}{
		{"both new", Ready, Ready, Ready, Aside},
		{"JPEG measured", Ready, In, Aside, In},
		{"raw measured", In, Ready, In, Aside},
	} {
		e := begun(t, nil)
		jpeg := looked(e, "IMG_1.JPG", "JPEG", 1, c.jpeg)
		raw := looked(e, "IMG_1.NEF", "NEF", 2, c.raw)
		other := looked(e, "IMG_2.JPG", "JPEG", 3, Ready)
		e.shots()
		if raw.State != c.rawAfter || jpeg.State != c.jpegAfter || other.State != Ready {
			t.Errorf("%s: raw %s, JPEG %s, another %s", c.name, raw.State, jpeg.State, other.State)
		}
	}
	e := begun(t, nil)
	looked(e, "one.fits", "FITS", 7, Ready)
	again := looked(e, "two.fits", "FITS", 7, Ready)
	if e.shots(); again.State != Aside || again.Reason != "the same picture as one.fits" {
		t.Errorf("the same pixels: %+v", again)
	}
}

// dark is a photograph of nothing: noise and a few spots.
func dark(t *testing.T, spots int, at time.Time) []byte {
	t.Helper()
	const w, h = 240, 160
	rng := rand.New(rand.NewPCG(uint64(spots), 3)) // fixed
	im := &frame.Image{W: w, H: h, U16: make([]uint16, w*h)}
	for i := range im.U16 {
		im.U16[i] = uint16(1000 + 12*rng.NormFloat64())
	}
	for range spots {
		x, y := 10+rng.IntN(w-20), 10+rng.IntN(h-20)
		for dy := -2; dy <= 2; dy++ {
			for dx := -2; dx <= 2; dx++ {
				im.U16[(y+dy)*w+x+dx] += uint16(4000 / (1 + 2*(dx*dx+dy*dy)))
			}
		}
	}
	var b bytes.Buffer
	cards := []render.Card{{Key: "DATE-OBS", Value: at.UTC().Format("2006-01-02T15:04:05")}, {Key: "EXPTIME", Value: 2.0}}
	if err := render.WriteFITS(&b, im, cards); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A photograph that is not recognised is explained, on its list and its picture.
func TestUnsolvedIsExplained(t *testing.T) {
	e := begun(t, func(c *Config) {
		c.Photos.Solver = &solve.Solver{Library: &index.Library{Dir: t.TempDir(), List: stars.Embedded()}}
	})
	if err := e.TypePlace("47.87, 11.36", ""); err != nil {
		t.Fatal(err)
	}
	for i, spots := range []int{0, 3} {
		add(t, e, "dark.fits", string(dark(t, spots, tonight.Add(time.Duration(i)*time.Minute))))
	}
	settle(e)
	s := e.Summary()
	if len(s.Offered) != 2 {
		t.Fatalf("offered %v of %+v", s.Offered, s.Photographs)
	}
	if err := e.Measure(s.Offered, true); err != nil {
		t.Fatal(err)
	}
	settle(e)
	for _, p := range e.Summary().Photographs {
		if p.State != Out || !strings.HasPrefix(p.Reason, "not solved: ") || p.Hint == "" {
			t.Errorf("%+v", p)
		}
		b, err := e.Picture(p.Name)
		if err != nil || len(b) == 0 || len(b) > mostPicture {
			t.Errorf("its picture: %d bytes, %v", len(b), err)
		}
		var m Marks
		b, err = e.MarksOf(p.Name)
		if err != nil || json.Unmarshal(b, &m) != nil || m.Wide != 240 || len(m.Known) != 0 {
			t.Errorf("its marks: %+v, %v", m, err)
		}
	}
	if st := e.run.State(); st.Answer != nil || e.Summary().Measured {
		t.Error("an answer from nothing")
	}
}

// While each new photograph is measured at once, one that comes is.
func TestFollowing(t *testing.T) {
	e := begun(t, func(c *Config) {
		c.Photos.Solver = &solve.Solver{Library: &index.Library{Dir: t.TempDir(), List: stars.Embedded()}}
	})
	if err := e.Follow(true); err != nil {
		t.Fatal(err)
	}
	p, err := e.Add(context.Background(), "a.fits", int64(len(dark(t, 0, tonight))), tonight, bytes.NewReader(dark(t, 0, tonight)))
	if err != nil {
		t.Fatal(err)
	}
	settle(e)
	if got := e.Summary().Photographs[0]; got.Name != p.Name || got.State != Out {
		t.Errorf("%+v", got)
	}
}

// A picture is small enough for an old phone, even one of nothing but noise, as large as
// they are made.
func TestPicturesAreSmall(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	for _, size := range []int{720, 2000} {
		im := image.NewGray(image.Rect(0, 0, size, size))
		rng := rand.New(rand.NewPCG(5, 6)) // fixed
		for i := range im.Pix {
			im.Pix[i] = uint8(rng.IntN(256))
		}
		b, err := small(im)
		if err != nil || len(b) == 0 || len(b) > mostPicture {
			t.Errorf("%d pixels wide: %d bytes, the limit is %d; %v", size, len(b), mostPicture, err)
		}
	}
}
