package night

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"pintle/index/sphere"
	"pintle/solve/frame"
	"pintle/solve/render"
)

// Shot is a photograph that was taken.
type Shot struct {
	Image *frame.Image
	Cards []render.Card // of the FITS header
	Truth Truth
}

// Shoot photographs frame i, counted from 0.
func (n *Night) Shoot(i int) *Shot { return n.shots[i].shoot() }

func (s *shot) shoot() *Shot {
	return &Shot{Image: s.render(), Cards: s.cards(), Truth: s.truth()}
}

// cards returns what a camera program would write, and that it is not true.
func (s *shot) cards() []render.Card {
	spec := &s.night.spec
	c := &spec.Camera
	cards := []render.Card{
		{Key: "OBJECT", Value: "SIMULATED, " + spec.Name, Comment: ""},
		{Key: "INSTRUME", Value: "simulated camera", Comment: "nothing here was photographed"},
		{Key: "DATE-OBS", Value: s.start.Format("2006-01-02T15:04:05.000000"), Comment: "UTC, start of exposure"},
		{Key: "EXPTIME", Value: c.Exposure.Seconds(), Comment: "s"},
		{Key: "XPIXSZ", Value: c.Pixel, Comment: "um"},
		{Key: "YPIXSZ", Value: c.Pixel, Comment: "um"},
	}
	if c.Nominal > 0 {
		cards = append(cards, render.Card{Key: "FOCALLEN", Value: c.Nominal, Comment: "mm, as printed on the lens"})
	}
	cards = append(cards,
		render.Card{Key: "SITELAT", Value: tidy(spec.Site.Lat), Comment: "deg, north positive"},
		render.Card{Key: "SITELONG", Value: tidy(spec.Site.Lon), Comment: "deg, east positive"},
		render.Card{Key: "SITEELEV", Value: spec.Site.Elev, Comment: "m"},
	)
	if m := c.Sensor.Mosaic; m != "" {
		cards = append(cards, render.Card{Key: "BAYERPAT", Value: m})
	}
	return cards
}

// tidy returns degrees without the dust of binary fractions: 1e-8 is a millimetre.
func tidy(a sphere.Angle) float64 { return math.Round(a.Degrees()*1e8) / 1e8 }

// WriteFITS writes the photograph as a FITS file whose header says that it is
// simulated.
func (s *Shot) WriteFITS(w io.Writer) error { return render.WriteFITS(w, s.Image, s.Cards) }

// Save writes the photograph to a file. It appears under its name when it is
// complete.
func (s *Shot) Save(path string) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".pintle-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if err = s.WriteFITS(f); err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return err
	}
	if err := os.Chmod(f.Name(), 0o644); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// Write photographs all frames into a folder, which it makes when it is not
// there, and returns the paths of the files: frame-01.fits and so on.
func (n *Night) Write(dir string) ([]string, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	var paths []string
	for i := range n.shots {
		path := filepath.Join(dir, fmt.Sprintf("frame-%02d.fits", i+1))
		if err := n.Shoot(i).Save(path); err != nil {
			return paths, fmt.Errorf("frame %d of the simulated night: %w", i+1, err)
		}
		paths = append(paths, path)
	}
	return paths, nil
}
