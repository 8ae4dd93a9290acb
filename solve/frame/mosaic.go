package frame

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Mosaics are named by the colours of the first two pixels of the first row
// and of the second.
var mosaics = []string{"RGGB", "BGGR", "GRBG", "GBRG"}

// unnamed is the mosaic of a picture in which one is evident and not named.
const unnamed = "????"

// setMosaic names the colour mosaic of a FITS picture: BAYERPAT, shifted by
// XBAYROFF and YBAYROFF, or "????" when none is named but evident.
//
// Whether BAYERPAT describes the rows from the top or as stored is a matter of
// the writer, also where ROWORDER says which row is stored first, and a crop
// may shift it without saying so. Where the levels of the picture show on which
// diagonal the green pixels lie, and that is not where the header has them, the
// rows of the pattern are swapped, with a note.
func setMosaic(c cards, fr *Frame) {
	im := &fr.Image
	name := ""
	for _, k := range []string{"BAYERPAT", "BAYRPAT", "COLORTYP", "CFAPAT"} {
		s, _ := c.Text(k)
		if s = strings.ToUpper(s); slices.Contains(mosaics, s) {
			name = s
			break
		}
	}
	if name == "" {
		im.Mosaic = evident(im)
		return
	}
	name = shifted(name, offset(c, "XBAYROFF"), offset(c, "YBAYROFF"))
	im.Mosaic = name
	if d := greens(im); d != 0 && d != diagonal(name) {
		im.Mosaic = shifted(name, 0, 1)
		fr.note(fmt.Sprintf("the header names the mosaic %s, the levels of the picture say %s", name, im.Mosaic))
	}
}

func offset(c cards, key string) int {
	v, _ := c.Number(key)
	return int(math.Mod(v, 2))
}

// shifted returns the pattern seen from a pixel dx to the right and dy below.
func shifted(name string, dx, dy int) string {
	var b [4]byte
	for i := range b {
		x, y := (i+dx)&1, (i>>1+dy)&1
		b[i] = name[2*y+x]
	}
	return string(b[:])
}

// diagonal returns 1 when the green pixels include the first pixel, else 2.
func diagonal(name string) int {
	if name[0] == 'G' {
		return 1
	}
	return 2
}

// evident returns "????" when a picture shows a mosaic, else "".
func evident(im *Image) string {
	if greens(im) != 0 {
		return unnamed
	}
	return ""
}

// Limits of what is taken for a mosaic: the levels must differ by more than
// this share of the noise of a pixel and by so many standard errors, and the
// two green levels by less than this share of that (no source).
const (
	mosaicShare = 0.2
	mosaicSigma = 8
	greenShare  = 0.3
	mosaicCells = 20_000
)

// greens returns on which diagonal of 2 x 2 cells two levels are alike while
// the other two are not both like them: 1 with the first pixel, 2 without, 0
// when there is no such pattern. Rows or columns of unequal level, as some
// sensors without a mosaic have, show no such diagonal.
//
// Each level is the middle half's mean of a pixel's difference from the mean of
// its cell, over cells spread over the picture, so that stars and gradients
// drop out.
func greens(im *Image) int {
	if im.W < 8 || im.H < 8 {
		return 0
	}
	var level, noise [4]float64
	diff := cellDifferences(im)
	for k := range diff {
		level[k], noise[k] = middle(diff[k])
	}
	n := math.Sqrt(float64(len(diff[0])))
	sigma := max(noise[0], noise[1], noise[2], noise[3])
	spread := max(level[0], level[1], level[2], level[3]) - min(level[0], level[1], level[2], level[3])
	if spread <= mosaicShare*sigma || spread <= mosaicSigma*sigma/n {
		return 0
	}
	one := math.Abs(level[0]-level[3]) < greenShare*spread
	two := math.Abs(level[1]-level[2]) < greenShare*spread
	switch {
	case one && two: // a chequer: red and blue alike, green brighter
		if level[0]+level[3] > level[1]+level[2] {
			return 1
		}
		return 2
	case one:
		return 1
	case two:
		return 2
	}
	return 0
}

// cellDifferences returns, for each of the four places in a 2 x 2 cell, the
// differences from the cell's mean.
func cellDifferences(im *Image) [4][]float64 {
	var out [4][]float64
	across, down := im.W/2, im.H/2
	step := max(1, across*down/mosaicCells)
	step |= 1 // odd, so that it does not stay in step with the rows
	for k := range out {
		out[k] = make([]float64, 0, across*down/step+1)
	}
	for i := 0; i < across*down; i += step {
		at := 2*(i/across)*im.W + 2*(i%across)
		v := [4]float64{float64(im.at(at)), float64(im.at(at + 1)), float64(im.at(at + im.W)), float64(im.at(at + im.W + 1))}
		mean := (v[0] + v[1] + v[2] + v[3]) / 4
		for k := range v {
			out[k] = append(out[k], v[k]-mean)
		}
	}
	return out
}

// middle returns the mean of the middle half of v, and the standard deviation
// that a normal distribution with the same middle half has.
func middle(v []float64) (mean, sigma float64) {
	slices.Sort(v)
	lo, hi := len(v)/4, len(v)-len(v)/4
	for _, x := range v[lo:hi] {
		mean += x
	}
	return mean / float64(hi-lo), (v[hi-1] - v[lo]) / 1.349
}
