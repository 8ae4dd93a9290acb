package frame

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// The real photographs of ../shared/frames, by its README.
func TestRealPhotographs(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	for _, c := range []struct {
		file, format string
		w, h         int
		kind, mosaic string
		mid          string // "" when the file states no time
	}{
		{"fixcam_a1.png", "JPEG", 1280, 720, "U8", "", "2023-09-07T20:17:22"}, // a local clock; the zone is not stated
		{"tripod_2.jpg", "JPEG", 3872, 2592, "U8", "", "2015-10-09T01:03:52"},
		{"wide_1.jpg", "JPEG", 1024, 1024, "U8", "", "2016-07-28T01:29:25"},
		{"fisheye.jpg", "JPEG", 2832, 2832, "U8", "", "2020-12-11T20:09:15"},
		{"grey_2.jpg", "JPEG", 1280, 960, "U8", "", ""},
		{"sensor16_1.png", "PNG", 808, 608, "U8", "", ""},
		{"mosaic_1.fits", "FITS", 700, 700, "U16", "????", "2016-09-09T08:13:26"},
		{"meteorcam_1.fits", "FITS extension AVEPIXEL", 1280, 720, "U8", "", ""},
		{"cluster.fits", "FITS", 1392, 1040, "U16", "", "2013-05-05T04:09:42"},
	} {
		fr, err := Read(context.Background(), shared(t, "frames", c.file), Options{})
		if err != nil {
			t.Error(err)
			continue
		}
		im := &fr.Image
		if fr.Format != c.format || im.W != c.w || im.H != c.h || kindOf(im) != c.kind || im.Mosaic != c.mosaic {
			t.Errorf("%s: %s, %d x %d, %s, mosaic %q, want %v", c.file, fr.Format, im.W, im.H, kindOf(im), im.Mosaic, c)
		}
		if got := fr.Time.Mid.Round(time.Second).Format("2006-01-02T15:04:05"); c.mid != "" && got != c.mid {
			t.Errorf("%s: mid exposure %s (%s), want %s", c.file, got, fr.Time.Source, c.mid)
		} else if c.mid == "" && !fr.Time.Doubtful {
			t.Errorf("%s: time %v from %q is not marked doubtful", c.file, fr.Time.Mid, fr.Time.Source)
		}
	}
	hawaii := time.FixedZone("UTC-10", -36000)
	fr, err := Read(context.Background(), shared(t, "frames", "fixcam_a1.png"), Options{TimeZone: hawaii})
	if err != nil || fr.Time.Mid.Round(time.Second).Format("15:04:05") != "06:17:22" || fr.Time.Doubtful {
		t.Errorf("fixcam_a1 in its zone: %+v, %v", fr, err)
	}
	fr, err = Read(context.Background(), shared(t, "frames", "mosaic_1.fits"), Options{})
	if err != nil || fr.Site == nil || math.Abs(fr.Site.Lon.Degrees()+155.58) > 1e-9 || fr.Site.Elev != 3400 {
		t.Errorf("mosaic_1: site %+v, %v", fr.Site, err)
	}
	fr, err = Read(context.Background(), shared(t, "frames", "tripod_2.jpg"), Options{})
	if err != nil || math.Abs(fr.Optics.Scale.Arcseconds()/24.22-1) > 0.1 {
		t.Errorf("tripod_2: scale %v, %v, want about 24.22 arcsec", fr.Optics, err)
	}
}

// The simulated nights: time, site and scale against what was asked of the
// simulator.
func TestNights(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	root := shared(t, "nights")
	specs, err := filepath.Glob(filepath.Join(root, "*", "spec.json"))
	if err != nil || len(specs) == 0 {
		t.Fatalf("no nights in %s: %v", root, err)
	}
	for _, path := range specs {
		var spec struct {
			Bare bool    `json:"bare_header"`
			Ext  string  `json:"ext"`
			T0   string  `json:"t0"`
			Exp  float64 `json:"exp_s"`
			Site struct{ Lat, Lon, Height float64 }
			Cam  struct {
				W, H  int
				Pix   float64 `json:"pix_um"`
				Focal float64 `json:"focal_mm"`
				Bayer string
			} `json:"camera"`
			Frames []struct {
				T float64 `json:"t_s"`
			}
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(b, &spec); err != nil {
			t.Fatal(err)
		}
		ext := spec.Ext
		if ext == "" {
			ext = ".fits"
		}
		files, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*"+ext))
		if len(files) != len(spec.Frames) {
			t.Fatalf("%s: %d files, %d frames", path, len(files), len(spec.Frames))
		}
		t0, err := time.Parse("2006-01-02T15:04:05", spec.T0)
		if err != nil {
			t.Fatal(err)
		}
		seen := map[uint64]bool{}
		for i, p := range files {
			fr, err := Read(context.Background(), p, Options{Exposure: time.Duration(spec.Exp * 1e9)})
			if err != nil {
				t.Error(err)
				continue
			}
			want := t0.Add(time.Duration((spec.Frames[i].T + spec.Exp/2) * 1e9))
			if ext == ".fits" && fr.Time.Mid.Sub(want).Abs() > time.Millisecond {
				t.Errorf("%s: mid exposure %v, want %v", p, fr.Time.Mid, want)
			} else if fr.Time.Mid.Sub(want).Abs() > time.Minute || fr.Time.Doubtful {
				t.Errorf("%s: mid exposure %v (%s), want about %v", p, fr.Time.Mid, fr.Time.Source, want)
			}
			if fr.Image.W != spec.Cam.W || fr.Image.H != spec.Cam.H || fr.Image.Mosaic != spec.Cam.Bayer {
				t.Errorf("%s: %d x %d, mosaic %q", p, fr.Image.W, fr.Image.H, fr.Image.Mosaic)
			}
			if !spec.Bare && ext == ".fits" {
				scale := math.Atan(spec.Cam.Pix / 1000 / spec.Cam.Focal)
				if fr.Site == nil || math.Abs(fr.Site.Lat.Degrees()-spec.Site.Lat) > 1e-9 || math.Abs(fr.Site.Lon.Degrees()-spec.Site.Lon) > 1e-9 || fr.Site.Elev != spec.Site.Height {
					t.Errorf("%s: site %+v, want %+v", p, fr.Site, spec.Site)
				}
				if math.Abs(fr.Optics.Scale.Radians()/scale-1) > 1e-3 {
					t.Errorf("%s: scale %v, want %g rad", p, fr.Optics, scale)
				}
			}
			if seen[fr.Hash] {
				t.Errorf("%s: the same hash as another frame", p)
			}
			seen[fr.Hash] = true
		}
	}
}
