package lenses

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pintle/index/optics"
	"pintle/index/sphere"
)

func lens(arcsec float64) optics.Lens {
	return optics.NewLens(1280, 960, sphere.Angle(arcsec)*sphere.Arcsecond)
}

func TestRemembers(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	b := Open(path)
	if l := b.Usual("one", 1280, 960); l != nil {
		t.Fatalf("an empty book has %+v", l)
	}
	fisheye := lens(200)
	fisheye.Law, fisheye.K1, fisheye.Mirrored = optics.Equidistant, -0.02, true
	for _, c := range []struct {
		camera string
		l      optics.Lens
	}{{"one", lens(10)}, {"two", lens(20)}, {"one", fisheye}} {
		if err := b.Learn(c.camera, 1280, 960, c.l); err != nil {
			t.Fatal(err)
		}
	}
	again := Open(path)
	if l := again.Usual("one", 1280, 960); l == nil || *l != fisheye {
		t.Errorf("one: %+v, want the lens it had last", l)
	}
	if l := again.Usual("two", 1280, 960); l == nil || *l != lens(20) {
		t.Errorf("two: %+v", l)
	}
	if l := again.Usual("two", 960, 1280); l != nil {
		t.Errorf("frames of another size have %+v", l)
	}
}

// Focus and warmth do not write the file anew; another lens does.
func TestWritesWhatIsNew(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	b := Open(path)
	for i, c := range []struct {
		arcsec float64
		writes bool
	}{{10, true}, {10.01, false}, {10.5, true}} {
		os.Remove(path)
		if err := b.Learn("one", 1280, 960, lens(c.arcsec)); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(path); (err == nil) != c.writes {
			t.Errorf("%d: written %v, want %v", i, err == nil, c.writes)
		}
	}
}

func TestForgetsTheOldest(t *testing.T) {
	b := Open(filepath.Join(t.TempDir(), FileName))
	for i := range mostLenses + 1 {
		if err := b.Learn(fmt.Sprint(i), 1280, 960, lens(10)); err != nil {
			t.Fatal(err)
		}
	}
	if b.Usual("0", 1280, 960) != nil || b.Usual("1", 1280, 960) == nil {
		t.Error("not the oldest one is forgotten")
	}
}

// A file that is damaged, foreign or absurd is as good as none, and is replaced.
func TestForgivesBadFiles(t *testing.T) {
	for _, text := range []string{"", "{", "null", `[{"camera":"one","w":1280,"h":960}]`, `[{"camera":"one","w":1280,"h":960,"lens":{"F":1e300,"Half":800}}]`, strings.Repeat("[", mostBytes+5)} {
		path := filepath.Join(t.TempDir(), FileName)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		b := Open(path)
		if l := b.Usual("one", 1280, 960); l != nil {
			t.Errorf("%.40q gives %+v", text, l)
		}
		if err := b.Learn("one", 1280, 960, lens(10)); err != nil {
			t.Errorf("%.40q: %v", text, err)
		}
		if Open(path).Usual("one", 1280, 960) == nil {
			t.Errorf("%.40q is not replaced", text)
		}
	}
}
