package main

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// Lines of the Tycho-2 files as they stand there: an ordinary star, flag X,
// flag P, no BT, no VT; then of the supplement: BT and VT, Hp, no motion, V
// alone, B alone. See index/stars/LICENSE.tycho2.
const (
	ordinary = "0425 02502 1| |269.45207389|  4.69327996| -798.8|10277.3| 24| 25| 1.6| 1.5|1988.86|1988.22| 5|0.8|1.2|0.8|1.2|11.683|0.085| 9.776|0.028|999| | 87937   |269.45390833|  4.66964333|1.76|1.72| 23.6| 25.8| | 0.1"
	flagX    = "4628 00237 1|X|            |            |       |       |   |   |    |    |       |       |  |   |   |   |   | 2.708|0.014| 2.038|0.009|999|T| 11767   | 37.94661861| 89.26413528|1.69|1.75|  3.2|  3.2| | 0.1"
	flagP    = "0040 01338 2|P| 30.51169807|  2.76374242|   41.8|  -11.0|  3|  4| 2.3| 2.2|1991.81|1991.70| 3|0.0|0.2|0.1|0.3| 5.445|0.014| 5.167|0.009| 19|T|  9487B  | 30.51116500|  2.76383611|1.88|1.77|  3.6|  3.9|D|-0.3"
	noBT     = "0077 01286 1| | 63.94277263|  3.26324035|   -4.9|  -10.1| 53| 55| 1.7| 1.7|1967.98|1965.43| 5|0.5|0.2|0.5|0.2|      |     |11.189|0.131|999| |         | 63.94277139|  3.26326528|1.82|1.75|129.1|147.5| |-0.1"
	noVT     = "0077 00412 1| | 64.92261166|  3.76889045|   23.5|   -6.6| 95|106| 2.7| 2.7|1969.49|1961.52| 2|   |   |   |   |11.690|0.132|      |     |999| |         | 64.92255667|  3.76890611|1.62|1.44|111.5|133.6| |-0.1"

	canopus  = "8534 02277 1|H|095.98787763|-52.69571799|   20.0|   23.7|  0.5|  0.5|  0.5|  0.6| |-0.417|0.019|-0.608|0.016|999|T| 30438 "
	hp       = "5949 02777 1|H|101.28854105|-16.71314306| -546.0|-1223.1|  1.2|  1.0|  1.3|  1.2|H|      |     |-1.088|0.002|999| | 32349 "
	noMotion = "4635 01235 1|T|132.73856475|+85.04278255|       |       | 24.2| 22.0|     |     | |10.942|0.056|10.247|0.049|304|T|       "
	onlyV    = "1329 01746 1|H|099.42792641|+16.39941482|   -2.0|  -66.9|  2.4|  1.8|  3.8|  2.6|V|      |     | 2.024|0.009|999|T| 31681 "
	onlyB    = "8613 00946 1|T|158.95092897|-58.20922596|       |       |  9.9|  8.7|     |     |B| 9.204|0.210|      |     |549|T|       "
)

var nan = math.NaN()

// The numbers are read off the lines by eye; V and B-V by note 7 of the ReadMe.
func TestLines(t *testing.T) {
	for _, c := range []struct {
		name, line string
		parse      func(string) (stars.Entry, error)
		ra, dec    float64
		want       stars.Entry
	}{
		{"ordinary", ordinary, parseMain, 269.45207389, 4.69327996, stars.Entry{Epoch: 2000, PM: [2]float64{-798.8, 10277.3}, V: 9.60437, BV: 1.62095,
			Err: [2]stars.EntryError{{Place: 24, At: 1988.86, Motion: 1.6}, {Place: 25, At: 1988.22, Motion: 1.5}}}},
		{"flag X", flagX, parseMain, 37.94661861, 89.26413528, stars.Entry{Epoch: 1991.72, PM: [2]float64{nan, nan}, V: 1.9777, BV: 0.5695,
			Err: [2]stars.EntryError{{Place: 3.2, At: 1991.69}, {Place: 3.2, At: 1991.75}}}},
		{"flag P", flagP, parseMain, 30.51169807, 2.76374242, stars.Entry{Epoch: 2000, PM: [2]float64{41.8, -11.0}, V: 5.14198, BV: 0.2363,
			Err: [2]stars.EntryError{{Place: 3, At: 1991.81, Motion: 2.3}, {Place: 4, At: 1991.70, Motion: 2.2}}}},
		{"no BT", noBT, parseMain, 63.94277263, 3.26324035, stars.Entry{Epoch: 2000, PM: [2]float64{-4.9, -10.1}, V: 11.1242, BV: nan,
			Err: [2]stars.EntryError{{Place: 53, At: 1967.98, Motion: 1.7}, {Place: 55, At: 1965.43, Motion: 1.7}}}},
		{"no VT", noVT, parseMain, 64.92261166, 3.76889045, stars.Entry{Epoch: 2000, PM: [2]float64{23.5, -6.6}, V: 10.9052, BV: nan,
			Err: [2]stars.EntryError{{Place: 95, At: 1969.49, Motion: 2.7}, {Place: 106, At: 1961.52, Motion: 2.7}}}},
		{"supplement", canopus, parseSupplement, 95.98787763, -52.69571799, stars.Entry{Epoch: 1991.25, PM: [2]float64{20.0, 23.7}, V: -0.62519, BV: 0.16235,
			Err: [2]stars.EntryError{{Place: 0.5, At: 1991.25, Motion: 0.5}, {Place: 0.5, At: 1991.25, Motion: 0.6}}}},
		{"Hp", hp, parseSupplement, 101.28854105, -16.71314306, stars.Entry{Epoch: 1991.25, PM: [2]float64{-546.0, -1223.1}, V: -1.208, BV: nan,
			Err: [2]stars.EntryError{{Place: 1.2, At: 1991.25, Motion: 1.3}, {Place: 1.0, At: 1991.25, Motion: 1.2}}}},
		{"no motion", noMotion, parseSupplement, 132.73856475, 85.04278255, stars.Entry{Epoch: 1991.25, PM: [2]float64{nan, nan}, V: 10.18445, BV: 0.59075,
			Err: [2]stars.EntryError{{Place: 24.2, At: 1991.25, Motion: nan}, {Place: 22.0, At: 1991.25, Motion: nan}}}},
		{"only V", onlyV, parseSupplement, 99.42792641, 16.39941482, stars.Entry{Epoch: 1991.25, PM: [2]float64{-2.0, -66.9}, V: 1.9592, BV: nan,
			Err: [2]stars.EntryError{{Place: 2.4, At: 1991.25, Motion: 3.8}, {Place: 1.8, At: 1991.25, Motion: 2.6}}}},
		{"only B", onlyB, parseSupplement, 158.95092897, -58.20922596, stars.Entry{Epoch: 1991.25, PM: [2]float64{nan, nan}, V: 8.4192, BV: nan,
			Err: [2]stars.EntryError{{Place: 9.9, At: 1991.25, Motion: nan}, {Place: 8.7, At: 1991.25, Motion: nan}}}},
	} {
		got, err := c.parse(c.line)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		at := sphere.SkyAt(sphere.Angle(c.ra)*sphere.Degree, sphere.Angle(c.dec)*sphere.Degree)
		if d := got.Pos.Sep(at).Arcseconds(); d > 1e-6 {
			t.Errorf("%s: place is %v arcsec off", c.name, d)
		}
		g, w := numbers(got), numbers(c.want)
		for i := range g {
			if !(math.Abs(g[i]-w[i]) < 1e-9) && !(math.IsNaN(g[i]) && math.IsNaN(w[i])) {
				t.Errorf("%s: got %v, want %v", c.name, g, w)
				break
			}
		}
	}
}

// numbers returns all of an entry but its place.
func numbers(e stars.Entry) []float64 {
	n := []float64{e.Epoch, e.PM[0], e.PM[1], e.V, e.BV}
	for _, c := range e.Err {
		n = append(n, c.Place, c.At, c.Motion)
	}
	return n
}

func TestBadLines(t *testing.T) {
	for _, c := range []struct {
		parse      func(string) (stars.Entry, error)
		line, want string
	}{
		{parseMain, "", "line of 0 bytes"},
		{parseMain, ordinary[:100], "line of 100 bytes"},
		{parseMain, strings.Replace(ordinary, "269.45207389", "269.4520x389", 1), `"269.4520x389", want a number`},
		{parseMain, strings.Replace(ordinary, "269.45207389", "            ", 1), "bytes 16 to 27 are blank"},
		{parseMain, strings.Replace(noBT, "11.189", "      ", 1), "neither BT nor VT"},
		{parseSupplement, hp[:60], "line of 60 bytes"},
		{parseSupplement, strings.Replace(hp, "-1.088", "      ", 1), "bytes 97 to 102 are blank"},
		{parseSupplement, strings.Replace(onlyV, " 2.024", "      ", 1), "no magnitude"},
	} {
		if _, err := c.parse(c.line); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want an error with %q", err, c.want)
		}
	}
}

// rawDir writes a catalogue of ten stars; file 03 is compressed.
func rawDir(t *testing.T) string {
	dir := t.TempDir()
	for i := range mainParts {
		name, text := fmt.Sprintf("tyc2.dat.%02d", i), ""
		switch i {
		case 0:
			text = ordinary + "\n" + flagX + "\n"
		case 3:
			text, name = flagP+"\n"+noBT+"\n"+noVT+"\n", name+".gz"
		}
		write(t, filepath.Join(dir, name), text)
	}
	write(t, filepath.Join(dir, "suppl_1.dat"), strings.Join([]string{canopus, hp, noMotion, onlyV, onlyB}, "\n")+"\n")
	return dir
}

func write(t *testing.T, name, text string) {
	t.Helper()
	data := []byte(text)
	if strings.HasSuffix(name, ".gz") {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		if _, err := z.Write(data); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		data = b.Bytes()
	}
	if err := os.WriteFile(name, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestPack(t *testing.T) {
	dir := rawDir(t)
	var packed [2][]byte
	for i := range packed {
		to := filepath.Join(dir, "packed")
		var out strings.Builder
		if err := run(dir, to, &out); err != nil {
			t.Fatal(err)
		}
		if want := "main file 5, supplement 1 5, sum 10, without proper motion 3\n"; !strings.HasPrefix(out.String(), want) {
			t.Errorf("printed %q, want %q first", out.String(), want)
		}
		var err error
		if packed[i], err = os.ReadFile(to); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(packed[0], packed[1]) {
		t.Error("the same files give different bytes")
	}
	l, err := stars.Open(packed[0])
	if err != nil {
		t.Fatal(err)
	}
	var v []float32
	l.Each(6.4, 2025, func(s stars.Star) bool { v = append(v, s.V); return true })
	if len(v) != 5 || l.Len() != 10 {
		t.Errorf("V < 6.4: %v of %d stars, want 5 of 10", v, l.Len())
	}
}

func TestPackRefuses(t *testing.T) {
	dir := rawDir(t)
	to := filepath.Join(dir, "packed")
	write(t, filepath.Join(dir, "tyc2.dat.07"), ordinary+"\n"+ordinary[:50]+"\n")
	if err := run(dir, to, &strings.Builder{}); err == nil || !strings.Contains(err.Error(), "tyc2.dat.07:2: line of 50 bytes") {
		t.Errorf("short line: %v", err)
	}
	write(t, filepath.Join(dir, "tyc2.dat.07"), "")
	if err := os.Remove(filepath.Join(dir, "suppl_1.dat")); err != nil {
		t.Fatal(err)
	}
	if err := run(dir, to, &strings.Builder{}); err == nil || !strings.Contains(err.Error(), "suppl_1.dat") {
		t.Errorf("no supplement: %v", err)
	}
	if _, err := os.Stat(to); err == nil {
		t.Error("a list was written all the same")
	}
}
