package targets

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pintle/index/sphere"
	"pintle/index/stars"
)

func TestFind(t *testing.T) {
	for name, want := range map[string]string{
		"M42": "M 42", "m 42": "M 42", "Messier 42": "M 42", "messier-110": "M 110", "M1": "M 1", "M 031": "M 31", "M-31": "M 31",
		"vega": "Vega", "VEGA ": "Vega", "rigil kentaurus": "Rigil Kentaurus", "orion nebula": "M 42",
		"betelgeuze": "Betelgeuse", "bodes galaxy": "M 81", "pleiades": "M 45",
		"NGC 253": "NGC 253", "ngc253": "NGC 253", "Ngc-0253": "NGC 253", "N.G.C. 253": "NGC 253", "sculptor galaxy": "NGC 253",
		"IC 1396": "IC 1396", "ic1396": "IC 1396", "I.C. 1396": "IC 1396", "ngc 7000": "NGC 7000", "north america nebula": "NGC 7000",
		"NGC 224": "NGC 224", "horsehead nebula": "IC 434", "horsehed nebula": "IC 434", "omega centauri": "NGC 5139", "47 tucanae": "NGC 104",
	} {
		if got, err := Find(name); err != nil || got.Name != want {
			t.Errorf("%q: got %q, %v; want %q", name, got.Name, err, want)
		}
	}
	for name, hint := range map[string]string{
		"": "Messier number", "M0": "coordinates", "M111": "from 1 to 110", "m420": "coordinates", "Nibiru": "coordinates", "betlgeuze": "mean Betelgeuse", "  ": "Messier number",
		"NGC 7841": "from 1 to 7840", "ngc0": "from 1 to 7840", "IC 5387": "from 1 to 5386", "NGC 6": "not in the list", "NGC 99999999999999999999999": "coordinates",
		"NCG 253": "did you mean NGC 253, Sculptor Galaxy?", "n 31": "mean M 31, Andromeda Galaxy, or NGC 31?", "253": "mean NGC 253, Sculptor Galaxy, or IC 253?",
		"rosette": "mean NGC 2237, Rosette Nebula, or NGC 2244, Rosette Cluster?", "XYZ 12": "coordinates", "\xff\x00": "Messier number",
	} {
		got, err := Find(name)
		if err == nil || !strings.Contains(err.Error(), hint) {
			t.Errorf("%q: got %q, %v; want an error with %q", name, got.Name, err, hint)
		}
	}
}

func TestSearch(t *testing.T) {
	for typed, want := range map[string]string{
		"":           "",
		"ngc 224":    "NGC 224, NGC 2241, NGC 2242, NGC 2243",
		"m10":        "M 10, M 100, M 101, M 102",
		"253":        "NGC 253, IC 253",
		"veil":       "NGC 6960, NGC 6992",
		"andromeda":  "M 31, NGC 224",
		"horsehed":   "",
		"betlgeuze":  "Betelgeuse",
		"ic 5386":    "",
		"ic 538":     "IC 5380, IC 5381, IC 5382",
		"no such":    "",
		"<script>":   "",
		"nebula in ": "",
	} {
		var got []string
		for _, x := range Search(typed, 4) {
			got = append(got, x.Name)
		}
		if s := strings.Join(got, ", "); s != want {
			t.Errorf("%q: %s, want %s", typed, s, want)
		}
	}
}

// Every object against lists made by others, copied into testdata. M41 and M67 stand
// 0.24 degree apart in right ascension; see the next test. Open clusters and nebulae
// have no centre that all agree on.
func TestMessierAgainstOtherLists(t *testing.T) {
	for file, columns := range map[string]int{"testdata/messier_other.csv": 3, "testdata/messier_memory.csv": 5} {
		t.Run(file, func(t *testing.T) { againstList(t, file, columns) })
	}
}

func againstList(t *testing.T, file string, columns int) {
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, f := range rows(string(b), columns) {
		tgt, err := Find("M" + f[0])
		if err != nil {
			t.Fatal(err)
		}
		var other sphere.Sky
		if columns == 5 {
			other = position(f[1], f[2])
		} else {
			ra, _ := strconv.ParseFloat(f[1], 64)
			dec, _ := strconv.ParseFloat(f[2], 64)
			other = sphere.SkyAt(sphere.Angle(ra)*sphere.Degree, sphere.Angle(dec)*sphere.Degree)
		}
		limit := 0.1
		if columns == 3 && (f[0] == "41" || f[0] == "67") {
			limit = 0.25
		}
		if d := tgt.Pos.Sep(other).Degrees(); d > limit {
			t.Errorf("%s: %.3f deg from the list", tgt.Name, d)
		}
		n++
	}
	if n != 110 {
		t.Errorf("%d objects", n)
	}
}

// Open clusters are where the stars are: within 0.15 degree of the position
// stand more stars than beside it. Decides M41 and M67.
func TestClustersInStarList(t *testing.T) {
	count := func(p sphere.Sky) int {
		return len(stars.Embedded().Cone(nil, p, 0.15*sphere.Degree, 12, 2000))
	}
	for _, name := range []string{"M41", "M67", "M44", "M34", "M35", "M47", "M48"} {
		tgt, err := Find(name)
		if err != nil {
			t.Fatal(err)
		}
		at := count(tgt.Pos)
		ra, dec := tgt.Pos.RADec()
		for _, east := range []sphere.Angle{-0.6, 0.6} {
			if beside := count(sphere.SkyAt(ra+east*sphere.Degree/sphere.Angle(dec.Cos()), dec)); beside >= at {
				t.Errorf("%s: %d stars, %d beside it", name, at, beside)
			}
		}
		if name == "M41" || name == "M67" {
			other := map[string]sphere.Sky{
				"M41": sphere.SkyAt(101.75*sphere.Degree, -20.7333*sphere.Degree),
				"M67": sphere.SkyAt(132.6*sphere.Degree, 11.8167*sphere.Degree),
			}[name]
			if o := count(other); o >= at {
				t.Errorf("%s: %d stars here, %d at the other list's place", name, at, o)
			}
		}
	}
}

// Each named star is in the star list, within an arcminute of its J2000 place
// and 0.25 magnitude (0.6 for variables, close pairs that the list holds as one
// or as parts, and Sirius, which blinded the instrument), and nothing brighter is beside it.
func TestStarsAgainstStarList(t *testing.T) {
	loose := map[string]bool{"Betelgeuse": true, "Antares": true, "Algol": true, "Gacrux": true, "Castor": true, "Acrux": true,
		"Algieba": true, "Mizar": true, "Rigil Kentaurus": true, "Capella": true, "Almach": true, "Mimosa": true, "Spica": true, "Hadar": true, "Regor": true, "Alsephina": true, "Albireo": true, "Avior": true, "Sirius": true}
	for _, f := range rows(starsText, 4) {
		tgt, err := Find(f[0])
		if err != nil {
			t.Fatal(err)
		}
		mag, err := strconv.ParseFloat(f[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		limit := 0.25
		if loose[f[0]] {
			limit = 0.6
		}
		best := math.Inf(1)
		for _, s := range stars.Embedded().Cone(nil, tgt.Pos, 0.7*sphere.Arcminute, 5, 2000) {
			best = math.Min(best, math.Abs(float64(s.V)-mag))
		}
		if best > limit {
			t.Errorf("%s: no star of magnitude %.2f within 0.7 arcmin (nearest in magnitude: %.2f off)", f[0], mag, best)
		}
	}
}

func TestAll(t *testing.T) {
	if n := len(All()); n < 170 {
		t.Errorf("%d targets", n)
	}
	seen := map[string]bool{}
	for _, x := range All() {
		if seen[x.Name] {
			t.Errorf("%s twice", x.Name)
		}
		seen[x.Name] = true
	}
}
