// Package targets finds an object of the sky by its name: the Messier objects
// and the brightest named stars.
package targets

import (
	_ "embed"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"pintle/cmd/pintle/spell"
	"pintle/index/sphere"
)

//go:embed messier.csv
var messierText string

//go:embed stars.csv
var starsText string

// Target is an object with a name.
type Target struct {
	Name string     // "M 42", "Vega"
	Also string     // common name, may be empty
	Type string     // "galaxy", "star", ...
	Pos  sphere.Sky // J2000; good to a tenth of a degree, stars to an arcminute
}

// Title is the name with the common name.
func (t Target) Title() string {
	if t.Also == "" {
		return t.Name
	}
	return t.Name + ", " + t.Also
}

// All returns every target: Messier objects by number, then stars by
// brightness.
var All = sync.OnceValue(func() []Target {
	var out []Target
	for _, f := range rows(messierText, 5) {
		out = append(out, Target{Name: "M " + f[0], Pos: position(f[1], f[2]), Type: f[3], Also: f[4]})
	}
	for _, f := range rows(starsText, 4) {
		out = append(out, Target{Name: f[0], Pos: position(f[1], f[2]), Type: "star"})
	}
	return out
})

func rows(text string, columns int) (out [][]string) {
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		f := strings.Split(line, ",")
		if len(f) != columns {
			panic("impossible: embedded target list: " + line)
		}
		out = append(out, f)
	}
	return out
}

func position(ra, dec string) sphere.Sky {
	return sphere.SkyAt(sphere.Angle(sexagesimal(ra))*sphere.Hour, sphere.Angle(sexagesimal(dec))*sphere.Degree)
}

// sexagesimal reads "hours minutes" or "degrees minutes"; the sign stands
// before both.
func sexagesimal(s string) float64 {
	whole, minutes, _ := strings.Cut(s, " ")
	a, err1 := strconv.ParseFloat(whole, 64)
	b, err2 := strconv.ParseFloat(minutes, 64)
	if err1 != nil || err2 != nil {
		panic("impossible: embedded target list: " + s)
	}
	return math.Copysign(math.Abs(a)+b/60, math.Copysign(1, a))
}

// plain takes a name down to what counts: small letters and digits.
func plain(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// Find returns the target called name: "M42", "m 42", "Messier 42", "vega",
// "orion nebula", also with a letter wrong. The error names what was looked
// for and, where something is close, that.
func Find(name string) (Target, error) {
	want := plain(name)
	if rest, ok := strings.CutPrefix(want, "messier"); ok {
		want = "m" + rest
	}
	if want == "" {
		return Target{}, fmt.Errorf("no name given; a Messier number such as M42, or a bright star such as Vega")
	}
	best, near := 3, []Target(nil)
	for _, t := range All() {
		for _, n := range []string{plain(t.Name), plain(t.Also)} {
			if n == "" {
				continue
			}
			if n == want {
				return t, nil
			}
			if d := spell.Edits(want, n); d < best {
				best, near = d, []Target{t}
			} else if d == best && best < 3 {
				near = append(near, t)
			}
		}
	}
	// One wrong letter in a long word is a slip of the finger; in a number or a
	// short word it is another object.
	if word := !strings.ContainsAny(want, "0123456789"); word && best == 1 && len(near) == 1 && len(want) >= 5 {
		return near[0], nil
	} else if word && len(near) > 0 && len(want) >= 4 {
		return Target{}, fmt.Errorf("no target called %q; did you mean %s?", name, near[0].Title())
	}
	return Target{}, fmt.Errorf("no target called %q; M1 to M110 and the brightest stars are known, anything else needs its coordinates", name)
}
