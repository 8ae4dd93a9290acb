package gear

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

func TestNumbersInWords(t *testing.T) {
	g, err := Parse("gear.toml", `tolerance = "90\""
[site.garden]
lat = "31°24'S"
lon = "121d54m E"
elev = "1000ft"
[camera.six]
focal_mm = "0.4m"
pixel_um = "3.76um"
exposure_s = "1m30s"
[mount.old]
alt_arcmin_per_turn = "0.5deg"
az_range_deg = 14
`)
	if err != nil {
		t.Fatal(err)
	}
	s, c, m := g.Sites["garden"], g.Cameras["six"], g.Mounts["old"]
	for name, pair := range map[string][2]float64{
		"lat": {s.Lat, -31.4}, "lon": {s.Lon, 121.9}, "elev": {s.Elev, 304.8}, "focal": {c.Focal, 400}, "pixel": {c.Pixel, 3.76},
		"exposure": {c.Exposure, 90}, "per turn": {m.AltPerTurn, 30}, "range": {m.AzRange, 14}, "tolerance": {g.Tolerance.Arcmin, 1.5},
	} {
		if math.Abs(pair[0]-pair[1]) > 1e-9 {
			t.Errorf("%s: %g, want %g", name, pair[0], pair[1])
		}
	}
	for text, words := range map[string]string{
		"[site.a]\nlon = 1\nlat = \"31 24 s\"\n":                          "gear.toml:3: site.a.lat: latitude \"31 24 s\" can be read two ways",
		"[site.a]\nlat = \"31 E\"\nlon = 1\n":                             "gear.toml:2: site.a.lat: latitude \"31 E\" names east",
		"[site.a]\nlat = 1\nlon = 1\nelev = \"high\"\n":                   "gear.toml:4: site.a.elev: elevation \"high\" is no number",
		"[site.a]\nlat = 1\nlon = 1\nelev = \"40000ft\"\n":                "gear.toml:4: site.a.elev: elevation 12192 is outside -500 to 9000",
		"# c\n[site.a]\nlat = 1\nlon = 1\nelev = \"1ft\"\nblocks = 5\n":   "gear.toml:6: site.a.blocks",
		"# c\n[site.a]\nlat = 1\nlon = 1\nelev = \"1ft\"\nhight = 5\n":    "gear.toml:6: site.a.hight: unknown key",
		"tolerance = \"wide\"\n":                                          "tolerance \"wide\" is no number",
		"[camera.a]\nfocal_mm = \"16in\"\nwidth_px = \"6000\"\n":          "width_px",
		"[site.a]\nlat = 1\nlon = 1\nelev = \"1ft\"\n[default]\nsite=3\n": "default.site",
	} {
		if _, err := Parse("gear.toml", text); err == nil || !strings.Contains(err.Error(), words) || strings.Contains(err.Error(), "strconv") {
			t.Errorf("%q: %v, want %q", text, err, words)
		}
	}
}

// A pipe in the place of the file must not be waited for.
func TestGearFileThatIsNone(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no pipes with names in a folder")
	}
	pipe := filepath.Join(t.TempDir(), "gear.toml")
	if err := mkfifo(pipe); err != nil {
		t.Skip(err)
	}
	for _, path := range []string{pipe, os.DevNull, t.TempDir()} {
		if _, err := Load(path); !errors.As(err, new(*Fault)) || !strings.Contains(err.Error(), "not a regular file") {
			t.Errorf("%s: %v", path, err)
		}
	}
}
