package solve

import "testing"

// Every pattern is looked up in every band once, bright ones in all bands before many
// others in any, and the more patterns there are, the fewer times a band is come back to.
func TestBites(t *testing.T) {
	const bands = 5
	if later := bites(5000, bands, 512); later[0].band != 0 || later[31].band != 0 || later[32].band != 1 {
		t.Errorf("the first piece of 512 ends with %+v", later[30:33])
	}
	for _, n := range []int{0, 1, 7, 8, 9, 100, 5000} {
		seen := make([][bands]int, n)
		visits, last, highest := 0, -1, 0
		for _, b := range bites(n, bands, firstBite) {
			if b.from >= b.to {
				t.Fatalf("%d patterns: empty piece %+v", n, b)
			}
			if b.band != last {
				visits, last = visits+1, b.band
			}
			for i := b.from; i < b.to; i++ {
				seen[i][b.band]++
			}
			if b.from < 8 && highest > 8 {
				t.Errorf("%d patterns: one of the first 8 comes behind number %d", n, highest)
			}
			highest = max(highest, b.to)
		}
		for i, times := range seen {
			if times != [bands]int{1, 1, 1, 1, 1} {
				t.Fatalf("%d patterns: number %d is looked up %v times in the bands", n, i, times)
			}
		}
		if n == 5000 && visits > 7*bands {
			t.Errorf("%d patterns: bands are changed %d times", n, visits)
		}
	}
}

// Of many points fewer of a window's stars are paired, never more.
func TestChoiceShrinks(t *testing.T) {
	before := choose(0)
	for n := fewestToSweep; n <= mostToSweep; n++ {
		c := choose(n)
		if c.from > n || c.paired > before.paired || c.points > n && c.points > before.points || c.points < 12 {
			t.Errorf("%d points: %+v after %+v", n, c, before)
		}
		before = c
	}
}
