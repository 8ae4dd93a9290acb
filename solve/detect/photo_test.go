package detect

import (
	"context"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"pintle/solve/frame"
	"pintle/solve/render"
)

// shared returns the path of a file shared with the project, or skips.
func shared(t *testing.T, name ...string) string {
	t.Helper()
	p := filepath.Join(append([]string{"..", "..", "..", "shared"}, name...)...)
	if _, err := os.Stat(p); err != nil {
		t.Skipf("%s is absent", p)
	}
	return p
}

// photo finds the stars of a shared photograph.
func photo(t *testing.T, name string) *Field {
	t.Helper()
	fr, err := frame.Read(context.Background(), shared(t, "frames", name), frame.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return find(t, &fr.Image, Options{})
}

// The owners of these photographs published which stars they matched and where
// they saw them (pixels count from 1 there). All must be in the list, close to
// those places, but for entries that are single hot pixels in the picture (three
// of sensor16_1, one of each of the others) or at the very limit.
func TestPhotosWithStarTables(t *testing.T) {
	for _, c := range []struct {
		name string
		part float64
	}{{"sensor16_1", 0.88}, {"sensor16_2", 0.95}, {"sensor8_1", 0.88}} {
		t.Run(c.name, func(t *testing.T) {
			f := photo(t, c.name+".png")
			file, err := os.Open(shared(t, "frames", c.name+".stars.csv"))
			if err != nil {
				t.Fatal(err)
			}
			defer file.Close()
			rows, err := csv.NewReader(file).ReadAll()
			if err != nil || len(rows) < 10 {
				t.Fatalf("%d rows, error %v", len(rows), err)
			}
			var truth []render.Star
			for _, r := range rows[1:] {
				x, errX := strconv.ParseFloat(r[0], 64)
				y, errY := strconv.ParseFloat(r[1], 64)
				if errX != nil || errY != nil {
					t.Fatal(errX, errY)
				}
				truth = append(truth, render.Star{X: x - 1, Y: y - 1, Flux: 1})
			}
			pairs, missed, _ := match(truth, f, 1.5)
			var e errorSum
			last := 0
			for _, p := range pairs {
				e.add(p)
				for i, s := range f.Stars {
					if s == p.got {
						last = max(last, i)
					}
				}
			}
			t.Logf("%d of %d found, among the first %d of %d: rms %.3f px, mean difference %.3f, %.3f px", len(pairs), len(truth), last+1, len(f.Stars), e.rms(), e.biasX/float64(e.n), e.biasY/float64(e.n))
			if len(pairs) < int(c.part*float64(len(truth))) {
				t.Errorf("%d of %d stars found; missed %+v", len(pairs), len(truth), missed)
			}
			if e.rms() > 0.5 {
				t.Errorf("rms difference %.2f px, limit 0.5", e.rms())
			}
		})
	}
}

// What the other photographs must give: about how many stars there are to be
// seen by eye in the marked-up picture, their size, and what is wrong.
func TestPhotos(t *testing.T) {
	slow(t)
	for _, c := range []struct {
		name     string
		min, max int
		fwhm     float64 // within 30 %
	}{
		{"fixcam_a1.png", 120, 260, 4.4},
		{"fixcam_a5.png", 120, 260, 4.4},
		{"tripod_1.jpg", 600, 1000, 4.4},
		{"tripod_2.jpg", 600, 1000, 4.4},
		{"tripod_cloud_1.jpg", 400, 1000, 4.2},
		{"tripod_wire_2.jpg", 400, 1000, 4.2},
		{"grey_2.jpg", 60, 350, 1.9},
		{"grey_trees.jpg", 500, 1000, 2.1},
		{"grey_limb.jpg", 40, 200, 2.3},
		{"wide_1.jpg", 30, 120, 1.5},
		{"mosaic_1.fits", 700, 1000, 2.1},
		{"meteorcam_1.fits", 30, 200, 2.7},
		{"cluster.fits", 3, 40, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			switch c.name {
			case "fixcam_a5.png", "tripod_2.jpg", "tripod_wire_2.jpg":
				another(t)
			}
			f := photo(t, c.name)
			t.Logf("%d stars, fwhm %.2f, elongation %.2f, %q", len(f.Stars), f.FWHM, f.Elongation, f.Troubles())
			if n := len(f.Stars); n < c.min || n > c.max {
				t.Errorf("%d stars, want %d to %d", n, c.min, c.max)
			}
			if c.fwhm > 0 && math.Abs(f.FWHM-c.fwhm) > 0.3*c.fwhm {
				t.Errorf("fwhm %.2f px, want about %.1f", f.FWHM, c.fwhm)
			}
		})
	}
}

// The camera of fixcam stood still: between two frames the stars drifted along
// parallel lines about the pole, and the brightest of one frame are found in
// the next one. Nearest places after the drift measured on the median agree to
// a fraction of a pixel.
func TestSameStarsInTheNextPhoto(t *testing.T) {
	a, b := photo(t, "fixcam_a1.png"), photo(t, "fixcam_a2.png")
	// 2.94 minutes of drift at 63 arcsec per pixel: 40 pixels; find it by votes.
	var best, bx, by float64
	n := min(40, len(a.Stars), len(b.Stars))
	for _, s := range a.Stars[:n] {
		for _, q := range b.Stars[:n] {
			dx, dy := q.X-s.X, q.Y-s.Y
			if math.Hypot(dx, dy) > 60 || math.Hypot(dx, dy) < 20 {
				continue
			}
			var votes float64
			for _, u := range a.Stars[:n] {
				for _, v := range b.Stars[:n] {
					if math.Hypot(v.X-u.X-dx, v.Y-u.Y-dy) < 3 {
						votes++
					}
				}
			}
			if votes > best {
				best, bx, by = votes, dx, dy
			}
		}
	}
	t.Logf("%v of %d bright stars moved by %.1f, %.1f px", best, n, bx, by)
	if best < 0.7*float64(n) {
		t.Errorf("only %v of the %d brightest stars of one frame are in the next", best, n)
	}
}
