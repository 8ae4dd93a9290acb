package main

import (
	"cmp"
	_ "embed"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
)

//go:embed mended.csv
var mendedText string

//go:embed names.csv
var namesText string

// number is NGC 253 or IC 434.
type number struct {
	ic bool
	n  int
}

func (n number) String() string {
	if n.ic {
		return "I" + strconv.Itoa(n.n)
	}
	return "N" + strconv.Itoa(n.n)
}

func (n number) compare(m number) int {
	if n.ic != m.ic {
		if n.ic {
			return 1
		}
		return -1
	}
	return cmp.Compare(n.n, m.n)
}

// numberOf reads "NGC 253" and "IC 434".
func numberOf(s string) (n number, ok bool) {
	list, digits, _ := strings.Cut(s, " ")
	k, err := strconv.Atoi(digits)
	return number{list == "IC", k}, err == nil && (list == "IC" || list == "NGC")
}

type object struct {
	ra, dec float64 // degrees, J2000, right ascension from 0 to 360
	kind    string  // a letter, see kinds
	messier string  // number or ""
	name    string
}

// kinds are the letters of the types of the catalogue.
var kinds = map[string]string{
	"s": "g", "s0": "g", "e": "g", "i": "g", "g": "g", "sd": "g", // galaxies
	"oc": "o", "gc": "c", "pn": "p", "bn": "n", "rn": "n", "en": "n", "sfr": "n", "snr": "s",
}

// readCatalogue reads the objects that have a number from dsos.20.json.
func readCatalogue(file string) (map[number]object, error) {
	var list struct {
		Features []struct {
			ID         string
			Properties struct{ Desig, Type string }
			Geometry   struct{ Coordinates [2]float64 }
		}
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(b, &list); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	out := map[number]object{}
	for _, f := range list.Features {
		n, ok := numberOf(f.ID)
		if !ok {
			continue
		}
		kind, known := kinds[f.Properties.Type]
		if _, twice := out[n]; twice || !known {
			return nil, fmt.Errorf("%s: twice, or of a type that is not known: %q", f.ID, f.Properties.Type)
		}
		c := f.Geometry.Coordinates
		o := object{ra: math.Mod(c[0]+360, 360), dec: c[1], kind: kind}
		if m, ok := strings.CutPrefix(f.Properties.Desig, "M "); ok {
			o.messier = m
		}
		out[n] = o
	}
	return out, nil
}

// mend puts in what mended.csv and names.csv say, and counts the rows of the first.
func mend(objects map[number]object) (count int, err error) {
	rows, err := table(mendedText, 5)
	if err != nil {
		return 0, fmt.Errorf("mended.csv: %w", err)
	}
	for _, f := range rows {
		n, ok := numberOf(f[0])
		ra, err1 := sexagesimal(f[1])
		dec, err2 := sexagesimal(f[2])
		if !ok || err1 != nil || err2 != nil {
			return 0, fmt.Errorf("mended.csv: %v", f)
		}
		objects[n] = object{ra: ra * 15, dec: dec, kind: f[3], messier: f[4]}
	}
	names, err := table(namesText, 2)
	if err != nil {
		return 0, fmt.Errorf("names.csv: %w", err)
	}
	for _, f := range names {
		n, _ := numberOf(f[0])
		o, ok := objects[n]
		if !ok {
			return 0, fmt.Errorf("names.csv: no object %s", f[0])
		}
		o.name = f[1]
		objects[n] = o
	}
	return len(rows), nil
}

// table reads rows of values between commas, # before a remark.
func table(text string, columns int) ([][]string, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment, r.FieldsPerRecord = '#', columns
	return r.ReadAll()
}

// sexagesimal reads three numbers with a sign before all of them.
func sexagesimal(s string) (float64, error) {
	var a, b, c float64
	if _, err := fmt.Sscan(strings.TrimLeft(s, "+-"), &a, &b, &c); err != nil {
		return 0, err
	}
	x := a + b/60 + c/3600
	if strings.HasPrefix(s, "-") {
		x = -x
	}
	return x, nil
}
