// Package targets finds an object of the sky by its name or number: the Messier
// objects, the brightest named stars, and what the New General Catalogue (NGC) and
// the Index Catalogues (IC) hold.
package targets

import (
	_ "embed"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"sync"

	"pintle/index/sphere"
)

//go:embed messier.csv
var messierText string

//go:embed stars.csv
var starsText string

// Target is an object with a name.
type Target struct {
	Name string     // "M 42", "NGC 253", "Vega"
	Also string     // common name, may be empty
	Type string     // "galaxy", "star", ...
	Pos  sphere.Sky // J2000; to some arcseconds, clusters and nebulae to arcminutes; see README.md for the worst
}

// Title is the name with the common name.
func (t Target) Title() string {
	if t.Also == "" {
		return t.Name
	}
	return t.Name + ", " + t.Also
}

// All returns the targets that most ask for: Messier objects by number, then stars
// by brightness.
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

// rows are those of an embedded list: values between commas, # before a remark.
func rows(text string, columns int) [][]string {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment, r.FieldsPerRecord = '#', columns
	out, err := r.ReadAll()
	if err != nil {
		panic("impossible: embedded target list: " + err.Error())
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
