package gear

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"pintle/index/sphere"
)

const sample = `# my things
tolerance = 1.5 # arcmin

[default]
site = "garden"
mount = "old six"

# where the tripod stands
[site.garden]
lat = 52.1   # measured twice
lon = -3.25
elev = 40

[site."hill top"]
lat = -0.5
lon = 101

[camera.long]
focal_mm = 400
pixel_um = 3.76
width_px = 6248
height_px = 4176
exposure_s = 180
guided = true

[mount."old six"]
alt_arcmin_per_turn = 60
alt_clockwise = "raises"
alt_min_deg = 20
alt_max_deg = 65
alt_divisions = 30
az_arcmin_per_turn = 45.5
az_clockwise = "counter-clockwise"
az_range_deg = 14
`

func load(t *testing.T, text string) *File {
	t.Helper()
	path := filepath.Join(t.TempDir(), "deep", "gear.toml")
	if text != "" {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	f, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func onDisk(t *testing.T, f *File) string {
	t.Helper()
	b, err := os.ReadFile(f.Path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestParse(t *testing.T) {
	g, err := Parse("gear.toml", sample)
	if err != nil {
		t.Fatal(err)
	}
	want := Gear{
		Tolerance: Tolerance{Arcmin: 1.5},
		Default:   Default{Site: "garden", Mount: "old six"},
		Sites:     map[string]Site{"garden": {Lat: 52.1, Lon: -3.25, Elev: 40}, "hill top": {Lat: -0.5, Lon: 101}},
		Cameras:   map[string]Camera{"long": {Focal: 400, Pixel: 3.76, Width: 6248, Height: 4176, Exposure: 180, Guided: true}},
		Mounts: map[string]Mount{"old six": {AltPerTurn: 60, AltSense: Raises, AltMin: 20, AltMax: 65, AltMarks: 30,
			AzPerTurn: 45.5, AzSense: Counter, AzRange: 14}},
	}
	if !reflect.DeepEqual(g, want) {
		t.Errorf("got %+v", g)
	}
	if n, s, ok := Pick(g.Sites, "", g.Default.Site); n != "garden" || s.Lat != 52.1 || !ok {
		t.Errorf("default site: %q %v %v", n, s, ok)
	}
	if n, _, ok := Pick(g.Cameras, "", g.Default.Camera); n != "long" || !ok {
		t.Errorf("only camera: %q %v", n, ok)
	}
	if _, _, ok := Pick(g.Sites, "moor", ""); ok {
		t.Error("a site that is not there was picked")
	}
}

// Each text is refused at the right line, with the value in the reason and a
// hint.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		name, text   string
		line         int
		reason, hint string
	}{
		{"unknown top key", "tolerance = 1\nsight = 3\n", 2, "unknown key", "site"},
		{"misspelt key", "[camera.a]\npixel_um = 3\nfocal_m = 200\n", 3, "unknown key", "focal_mm"},
		{"unknown table", "\n\n[telescope.big]\nfocal_mm = 3\n", 3, "unknown key", "known here"},
		{"latitude", "[site.a]\nlat = 95.0\nlon = 1\n", 2, "95", "north positive"},
		{"not a number", "[site.a]\nlon = 1\nlat = nan\n", 3, "NaN", "degrees"},
		{"longitude missing", "# x\n[site.a]\nlat = 5\n", 2, "lon is missing", "lat and lon"},
		{"word for number", "[site.a]\nlat = 5\nlon = \"east\"\n", 3, "longitude \"east\" is no angle", "a number, or text"},
		{"syntax", "[site.a]\nlat = = 5\n", 2, "", "name = value"},
		{"same table twice", "[site.a]\nlat=1\nlon=1\n[site.a]\nlat=2\nlon=2\n", 4, "", ""},
		{"default without thing", "[default]\nsite = \"moor\"\n[site.a]\nlat=1\nlon=2\n", 2, "moor", "there is: a"},
		{"default without any", "[default]\nmount = \"big\"\n", 2, "big", "no mount at all"},
		{"tolerance word", "tolerance = \"fine\"\n", 1, "fine", ""},
		{"tolerance negative", "tolerance = -1\n", 1, "-1", "auto"},
		{"sense", "[mount.a]\nalt_clockwise = \"up\"\n", 2, "up", "adjuster clockwise"},
		{"range upside down", "[mount.a]\nalt_min_deg = 60\nalt_max_deg = 20\n", 2, "60", "lower"},
		{"half a frame", "[camera.a]\nwidth_px = 600\n", 2, "missing", "both"},
		{"negative focal length", "[camera.a]\nfocal_mm = -1\n", 2, "-1", "millimetres"},
		{"infinite pixel", "[camera.a]\npixel_um = inf\n", 2, "Inf", "micro"},
		{"text in several lines", "[site.a]\nlat=1\nlon=1\nblocks = '''\nlat = 3\n'''\n[site.b]\nlat = 1\nlon = 999\n", 9, "999", "east"},
	} {
		g, err := Parse("gear.toml", c.text)
		var f *Fault
		if !errors.As(err, &f) {
			t.Errorf("%s: got %+v, %v; want a fault", c.name, g, err)
			continue
		}
		if f.Line != c.line || !strings.Contains(f.Reason, c.reason) || !strings.Contains(f.Hint, c.hint) || f.Hint == "" {
			t.Errorf("%s: line %d %q hint %q; want line %d, %q, %q", c.name, f.Line, f.Error(), f.Hint, c.line, c.reason, c.hint)
		}
	}
}

// The file of a new user: made with its folder, read back, and a second thing
// of the same name refused.
func TestPutFromNothing(t *testing.T) {
	f := load(t, "")
	if f.Exists() {
		t.Error("a file that is not there exists")
	}
	site := Site{Lat: 0, Lon: 0, Elev: 0} // zeros are values, not gaps
	cam := Camera{Focal: 50, Pixel: 4, Exposure: 20}
	mount := Mount{AltPerTurn: 61.25, AltSense: Lowers}
	for name, x := range map[string]any{"null island": site, `say "cheese"`: cam, "größter": mount} {
		if err := f.Put(name, x, false); err != nil {
			t.Fatal(err)
		}
	}
	g, err := Load(f.Path)
	if err != nil {
		t.Fatalf("%v in\n%s", err, onDisk(t, f))
	}
	if g.Gear.Sites["null island"] != site || g.Gear.Cameras[`say "cheese"`] != cam || g.Gear.Mounts["größter"] != mount {
		t.Errorf("read back %+v", g.Gear)
	}
	if err := f.Put("null island", Site{Lat: 1}, false); err == nil {
		t.Error("a second site of the same name was taken")
	}
	if err := f.Put("bad", Site{Lat: 91}, false); err == nil {
		t.Error("latitude 91 was taken")
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(f.Path), "*")); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
}

// Changing one thing leaves every other line, its comments and its
// permissions alone.
func TestEditsKeepTheRest(t *testing.T) {
	f := load(t, sample)
	if err := f.Put("garden", Site{Lat: 52.2, Lon: -3.25, Blind: "trees.txt"}, true); err != nil {
		t.Fatal(err)
	}
	if err := f.SetTolerance(Tolerance{Auto: true}); err != nil {
		t.Fatal(err)
	}
	if err := f.SetDefault(KindCamera, "long"); err != nil {
		t.Fatal(err)
	}
	if err := f.SetDefault(KindSite, "hill top"); err != nil {
		t.Fatal(err)
	}
	want := strings.NewReplacer(
		"tolerance = 1.5 # arcmin", `tolerance = "auto" # arcmin`,
		"[default]\nsite = \"garden\"\n", "[default]\ncamera = \"long\"\nsite = \"hill top\"\n",
		"lat = 52.1   # measured twice\n", "lat = 52.2   # measured twice\n",
		"elev = 40\n", "elev = 0.0\nblocks = \"trees.txt\"\n",
	).Replace(sample)
	got := onDisk(t, f)
	squeeze := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	if squeeze(got) != squeeze(want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if st, err := os.Stat(f.Path); err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", st.Mode(), err)
	}
	if err := f.SetDefault(KindSite, "moor"); err == nil {
		t.Error("a default that is not there was taken")
	}
	if onDisk(t, f) != got {
		t.Error("a refused change was written")
	}
}

// A key that disappears from a thing disappears from the file.
func TestReplaceTakesOut(t *testing.T) {
	f := load(t, sample)
	if err := f.Put("long", Camera{Focal: 200, Pixel: 3.76}, true); err != nil {
		t.Fatal(err)
	}
	if s := onDisk(t, f); strings.Contains(s, "exposure_s") || strings.Contains(s, "guided") || !strings.Contains(s, `[mount."old six"]`) {
		t.Errorf("got\n%s", s)
	}
}

func TestToleranceIntoFileWithoutOne(t *testing.T) {
	f := load(t, "# first words\n# second\n\n[site.a]\nlat = 1\nlon = 2")
	if err := f.SetTolerance(Tolerance{Arcmin: 0.5}); err != nil {
		t.Fatal(err)
	}
	if s := onDisk(t, f); !strings.HasPrefix(s, "# first words\n# second\ntolerance = 0.5\n") {
		t.Errorf("got\n%s", s)
	}
	if err := f.SetDefault(KindSite, "a"); err != nil {
		t.Fatal(err)
	}
}

// Legal TOML that the line edits do not understand is refused, not damaged; so
// is a file that changed since it was read, and a write-protected one.
func TestSafety(t *testing.T) {
	const odd = "site.a = { lat = 1, lon = 2 }\n"
	f := load(t, odd)
	if err := f.Put("a", Site{Lat: 3}, true); err == nil || onDisk(t, f) != odd {
		t.Errorf("inline table: %v, file now\n%s", err, onDisk(t, f))
	}
	f = load(t, sample)
	if err := os.WriteFile(f.Path, []byte(sample+"\n# note\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := f.SetTolerance(Tolerance{Auto: true}); err == nil || onDisk(t, f) != sample+"\n# note\n" {
		t.Errorf("changed meanwhile: %v", err)
	}
	f = load(t, sample)
	if err := os.Chmod(f.Path, 0o400); err != nil {
		t.Fatal(err)
	}
	if err := f.SetTolerance(Tolerance{Auto: true}); err == nil || onDisk(t, f) != sample {
		t.Errorf("write-protected: %v", err)
	}
	f = load(t, sample)
	big := strings.Repeat("# x\n", maxSize/4+1)
	if err := os.WriteFile(f.Path, []byte(big), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(f.Path); err == nil {
		t.Error("a file beyond the limit was read")
	}
	if _, err := Load(t.TempDir()); err == nil {
		t.Error("a folder was read as a file")
	}
}

// A link to the real file stays a link.
func TestLink(t *testing.T) {
	f := load(t, sample)
	link := filepath.Join(t.TempDir(), "gear.toml")
	if err := os.Symlink(f.Path, link); err != nil {
		t.Skip("no links here:", err)
	}
	g, err := Load(link)
	if err != nil {
		t.Fatal(err)
	}
	if err := g.SetTolerance(Tolerance{Auto: true}); err != nil {
		t.Fatal(err)
	}
	if st, err := os.Lstat(link); err != nil || st.Mode()&os.ModeSymlink == 0 || !strings.Contains(onDisk(t, f), "auto") {
		t.Errorf("link replaced, or its file not changed: %v", err)
	}
}

func TestCheckName(t *testing.T) {
	for _, bad := range []string{"", " a", "a ", "a\nb", strings.Repeat("x", 61), "\xff"} {
		if CheckName(bad) == nil {
			t.Errorf("name %q passes", bad)
		}
	}
	for _, good := range []string{"a", "hill top", "größe 2", "x]y"} {
		if err := CheckName(good); err != nil {
			t.Errorf("name %q: %v", good, err)
		}
	}
}

func TestShot(t *testing.T) {
	c := Camera{Focal: 400, Pixel: 3.76, Width: 6248, Height: 4176, Exposure: 180, Guided: true}
	e, ok := c.Shot()
	// Half diagonal 3757.6 px of 3.76 um: 14.128 mm before 400 mm.
	if want := math.Atan(14.1284/400) * 180 / math.Pi; !ok || math.Abs(e.Corner.Degrees()-want) > 1e-3 || e.Time != 3*time.Minute || e.Trail != 1 {
		t.Errorf("shot %+v %v, want corner %v", e, ok, want)
	}
	if _, ok := (Camera{Focal: 400, Pixel: 3}).Shot(); ok {
		t.Error("a shot without exposure")
	}
}

func TestAmounts(t *testing.T) {
	m := Mount{AltPerTurn: 60, AltSense: Raises, AltMin: 20, AltMax: 65, AltMarks: 30, AzPerTurn: 45, AzSense: Counter, AzRange: 14}
	for _, c := range []struct {
		name  string
		got   Amount
		turns float64
		sense string
		past  float64
	}{
		{"raise 1.5 deg", m.Alt(1.5*sphere.Degree, 52*sphere.Degree), 1.5, Clockwise, 0},
		{"lower 1/2 deg", m.Alt(-0.5*sphere.Degree, 52*sphere.Degree), 0.5, Counter, 0},
		{"too high", m.Alt(1*sphere.Degree, 67*sphere.Degree), 1, Clockwise, 2},
		{"too low", m.Alt(-1*sphere.Degree, 17*sphere.Degree), 1, Counter, -3},
		{"clockwise 3 deg", m.Az(3 * sphere.Degree), 4, Counter, 0},
		{"counter-clockwise 9 deg", m.Az(-9 * sphere.Degree), 12, Clockwise, -9},
	} {
		if math.Abs(c.got.Turns-c.turns) > 1e-9 || c.got.Sense != c.sense || math.Abs(c.got.Beyond.Degrees()-c.past) > 1e-9 {
			t.Errorf("%s: %+v", c.name, c.got)
		}
	}
	if a := m.Alt(sphere.Degree, 40*sphere.Degree); math.Abs(a.Divisions-30) > 1e-9 {
		t.Errorf("one turn of 30 marks: %v", a.Divisions)
	}
	if a := (Mount{}).Az(sphere.Degree); a != (Amount{}) {
		t.Errorf("nothing known: %+v", a)
	}
}

// Whatever the file holds, the answer is gear that passes its own checks or a
// fault with a reason; a number changed in it by the program reads back.
func FuzzParse(f *testing.F) {
	f.Add(sample)
	f.Add("tolerance = \"auto\"\n[site.a]\nlat = 1\nlon = 2\nblocks = \"\"\"\n[site.b]\n\"\"\"\n")
	f.Add("site.a = { lat = 1, lon = 2 }")
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 2000 {
			return
		}
		g, err := Parse("gear.toml", text)
		if err != nil {
			var bad *Fault
			if !errors.As(err, &bad) || bad.Reason == "" || bad.Hint == "" {
				t.Fatalf("error without reason or hint: %v", err)
			}
			return
		}
		for n, s := range g.Sites {
			if s.check() != nil {
				t.Fatalf("site %q passed: %+v", n, s)
			}
		}
		file := File{Path: filepath.Join(t.TempDir(), "g.toml"), Gear: g, text: text, had: true}
		if err := os.WriteFile(file.Path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if err := file.SetTolerance(Tolerance{Arcmin: 2}); err == nil {
			if h, err := Load(file.Path); err != nil || h.Gear.Tolerance.Arcmin != 2 {
				t.Fatalf("after a change: %+v, %v", h, err)
			}
		}
	})
}
