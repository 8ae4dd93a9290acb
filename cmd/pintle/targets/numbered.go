package targets

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"io"
	"strconv"
	"strings"
	"sync"

	"pintle/index/sphere"
)

// ngcicPacked is made by cmd/targetpack, which describes its rows.
//
//go:embed ngcic.csv.gz
var ngcicPacked []byte

// Last numbers of the catalogues, which say what can be asked for (Dreyer 1888, 1908).
const (
	lastMessier = 110
	lastNGC     = 7840
	lastIC      = 5386
)

// typeOf are the types by the letters of the packed list.
var typeOf = map[string]string{
	"g": "galaxy", "o": "open cluster", "c": "globular cluster", "p": "planetary nebula", "n": "nebula", "s": "supernova remnant",
}

// numbered returns the objects of NGC and IC by number. It is unpacked when it is
// first asked for: most evenings do without.
var numbered = sync.OnceValue(unpack)

func unpack() (out []Target) {
	r, err := gzip.NewReader(bytes.NewReader(ngcicPacked))
	if err != nil {
		panic("impossible: embedded list of numbers: " + err.Error())
	}
	text, err := io.ReadAll(r)
	if err != nil {
		panic("impossible: embedded list of numbers: " + err.Error())
	}
	for _, f := range rows(string(text), 6) {
		catalogue, digits := "NGC ", f[0][1:]
		if f[0][0] == 'I' {
			catalogue = "IC "
		}
		t := Target{Name: catalogue + digits, Pos: sphere.SkyAt(fine(f[1]), fine(f[2])), Type: typeOf[f[3]], Also: f[5]}
		if m, err := strconv.Atoi(f[4]); err == nil {
			m := All()[m-1]
			t.Pos, t.Type, t.Also = m.Pos, m.Type, m.Title()
		}
		out = append(out, t)
	}
	return out
}

// fine reads ten-thousandths of a degree.
func fine(s string) sphere.Angle {
	x, err := strconv.Atoi(s)
	if err != nil {
		panic("impossible: embedded list of numbers: " + s)
	}
	return sphere.Angle(x) * 1e-4 * sphere.Degree
}

// names leads from plain names to targets: those of All alone, or of all there are.
type names map[string]Target

func namesOf(lists ...[]Target) names {
	out := names{}
	for _, list := range lists {
		for _, t := range list {
			for _, n := range []string{plain(t.Name), plain(t.Also)} {
				if _, taken := out[n]; !taken && n != "" {
					out[n] = t
				}
			}
		}
	}
	return out
}

var (
	fewNames = sync.OnceValue(func() names { return namesOf(All()) })
	allNames = sync.OnceValue(func() names { return namesOf(All(), numbered()) })
)

// designation is a name such as NGC 253, taken apart: the letters of its catalogue
// and its number. ok is false for names that are not made like that.
func designation(plain string) (catalogue string, number int, ok bool) {
	catalogue = strings.TrimRight(plain, "0123456789")
	number, err := strconv.Atoi(plain[len(catalogue):])
	return catalogue, number, err == nil
}

// last is the last number of a catalogue, 0 for what is none.
func last(catalogue string) int {
	return map[string]int{"m": lastMessier, "ngc": lastNGC, "ic": lastIC}[catalogue]
}
