package stars

import "math"

// A tally is what a Builder must know of all its stars before it can write the
// first one: how they are distributed in magnitude, motion and error.
type tally struct {
	mags                [magBins]uint64            // by V, tenths of a magnitude
	speeds              [magBins][speedBins]uint32 // components of proper motion, by V
	errors              [errorBins]uint64          // variance at the records' epoch where it moves
	brightest, faintest int                        // thousandths
	total               uint64
}

const (
	magBins   = 2 * maxV / 100
	speedBins = 128  // 10 % wide, from 0.1 mas/yr
	errorBins = 1100 // 0.02 in the logarithm to base 10, from 1e-25
)

func magBin(thousandths int) int { return (thousandths + maxV) / 100 }

func (t *tally) add(it *item) {
	v := it.v()
	if t.total == 0 {
		t.brightest, t.faintest = v, v
	}
	t.total++
	t.brightest, t.faintest = min(t.brightest, v), max(t.faintest, v)
	bin := min(magBin(v), magBins-1)
	t.mags[bin]++
	if !it.moves() {
		return
	}
	for _, m := range [2]float32{it.mx, it.my} {
		n := math.Log(math.Abs(float64(m))/0.1) / math.Log(1.1)
		t.speeds[bin][int(min(max(n, 0), speedBins-1))]++
	}
	n := (math.Log10(it.variance(0).A) + 25) / 0.02
	t.errors[int(min(max(n, 0), errorBins-1))]++
}

// layerShares are the shares of all stars that are brighter than the ends of
// the layers: those of layerEnds in the embedded list.
var layerShares = [layers - 1]float64{0.0034, 0.030, 0.14, 0.37}

// layers returns the layers, without counts, and their faint ends in
// thousandths of a magnitude.
func (t *tally) layers() (out [layers]layer, ends [layers]int) {
	bin, below := 0, uint64(0)
	for k, share := range layerShares {
		for bin < magBins && float64(below) < share*float64(t.total) {
			below += t.mags[bin]
			bin++
		}
		ends[k] = max(bin*100-maxV, t.brightest)
	}
	ends[layers-1] = t.faintest + 1
	first := t.brightest
	for k := range out {
		out[k] = layer{V0: int32(first), Step: max(1, int32(math.Ceil(float64(ends[k]-first)/255)))}
		first = max(first, ends[k])
	}
	return out, ends
}

// spread is motionSpread, for the layers with these ends.
func (t *tally) spread(ends [layers]int) (spread [layers]float64) {
	first := 0
	for k, end := range ends {
		last := min(magBin(end-1), magBins-1)
		var sum [speedBins]uint64
		for ; first <= last; first++ {
			for i, n := range t.speeds[first] {
				sum[i] += uint64(n)
			}
		}
		spread[k] = spreadUnknown
		if i := quantile(sum[:], 0.954); i >= 0 {
			spread[k] = 0.1 * math.Pow(1.1, float64(i)+0.5) / 2
		}
	}
	return spread
}

// classEnds returns the logarithms of the variances between which the classes
// of error lie.
func (t *tally) classEnds() (lo, hi float64) {
	at := func(share float64) float64 {
		i := quantile(t.errors[:], share)
		return ((float64(i)+0.5)*0.02 - 25) * math.Ln10
	}
	return at(0.002), at(0.98)
}

// quantile returns the bin below which the share of a histogram lies, -1 when
// it is empty.
func quantile(bins []uint64, share float64) int {
	total := uint64(0)
	for _, n := range bins {
		total += n
	}
	below := uint64(0)
	for i, n := range bins {
		if below += n; n > 0 && float64(below) >= share*float64(total) {
			return i
		}
	}
	return -1
}
