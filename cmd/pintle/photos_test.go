package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/verb"
	"pintle/index/sphere"
)

// shared returns a path in the folder of shared photographs and nights beside
// the repository; the test is skipped where there is none.
func shared(t *testing.T, parts ...string) string {
	t.Helper()
	dir := filepath.Join("..", "..", "..", "shared")
	if _, err := os.Stat(dir); err != nil {
		t.Skip("no folder of shared photographs beside the repository")
	}
	return filepath.Join(append([]string{dir}, parts...)...)
}

// pintle runs one command line, in a home of its own. The star index is the user's own, as it is for
// the program: what is missing of it is built once.
func pintle(t *testing.T, args ...string) (status int, out, errs string) {
	t.Helper()
	cmd := apart(t, t.TempDir(), args...)
	var o, e bytes.Buffer
	cmd.Stdout, cmd.Stderr = &o, &e
	var exit *exec.ExitError
	if err := cmd.Run(); err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), o.String(), e.String()
}

func solved(t *testing.T, path string) (int, solvedJSON) {
	t.Helper()
	status, out, errs := pintle(t, "solve", "--json", path)
	var j solvedJSON
	if err := json.Unmarshal([]byte(out), &j); err != nil {
		t.Fatalf("status %d, %v: %s%s", status, err, out, errs)
	}
	return status, j
}

// Pointings from the table in the shared folder's README: owners' solutions, or
// independent fits to Hipparcos, good to about a pixel or two. up is NaN where
// the table has none.
func TestPhotographsWithKnownPointing(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	nan := math.NaN()
	last := ""
	for _, c := range []struct {
		file               string
		ra, dec, scale, up float64
	}{
		{"fixcam_a1.png", 280.5629, 21.3827, 63.20, -13.07},
		{"fixcam_a2.png", 281.2951, 21.3720, 63.19, -13.05},
		{"fixcam_a3.png", 282.0327, 21.3778, 63.22, -13.06},
		{"fixcam_a4.png", 282.7723, 21.3801, 63.19, -13.05},
		{"fixcam_a5.png", 283.5071, 21.3724, 63.22, -13.07},
		{"tripod_1.jpg", 282.286, 32.882, 24.27, 61.4},
		{"tripod_2.jpg", 282.8931, 32.8811, 24.22, 61.80},
		{"sensor16_1.png", 248.219, -25.606, 63.81, 112.73},
		{"sensor16_2.png", 252.955, -37.494, 63.84, 99.36},
		{"sensor8_1.png", 183.929, -50.860, 127.2, 104.37},
		{"mosaic_1.fits", 303.2115, 46.0195, 10.31, nan},
		{"grey_trees.jpg", 52.44, 24.21, 77.74, -56.05},
		{"grey_2.jpg", 16.526, 58.665, 77.67, -92.66},
	} {
		t.Run(c.file, func(t *testing.T) {
			camera, _, _ := strings.Cut(c.file, "_")
			same := camera == last
			last = camera
			if same && !*long {
				t.Skip("the same camera once more: -long")
			}
			status, j := solved(t, shared(t, "frames", c.file))
			if status != verb.Done || !j.Solved {
				t.Fatalf("status %d, not solved: %s", status, j.Reason)
			}
			at := sphere.SkyAt(sphere.Angle(*j.RA)*sphere.Degree, sphere.Angle(*j.Dec)*sphere.Degree)
			want := sphere.SkyAt(sphere.Angle(c.ra)*sphere.Degree, sphere.Angle(c.dec)*sphere.Degree)
			if d := at.Sep(want).Arcseconds(); d > 1.5*c.scale {
				t.Errorf("centre %.4f %+.4f, want %.4f %+.4f: %.0f arcsec apart", *j.RA, *j.Dec, c.ra, c.dec, d)
			}
			if d := math.Abs(*j.Scale/c.scale - 1); d > 0.006 {
				t.Errorf("scale %.3f arcsec a pixel, want %.3f", *j.Scale, c.scale)
			}
			if d := math.Remainder(*j.UpPA-c.up, 360); math.Abs(d) > 0.5 {
				t.Errorf("up at %.2f deg, want %.2f", *j.UpPA, c.up)
			}
		})
	}
}

// The pole, the axis and the site of a camera that stood still: told one time
// for all frames it seems to have turned about the celestial pole itself.
func TestFixedCameraTurnsAboutThePole(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	args := []string{"axis", "--json", "--lat", "21.2951", "--lon", "-157.8120", "--elev", "50", "--pressure", "0", "--pole", "true"}
	for _, n := range []string{"1", "2", "3", "4", "5"} {
		args = append(args, shared(t, "frames", "fixcam_a"+n+".png"))
	}
	status, out, errs := pintle(t, append(args, "--at", "2023-09-08T06:25:00Z")...)
	if status != verb.Done {
		t.Fatalf("status %d: %s%s", status, out, errs)
	}
	var j terminal.AxisAnswer
	if err := json.Unmarshal([]byte(out), &j); err != nil {
		t.Fatal(err)
	}
	for _, p := range []struct {
		name       string
		value, err float64
	}{{"altitude", j.Offset.Alt, j.Sigma.Alt}, {"azimuth", j.Offset.AzKnob, j.Sigma.AzKnob}} {
		t.Logf("%s off by %.2f +- %.2f arcmin", p.name, p.value, p.err)
		if math.Abs(p.value) > 2.5*p.err || p.err > 12 {
			t.Errorf("%s off by %.2f +- %.2f arcmin, want nothing within the error, and that within 12", p.name, p.value, p.err)
		}
	}
	// With their own times the frames show no turn.
	status, out, _ = pintle(t, append(args, "--time-zone", "-10:00")...)
	if status != verb.NoAnswer || !strings.Contains(out, "turn") {
		t.Errorf("status %d, %s; want status %d and a reason that says the mount did not turn", status, out, verb.NoAnswer)
	}
}

// A fisheye that looks up at 78.15 N 16.04 E on 2020-12-11 at 20:09:33 UTC, by its
// name: the zenith is then at 39.43 +78.15 (Greenwich sidereal time of IAU 1982), and a
// camera put up by hand looks within some degrees of it. And a video camera of about
// 90 degrees across, whose site is not known but for the country: its picture is
// upright, so the zenith is toward its upper edge.
func TestPhotographsByWideLenses(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	status, j := solved(t, shared(t, "frames", "fisheye.jpg"))
	if status != verb.Done || !j.Solved || j.Lens == nil || j.Lens.Kind == "rectilinear" {
		t.Fatalf("status %d, fisheye: %+v", status, j)
	}
	zenith := sphere.SkyAt(39.43*sphere.Degree, 78.15*sphere.Degree)
	if d := sphere.SkyAt(sphere.Angle(*j.RA)*sphere.Degree, sphere.Angle(*j.Dec)*sphere.Degree).Sep(zenith); d > 4*sphere.Degree || j.Matched < 300 {
		t.Errorf("fisheye: %.2f %+.2f, %.1f degrees from the zenith, %d stars", *j.RA, *j.Dec, d.Degrees(), j.Matched)
	}
	status, j = solved(t, shared(t, "frames", "meteorcam_1.fits"))
	if status != verb.Done || !j.Solved {
		t.Fatalf("status %d, video camera: %+v", status, j)
	}
	at := sphere.SkyAt(sphere.Angle(*j.RA)*sphere.Degree, sphere.Angle(*j.Dec)*sphere.Degree)
	for _, site := range [][2]float64{{50.2, -5}, {55, 1}} { // corners of the country
		lst := sphere.Angle(239.61+site[1]) * sphere.Degree
		up := at.Toward(sphere.SkyAt(lst, sphere.Angle(site[0])*sphere.Degree))
		if d := math.Remainder(*j.UpPA-up.Degrees(), 360); math.Abs(d) > 12 {
			t.Errorf("video camera: up at %.1f degrees, the zenith at %.1f", *j.UpPA, up.Degrees())
		}
	}
}

// Frames that hold no star field that could be known.
func TestPhotographsThatMustBeRefused(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	for _, f := range []string{"cluster.fits"} {
		t.Run(f, func(t *testing.T) {
			status, j := solved(t, shared(t, "frames", f))
			if status != verb.NoAnswer || j.Solved || j.Reason == "" {
				t.Errorf("status %d, %+v; want status %d and a reason", status, j, verb.NoAnswer)
			}
		})
	}
}

// The simulated nights: truth from a simulator that shares no code with this
// program. Limits in arcseconds are those of the folder's own check.
func TestSharedNights(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	for night, limit := range map[string]float64{"southern-yard": 0.8, "northern-balcony": 0.6, "near-equator": 1, "wide-png": 3, "turning-the-bolts": 1} {
		t.Run(night, func(t *testing.T) {
			if !*long && (night == "near-equator" || night == "turning-the-bolts" || night == "northern-balcony") {
				t.Skip("much like the others: -long")
			}
			var spec struct {
				Site   struct{ Lat, Lon, Height, Pressure_hPa, Temp_C json.Number }
				Frames []map[string]any
			}
			var truth struct {
				Axis   struct{ Az_deg, Alt_deg float64 }
				Frames []struct{ File string }
			}
			read := func(name string, v any) {
				data, err := os.ReadFile(shared(t, "nights", night, name))
				if err != nil {
					t.Fatal(err)
				}
				if err := json.Unmarshal(data, v); err != nil {
					t.Fatal(err)
				}
			}
			read("spec.json", &spec)
			read("truth.json", &truth)
			s := spec.Site
			args := []string{"axis", "--json", "--lat", s.Lat.String(), "--lon", s.Lon.String(), "--elev", s.Height.String(), "--pressure", s.Pressure_hPa.String(), "--temp", s.Temp_C.String()}
			for i, f := range truth.Frames {
				if _, turned := spec.Frames[i]["knob_arcmin"]; !turned {
					args = append(args, shared(t, "nights", night, f.File))
				}
			}
			status, out, errs := pintle(t, args...)
			var j terminal.AxisAnswer
			if err := json.Unmarshal([]byte(out), &j); err != nil || status != verb.Done {
				t.Fatalf("status %d, %v: %s%s", status, err, out, errs)
			}
			local := func(az, alt float64) sphere.Local {
				return sphere.LocalAt(sphere.Angle(az)*sphere.Degree, sphere.Angle(alt)*sphere.Degree)
			}
			d := local(j.Axis.Az, j.Axis.Alt).Sep(local(truth.Axis.Az_deg, truth.Axis.Alt_deg)).Arcseconds()
			t.Logf("axis off by %.2f arcsec, stated error of the offset %.2f", d, 60*j.Sigma.Total)
			if d > limit {
				t.Errorf("axis off by %.2f arcsec, limit %g", d, limit)
			}
		})
	}
}

// The demo's own nights, north and south: measured within a few arcseconds of
// the truth. The night is made from the embedded stars, so this checks the
// chain as a whole, and the shared nights check it against others.
func TestDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	for _, args := range [][]string{{"demo"}, {"demo", "--south", "--seed", "3"}}[:1+extra(1)] {
		status, out, errs := pintle(t, append(args, "--keep", t.TempDir())...)
		if status != verb.Done {
			t.Fatalf("%v: status %d: %s%s", args, status, out, errs)
		}
		_, rest, ok := strings.Cut(out, "The axis was measured ")
		word, _, _ := strings.Cut(rest, " ")
		var d float64
		if err := json.Unmarshal([]byte(word), &d); !ok || err != nil {
			t.Fatalf("%v: no comparison with the truth in: %s", args, out)
		}
		if d > 5 {
			t.Errorf("%v: measured %g arcsec from the truth, want 5 at most", args, d)
		}
	}
}

// A site on the wrong side of the Earth gives no axis at all: these frames show
// sky that is below the horizon there.
func TestWrongSiteGivesNoAnswer(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	args := []string{"axis", "--json", "--lat", "2", "--lon", "106"}
	for _, f := range []string{"frame-01.fits", "frame-02.fits", "frame-03.fits"} {
		args = append(args, shared(t, "nights", "near-equator", f))
	}
	status, out, _ := pintle(t, args...)
	if status != verb.NoAnswer || !strings.Contains(out, "below the horizon") || !strings.Contains(out, `"axis":null`) {
		t.Errorf("status %d, %s; want status %d, no axis, and the horizon as the reason", status, out, verb.NoAnswer)
	}
}
