package main

import (
	"flag"
	"strconv"
	"testing"

	"pintle/solve"
)

// Fields that failed once, by their number under the seed, with what was wrong.
// Those that were mended must be solved; the others must at least not be solved
// wrongly. All have as many false spots as stars.
var failures = []struct {
	number int
	mended bool
	long   bool // takes long, because a sweep comes to it late or not at all
	cause  string
}{
	{42, true, false, "14 of 28 stars of 1.5 degrees: none of their patterns among star and 5 nearest neighbours; now 6, over squares as large as a frame"},
	{170, true, true, "25 of 50 stars, distortion 5.7 %: the patterns need neighbours farther down the list than were tried"},
	{490, true, false, "15 of 30 stars of 0.9 degrees: the densest level had too few patterns"},
	{581, true, true, "21 of 42 stars of 0.8 degrees, distortion -6 %: as 490"},
	{1535, true, false, "14 of 28 stars of 4.1 degrees, distortion -5.1 %: solved with the lens bent to +6 % by one false pair far out, 24 px off in the corners"},
	{1122, true, false, "10 of 20 stars of 12 degrees, 16 missing: found, but the odds from the pattern's own pair fell short; now weighed from wider pairs, too"},
	{341, true, true, "41 of 82 stars, 62 missing, distortion -5.6 %: as 1122"},
	{1976, true, false, "11 of 22 stars of 23 degrees, 24 missing: no pattern of the seen stars is in the index; now a sweep"},
	{137, true, true, "13 of 26 stars, 20 missing: found by the sweep, but weighed only with the brightest stars; now with as many as may hide behind gaps and false spots"},
	{236, true, false, "10 of 20 stars of 51 degrees, 21 missing: as 137"},
	{927, true, true, "10 of 20 stars of 2.3 degrees, 17 missing: as 137"},
	{1036, true, true, "12 of 24 stars of 3.3 degrees where the sky is poor: weighed with 16 of 29 stars, because the average sky has as many to that magnitude"},
	{5606, true, true, "12 of 24 stars of 1.4 degrees: as 1036"},
	{803, true, true, "14 of 28 stars of 0.7 degrees in the Milky Way: 4 of them are on the densest level; now more stars of a window take part in a sweep"},
	{2934, true, true, "15 of 30 stars of 2.1 degrees, 24 missing: as 803"},
	{4880, true, true, "10 of 20 stars of 20 degrees, 34 missing: found, but its odds fell short, because the chances were counted over all bands and once more for each stage"},
	{1171, true, true, "23 of 46 stars of 0.6 degrees in the Milky Way: few of them are on the densest level; now a finer one is made of the list"},
	{4532, true, true, "18 of 36 stars of 1.2 degrees, 31 missing: no pair of the lengths that a sweep looked at had two others of its level beside it; now more lengths"},
	{1946, true, false, "6 of 12 stars of 52 degrees: as 4532"},
	{1685, true, true, "7 of 14 stars of 2.5 degrees: as 4532"},
	{2317, true, true, "6 of 12 stars of 4.4 degrees, 28 missing: found, but the 20 stars with which it was refined hold too few of them"},
	{4960, true, true, "17 of 34 stars of 1 degree, 28 missing: solved once, lost when a sweep looked at each length of pairs once; now at longer ones, too, on the narrowest level"},
	{8648, true, true, "12 of 24 stars of 0.7 degrees, 20 missing: as 4960"},
	{795, false, true, "10 of 20 stars of 0.6 degrees, noise 0.95 px: the densest level has only three pairs of them, none with two other stars beside it"},
	{1173, false, true, "21 of 42 stars of 0.9 degrees in the Milky Way, 26 missing: few of them are on the densest level, and the finer one does not help"},
	{8013, false, true, "10 of 20 stars of 0.6 degrees, noise 0.89 px: its pairs are never proposed; the best proposal, with odds of -2, is of another place"},
	{6163, false, true, "51 of 102 stars of 0.8 degrees: as 5449, and not tried with a sweep"},
	{5449, false, true, "74 of 148 stars of 3.6 degrees, noise 0.98 px: no pattern is in the index, and there are too many points for a sweep, which would find it"},
}

// long asks for the tests that take minutes:
//
//	go test ./cmd/proof -long -timeout 30m
var long = flag.Bool("long", false, "run the tests that take minutes, too")

func TestFieldsThatFailed(t *testing.T) {
	if testing.Short() {
		t.Skip("needs the whole index")
	}
	lib, err := openIndex("")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { lib.Close() })
	tr := trial{solver: &solve.Solver{Library: lib, Workers: 1}, seed: defaultSeed}
	for _, f := range failures {
		if f.long && !*long {
			continue
		}
		t.Run(strconv.Itoa(f.number), func(t *testing.T) {
			t.Parallel()
			o := tr.try(f.number)
			switch {
			case o.wrong:
				t.Errorf("seed %d, field %d is solved wrongly, %.3f of the frame off (%s)", tr.seed, f.number, o.apart/o.field.diagonal, f.cause)
			case f.mended && !o.solved:
				t.Errorf("seed %d, field %d fails again (%s)", tr.seed, f.number, f.cause)
			case !f.mended && o.solved:
				t.Logf("field %d is solved now (%s)", f.number, f.cause)
			}
		})
	}
}

// Fisheyes that were solved wrongly once. Number 45, 76 of 152 stars of 106 degrees,
// was found by the 19 in the middle and bent by one false pair far out, 3 % of the frame
// off in its corners. Now lenses are learnt outward, and must be borne by stars all the
// way. Number 2917, 13 of 26 stars of 159 degrees, was found by four true ones around the
// middle alone, 2.5 % off in its corners. Now a lens is not learnt from so few. Number
// 2966, 67 of 134 stars, was not found: too crowded for what came after two passes.
func TestWideFieldsThatFailed(t *testing.T) {
	if testing.Short() {
		t.Skip("needs the whole index")
	}
	lib, err := openIndex("")
	if err != nil {
		t.Fatal(err)
	}
	defer lib.Close()
	tr := trial{solver: &solve.Solver{Library: lib, Workers: 1}, seed: defaultSeed, lens: "fisheye"}
	fields := []int{45, 2917}
	if *long {
		fields = append(fields, 2966)
	}
	for _, n := range fields {
		if o := tr.try(n); !o.solved {
			t.Errorf("seed %d, fisheye %d: solved %v, wrong %v, %.3f of the frame off", tr.seed, n, o.solved, o.wrong, o.apart/o.field.diagonal)
		}
	}
}
