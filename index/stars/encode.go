package stars

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// zonesMade is the number of zones of the grids Encode makes: cells of 0.75
// degrees, steps of place of 0.045 arcsec.
const zonesMade = 240

// layerEnds are the faint ends of the layers, which let a search skip what is
// too faint for it. On average a cell has 0.1, 0.9, 3.8, 8 and 22 stars of the
// five layers; more layers make small cones slower, by touching more memory.
var layerEnds = [layers]float64{6.5, 8.5, 10, 11, math.Inf(1)}

// Entry is a star as a catalogue states it.
type Entry struct {
	Pos   sphere.Sky // ICRS, at Epoch
	Epoch float64    // Julian year
	// PM is the proper motion toward east (mu alpha cos delta) and north in
	// mas/yr, NaN when unknown.
	PM [2]float64
	// V and BV are Johnson magnitude and colour; BV is NaN when unknown.
	V, BV float64
	// Err tells the standard errors of right ascension (times cos delta) and
	// of declination.
	Err [2]EntryError
}

// EntryError is the standard error of a coordinate: Place in mas at the mean
// epoch At (Julian year), and Motion in mas/yr, not used when the proper
// motion is unknown.
type EntryError struct{ Place, At, Motion float64 }

func (e *Entry) moves() bool { return !math.IsNaN(e.PM[0]) && !math.IsNaN(e.PM[1]) }

// variance returns the mean variance of the two coordinates; spread stands in
// for the error of a proper motion taken to be 0.
func (e *Entry) variance(spread float64) variance {
	var v variance
	for _, c := range e.Err {
		place, motion, t := c.Place*mas, c.Motion*mas, epoch-c.At
		if !e.moves() {
			motion = spread * mas
		}
		m2 := motion * motion
		v.A += (place*place + m2*t*t) / 2
		v.B += m2 * t
		v.C += m2 / 2
	}
	return v
}

// At returns the direction of the star at an epoch (Julian year), for straight
// motion in space; where the proper motion is unknown, that of Epoch.
func (e *Entry) At(epoch float64) sphere.Sky {
	p, _ := e.at(epoch)
	return sphere.SkyVec(p)
}

// draft is a star on its way into the list.
type draft struct {
	layer, cell int
	v           float64
	record      record
	fast        fastStar // used when the record says so
	moves       bool
	variance    variance
}

// Encode packs entries into a list for Open. The same entries in the same
// order give the same bytes.
func Encode(entries []Entry) ([]byte, error) { return encode(entries, zonesMade) }

func encode(entries []Entry, zones int) ([]byte, error) {
	g := newGrid(zones)
	h := newHeader(zones)
	h.Stars = uint32(len(entries))
	spread := motionSpread(entries)
	drafts := make([]draft, len(entries))
	for i := range entries {
		d, err := newDraft(&g, &entries[i], &spread)
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", i, err)
		}
		drafts[i] = d
	}
	slices.SortStableFunc(drafts, func(a, b draft) int {
		return cmp.Or(cmp.Compare(a.layer, b.layer), cmp.Compare(a.cell, b.cell), cmp.Compare(a.v, b.v))
	})
	setMagnitudes(&h, drafts)
	setClasses(&h, drafts, g.step)
	return write(&h, &g, drafts)
}

func newHeader(zones int) header {
	h := header{Version: version, Epoch: epoch, MaxPM: slowest, Zones: uint32(zones)}
	copy(h.Magic[:], magic)
	h.Size = uint32(binary.Size(h))
	return h
}

func layerOf(v float64) int {
	return slices.IndexFunc(layerEnds[:], func(end float64) bool { return v < end })
}

// spreadUnknown is, in mas/yr, for a layer without stars to learn from (no source).
const spreadUnknown = 30

// motionSpread returns, for each layer, half the value not exceeded by 95.4 % of
// the components of proper motion, two standard deviations if they were Gaussian
// (the tail is longer): the error of taking one to be 0.
func motionSpread(entries []Entry) (spread [layers]float64) {
	var pm [layers][]float64
	for i := range entries {
		if e := &entries[i]; e.moves() && !math.IsNaN(e.V) {
			k := layerOf(e.V)
			pm[k] = append(pm[k], math.Abs(e.PM[0]), math.Abs(e.PM[1]))
		}
	}
	for k, c := range pm {
		spread[k] = spreadUnknown
		if len(c) > 0 {
			slices.Sort(c)
			spread[k] = c[len(c)*954/1000] / 2
		}
	}
	return spread
}

// check tests magnitude and motion against the limits of the format.
func (e *Entry) check() error {
	if !(math.Abs(e.V) < maxV/1000) {
		return fmt.Errorf("magnitude V %v, want within %d", e.V, maxV/1000)
	}
	if e.moves() && !(math.Hypot(e.PM[0], e.PM[1]) < fastest) {
		return fmt.Errorf("proper motion %v mas/yr, want below %v", e.PM, fastest)
	}
	return nil
}

func checkErrors(e *Entry, v variance) error {
	if !(v.A >= 0 && v.A < maxVariance && v.C < maxVariance) {
		return fmt.Errorf("errors %v, too large or not numbers", e.Err)
	}
	return nil
}

func newDraft(g *grid, e *Entry, spread *[layers]float64) (draft, error) {
	if err := e.check(); err != nil {
		return draft{}, err
	}
	d := draft{layer: layerOf(e.V), v: e.V, moves: e.moves()}
	d.variance = e.variance(spread[d.layer])
	if err := checkErrors(e, d.variance); err != nil {
		return draft{}, err
	}
	p, motion := e.at(epoch)
	zone, segment := g.find(sphere.SkyVec(p).RADec())
	z := &g.zones[zone]
	d.cell = z.first + segment
	a := z.axes(segment)
	x, okX := placeCode(r3.Dot(p, a.east) / g.step)
	y, okY := placeCode(r3.Dot(p, a.north) / g.step)
	if !okX || !okY {
		return draft{}, fmt.Errorf("place %v is not in its cell", p)
	}
	east, north := math.NaN(), math.NaN()
	if d.moves {
		east, north = r3.Dot(motion, a.east)/mas, r3.Dot(motion, a.north)/mas
	}
	var mx, my int8
	mx, my, d.fast = motionCode(east, north)
	d.record = newRecord(x, y, mx, my, 0, colourCode(e.BV), 0)
	return d, nil
}

// motionCode packs a proper motion along the axes of a cell, in mas/yr or NaN;
// fast is for a star that the code says is in the table of fast stars.
func motionCode(east, north float64) (mx, my int8, fast fastStar) {
	switch {
	case math.IsNaN(east) || math.IsNaN(north):
		return motionSign, motionNone, fast
	case max(math.Abs(east), math.Abs(north)) < motionMax+0.5:
		return int8(math.Round(east)), int8(math.Round(north)), fast
	}
	return motionSign, motionFast, fastStar{X: int32(math.Round(east * 10)), Y: int32(math.Round(north * 10))}
}

// at returns the direction of the star and its change per year at an epoch,
// for straight motion in space at right angles to the line of sight of Epoch.
func (e *Entry) at(to float64) (p, motion r3.Vec) {
	p = e.Pos.Vec()
	if !e.moves() {
		return p, r3.Vec{}
	}
	east, north := e.Pos.Axes()
	m := r3.Add(r3.Scale(e.PM[0]*mas, east), r3.Scale(e.PM[1]*mas, north))
	p = r3.Add(p, r3.Scale(to-e.Epoch, m))
	length := r3.Norm(p)
	p = r3.Scale(1/length, p)
	motion = r3.Scale(1/length, r3.Sub(m, r3.Scale(r3.Dot(m, p), p)))
	return p, motion
}

// placeCode rounds a coordinate in steps to its code.
func placeCode(steps float64) (code uint16, ok bool) {
	n := math.Round(steps) + placeCentre
	return uint16(n), n >= 0 && n < 1<<placeBits
}

// setMagnitudes chooses each layer's scale of V and completes the records.
func setMagnitudes(h *header, drafts []draft) {
	last := int32(-maxV)
	for k, rest := 0, drafts; k < layers; k++ {
		n := slices.IndexFunc(rest, func(d draft) bool { return d.layer != k })
		if n < 0 {
			n = len(rest)
		}
		y := layer{Count: uint32(n), V0: last, Step: 1}
		if n > 0 {
			lo, hi := rest[0].v, rest[0].v
			for _, d := range rest[:n] {
				lo, hi = min(lo, d.v), max(hi, d.v)
			}
			y.V0 = int32(math.Floor(lo * 1000))
			y.Step = max(1, int32(math.Ceil((hi*1000-float64(y.V0))/255)))
		}
		for i := range rest[:n] {
			code := math.Round((rest[i].v*1000 - float64(y.V0)) / float64(y.Step))
			rest[i].record |= record(code) << 48
		}
		h.Layers[k], last, rest = y, y.V0, rest[n:]
	}
}

// setClasses sorts the stars into classes of error.
func setClasses(h *header, drafts []draft, step float64) {
	classOf := classifier(drafts)
	var sums [len(h.Var)][classes]classSum
	for i := range drafts {
		d := &drafts[i]
		kind, class := classOf(d)
		d.record |= record(class) << 61
		sums[kind][class].add(d.variance)
	}
	for kind := range sums {
		for class := range sums[kind] {
			h.Var[kind][class] = sums[kind][class].mean(step)
		}
	}
}

// classifier returns a function that tells kind and class of a star. Where the
// proper motion is known, the classes are equal steps in the logarithm of the
// error at the records' epoch between its values at 0.2 and at 98 % of the
// stars; otherwise the layers, for the unknown motion outweighs all else.
func classifier(drafts []draft) func(*draft) (kind, class int) {
	var a []float64
	for i := range drafts {
		if drafts[i].moves {
			a = append(a, drafts[i].variance.A)
		}
	}
	slices.Sort(a)
	lo, hi := 0.0, 0.0
	if n := len(a); n > 0 {
		lo, hi = math.Log(a[n/500]), math.Log(a[n*98/100])
	}
	return func(d *draft) (kind, class int) {
		if !d.moves {
			return 1, d.layer
		}
		return 0, classOf(d.variance.A, lo, hi)
	}
}

// classOf is the step in which the logarithm of a variance is between lo and hi.
func classOf(a, lo, hi float64) int {
	if !(hi > lo) {
		return 0
	}
	return int(min(max((math.Log(a)-lo)/(hi-lo)*classes, 0), classes-1))
}

func write(h *header, g *grid, drafts []draft) ([]byte, error) {
	var rows [layers][]uint32 // of each layer, the first star of each cell
	var records, fast []byte
	id := 0
	for k := range rows {
		rows[k] = make([]uint32, g.cells+1)
		for c := range rows[k] {
			for id < len(drafts) && drafts[id].layer == k && drafts[id].cell < c {
				id++
			}
			rows[k][c] = uint32(id)
		}
	}
	le := binary.LittleEndian
	for id, d := range drafts {
		records = le.AppendUint64(records, uint64(d.record))
		if d.moves && d.record.motionX() == motionSign {
			h.Fast++
			d.fast.ID = uint32(id)
			h.MaxPM = max(h.MaxPM, d.fast.speed())
			fast = d.fast.put(fast)
		}
	}
	var out bytes.Buffer
	if err := binary.Write(&out, le, h); err != nil {
		return nil, err
	}
	data := out.Bytes()
	for c := range g.cells + 1 {
		for k := range rows {
			data = le.AppendUint32(data, rows[k][c])
		}
	}
	data = append(append(data, records...), fast...)
	sum := sha256.Sum256(data[summed:])
	copy(data[sumOffset:], sum[:])
	return data, nil
}
