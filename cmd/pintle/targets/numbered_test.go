package targets

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"pintle/index/sphere"
)

// Well-known objects against their published places (see the head of the file).
func TestPublishedPlaces(t *testing.T) {
	b, err := os.ReadFile("testdata/published.csv")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range rows(string(b), 3) {
		tgt, err := Find(f[0])
		if err != nil {
			t.Error(err)
			continue
		}
		want := sphere.SkyAt(hms(t, f[1])*sphere.Hour, hms(t, f[2])*sphere.Degree)
		if d := tgt.Pos.Sep(want).Arcseconds(); d > 20 {
			t.Errorf("%s: %.0f arcsec from its published place", f[0], d)
		}
	}
}

// hms reads three numbers with a sign before all of them.
func hms(t *testing.T, s string) sphere.Angle {
	t.Helper()
	var a, b, c float64
	if _, err := fmt.Sscan(strings.TrimLeft(s, "+-"), &a, &b, &c); err != nil {
		t.Fatal(err)
	}
	x := sphere.Angle(a + b/60 + c/3600)
	if s[0] == '-' {
		return -x
	}
	return x
}

// Every object is found by its number, within the catalogues' ends, under a type.
func TestNumbered(t *testing.T) {
	counts := map[string]int{}
	for _, x := range numbered() {
		catalogue, n, ok := designation(plain(x.Name))
		if !ok || n < 1 || n > last(catalogue) || x.Type == "" {
			t.Errorf("%q: a number of %q, type %q", x.Name, catalogue, x.Type)
		}
		if got, err := Find(x.Name); err != nil || got != x {
			t.Errorf("%s: found %s, %v", x.Name, got.Name, err)
		}
		if len(plain(x.Title())) > longestName {
			t.Errorf("%q is longer than %d letters", x.Title(), longestName)
		}
		counts[catalogue]++
	}
	if counts["ngc"] < 6900 || counts["ic"] < 3400 {
		t.Errorf("%v objects", counts)
	}
}

// Nobody who asks for a Messier object or a star waits for the long list.
func BenchmarkUnpack(b *testing.B) {
	for b.Loop() {
		if n := len(unpack()); n < 10000 {
			b.Fatal(n)
		}
	}
}
