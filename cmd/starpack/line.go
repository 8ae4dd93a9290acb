package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// fields reads the columns of a line by the byte numbers of the catalogue's
// ReadMe, counted from 1. The first error stays.
type fields struct {
	line string
	err  error
}

// optional returns the number in bytes first to last, NaN when they are blank.
func (f *fields) optional(first, last int) float64 {
	if len(f.line) < last {
		f.fail("line of %d bytes, want at least %d", len(f.line), last)
		return math.NaN()
	}
	text := strings.TrimSpace(f.line[first-1 : last])
	if text == "" {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		f.fail("bytes %d to %d are %q, want a number", first, last, text)
	}
	return x
}

// number is optional for a field that must not be blank.
func (f *fields) number(first, last int) float64 {
	x := f.optional(first, last)
	if math.IsNaN(x) {
		f.fail("bytes %d to %d are blank", first, last)
	}
	return x
}

func (f *fields) byte(at int) byte {
	if len(f.line) < at {
		f.fail("line of %d bytes, want at least %d", len(f.line), at)
		return ' '
	}
	return f.line[at-1]
}

func (f *fields) fail(format string, args ...any) {
	if f.err == nil {
		f.err = fmt.Errorf(format, args...)
	}
}

func degrees(ra, dec float64) sphere.Sky {
	return sphere.SkyAt(sphere.Angle(ra)*sphere.Degree, sphere.Angle(dec)*sphere.Degree)
}

// parseMain reads a line of tyc2.dat. Stars flagged X have no mean place and no
// proper motion there; their place as observed by the satellite is taken.
func parseMain(line string) (stars.Entry, error) {
	f := fields{line: line}
	var e stars.Entry
	if f.byte(14) == 'X' {
		at := [2]float64{1990 + f.number(179, 182), 1990 + f.number(184, 187)}
		e.Pos = degrees(f.number(153, 164), f.number(166, 177))
		e.Epoch = (at[0] + at[1]) / 2
		e.PM = [2]float64{math.NaN(), math.NaN()}
		e.Err[0] = stars.EntryError{Place: f.number(189, 193), At: at[0]}
		e.Err[1] = stars.EntryError{Place: f.number(195, 199), At: at[1]}
	} else {
		e.Pos = degrees(f.number(16, 27), f.number(29, 40))
		e.Epoch = 2000
		e.PM = [2]float64{f.number(42, 48), f.number(50, 56)}
		e.Err[0] = stars.EntryError{Place: f.number(58, 60), At: f.number(76, 82), Motion: f.number(66, 69)}
		e.Err[1] = stars.EntryError{Place: f.number(62, 64), At: f.number(84, 90), Motion: f.number(71, 74)}
	}
	e.V, e.BV = johnson(f.optional(111, 116), f.optional(124, 129))
	if math.IsNaN(e.V) {
		f.fail("neither BT nor VT")
	}
	return e, f.err
}

// parseSupplement reads a line of suppl_1.dat; epoch J1991.25.
func parseSupplement(line string) (stars.Entry, error) {
	const at = 1991.25
	f := fields{line: line}
	e := stars.Entry{
		Pos:   degrees(f.number(16, 27), f.number(29, 40)),
		Epoch: at,
		PM:    [2]float64{f.optional(42, 48), f.optional(50, 56)},
	}
	e.Err[0] = stars.EntryError{Place: f.number(58, 62), At: at, Motion: f.optional(70, 74)}
	e.Err[1] = stars.EntryError{Place: f.number(64, 68), At: at, Motion: f.optional(76, 80)}
	if f.byte(82) == 'H' {
		e.V, e.BV = f.number(97, 102)-hpLessV, math.NaN()
	} else {
		e.V, e.BV = johnson(f.optional(84, 89), f.optional(97, 102))
	}
	if math.IsNaN(e.V) {
		f.fail("no magnitude")
	}
	return e, f.err
}

const (
	// usualColour is BT - VT where one of the two is missing: the median of the
	// main file (0.721).
	usualColour = 0.72
	// hpLessV is Hp - V of a star of usual colour. Hp - V runs from about
	// -0.03 at B-V = -0.2 over 0.06 at 0.4 and 0.15 at 0.7 to 0.2 at 1.1, from
	// bright stars of the supplement whose V is well known (values of V from
	// memory), so V is good to about 0.1 for these 3 288 stars; 0.25 for Sirius.
	hpLessV = 0.12
)

// johnson returns V and B-V from Tycho-2's magnitudes by note 7 of its ReadMe.
// With one of the two missing the usual colour serves for V, and B-V is NaN.
func johnson(bt, vt float64) (v, bv float64) {
	switch {
	case math.IsNaN(vt):
		return bt - 1.090*usualColour, math.NaN()
	case math.IsNaN(bt):
		return vt - 0.090*usualColour, math.NaN()
	}
	return vt - 0.090*(bt-vt), 0.850 * (bt - vt)
}
