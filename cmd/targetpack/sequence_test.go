package main

import (
	"math"
	"testing"
)

// Precession in right ascension on the equator is m a year: 3.07234 s + 0.00186 s T
// with T in centuries from 1900 (Newcomb, as in the almanacs of the time; from
// memory), here at the middle of 140 years.
func TestPrecession(t *testing.T) {
	m := 3.07234 + 0.00186*0.3
	want := -140 * m * 15 / 3600
	if got := math.Remainder(of1860(object{}), 360); math.Abs(got-want) > 0.001 {
		t.Errorf("%.5f degrees, want %.5f", got, want)
	}
}

// Of objects in sequence none is left out, also where 0 h lies between them; one that
// is put elsewhere is, alone.
func TestOutOfSequence(t *testing.T) {
	objects := map[number]object{}
	for i := range 400 {
		objects[number{n: 1 + i}] = object{ra: math.Mod(1+float64(i)*0.9, 360), dec: float64(i%90) - 45}
		objects[number{ic: true, n: firstOfIC + 3*i}] = object{ra: math.Mod(1+float64(i)*0.9, 360), dec: -20}
	}
	if out := outOfSequence(objects); len(out) != 0 {
		t.Fatalf("in sequence, but left out: %v", out)
	}
	wrong := number{n: 200}
	o := objects[wrong]
	o.ra += 11
	objects[wrong] = o
	if out := outOfSequence(objects); len(out) != 1 || out[0].number != wrong {
		t.Errorf("left out: %v, want N200 alone", out)
	}
}

func TestRead(t *testing.T) {
	if x, err := sexagesimal("-00 30 36"); err != nil || math.Abs(x+0.51) > 1e-9 {
		t.Errorf("%v, %v", x, err)
	}
	for s, want := range map[string]string{"NGC 253": "N253", "IC 434": "I434"} {
		if n, ok := numberOf(s); !ok || n.String() != want {
			t.Errorf("%s: %v, %v", s, n, ok)
		}
	}
	for _, s := range []string{"PGC 12", "NGC", "NGC 4486A"} {
		if n, ok := numberOf(s); ok {
			t.Errorf("%s: %v", s, n)
		}
	}
	if n, err := mend(map[number]object{}); err == nil {
		t.Errorf("names of objects that are not there: %d mended", n)
	}
}
