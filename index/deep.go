package index

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// deepNumber is the number of the narrowest band of a deeper list.
const deepNumber = 10

var deepBands = makeDeepBands()

// makeDeepBands lays out bands of one level each, for frames of 0.12 degrees
// diagonal and up, each with half as many stars as the one before. Together
// with the embedded list's they make one series of levels.
func makeDeepBands() (all []Band) {
	square := 0.5 * sphere.Degree / sphere.Angle(math.Pow(2, 2))
	for i, cells := range []int{48, 40, 32, 32} {
		all = append(all, Band{
			Number: deepNumber + i, Min: narrowest * square, Max: widest * square,
			cells: cells, levels: []level{{square, 6}}, first: i == 0,
		})
		square *= math.Sqrt2
	}
	return all
}

// DeepBands returns the bands for a list that is deeper than the embedded one,
// narrowest first: for frames from 0.12 to about 1 degree.
func DeepBands() []Band { return append([]Band(nil), deepBands...) }

// fewestStars is the mean number of stars in a square below which a level is of
// no use: the stars of a frame are then too few to be told from chance (no source,
// chosen on made-up fields).
const fewestStars = 5

// Serves tells for which of the deep bands a list has enough stars: the mean
// number of stars in a square, of those that have any, is at least 5. The list
// may hold only a part of the sky. It reads the list once.
func Serves(list *stars.List) (good, poor []Band) {
	if list.Len() == 0 {
		return nil, DeepBands()
	}
	grids := make([]squares, len(deepBands))
	seen := make([][]uint64, len(deepBands))
	used := make([]int, len(deepBands))
	for i, b := range deepBands {
		grids[i] = makeSquares(b.levels[0].square)
		seen[i] = make([]uint64, grids[i].total()/64+1)
	}
	list.Each(math.Inf(1), Epoch, func(s stars.Star) bool {
		v := s.Pos.Vec()
		for i, g := range grids {
			k := g.cell(v)
			if seen[i][k/64]&(1<<(k%64)) == 0 {
				seen[i][k/64] |= 1 << (k % 64)
				used[i]++
			}
		}
		return true
	})
	for i, b := range DeepBands() {
		if float64(list.Len()) < fewestStars*float64(used[i]) {
			poor = append(poor, b)
		} else {
			good = append(good, b)
		}
	}
	return good, poor
}

// A deeper list and its bands stand in a folder of their own within that of the
// index, deep/1 or the like; the file deep/current names the one that counts. Who
// puts another in its place writes that file last, in one step, so that list and
// bands change together or not at all.

// DeepRoot is the folder of all of them.
func DeepRoot(dir string) string { return filepath.Join(dir, "deep") }

// DeepCurrent is the file that names the one that counts.
func DeepCurrent(dir string) string { return filepath.Join(DeepRoot(dir), "current") }

// DeepFolder returns the folder of the deeper list of an index and of its bands:
// the root itself when nothing is named, where earlier versions had them.
func DeepFolder(dir string) string {
	b, err := os.ReadFile(DeepCurrent(dir))
	name := strings.TrimSpace(string(b))
	if _, bad := strconv.ParseUint(name, 10, 31); err != nil || bad != nil {
		return DeepRoot(dir)
	}
	return filepath.Join(DeepRoot(dir), name)
}

// DeepList returns the file of the list in such a folder.
func DeepList(folder string) string { return filepath.Join(folder, "stars") }
