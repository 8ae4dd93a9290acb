package axis

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/lsq"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// evidence is what the shapes of the frames say of where the zenith was.
//
// A wrong site or clock turns the local sky as a whole, mount and camera with it,
// and no picture shows that. But the air lifts the stars toward the zenith, by an
// amount that grows with the distance from it, and so every frame is squeezed
// along its vertical. A stance moves the stars on the pixels of all frames; what
// of that the attitudes, the lens, the air's strength and small errors of the
// site can take up is taken off by least squares, and the rest is the stance's
// sum of squares.
//
// Whatever the optics do alike in all frames is left to a free distortion, so
// that only changes from frame to frame tell: a lens bent out of true says
// nothing. Stars are averaged over cells, because what is wrong with them is
// seldom wrong with each alone.
type evidence struct {
	lat    sphere.Angle // told
	frames []shape
	cells  int
	params int
	rows   []float64 // the design, params numbers for x and for y of every cell
	resid  []float64 // measured less predicted as told, over the standard error
	sigma  []float64 // of every row
	normal lsq.Normal
	airErr float64
}

// shape is one frame of the evidence.
type shape struct {
	place *place.Place
	att   sphere.Rot // camFromLocal as told
	stars []shapeStar
	first int // its first cell
}

// shapeStar is a star of a frame, at the place told.
type shapeStar struct {
	vacuum, seen r3.Vec // local directions without and with air
	dx, dy       r3.Vec // how its pixel moves with the direction's turn, camera frame
	share        float64
	cell         int
}

// What the frames may differ by, and other standard deviations of nuisances.
// Cells are off by at least smoothPixels and smoothAngle (what the seeing of
// short exposures moves neighbouring stars by), whatever their stars say. No
// source, chosen by simulation on 2026-11-28: see TestDoubtHonestNights.
const (
	evidenceStars  = 300 // of a frame
	evidenceFrames = 8
	cellGrid       = 6 // cells along each side
	smoothPixels   = 0.05
	smoothAngle    = 0.1 * sphere.Arcsecond
	frameScale     = 5e-5 // focus that moves between frames
	frameCentre    = 1.0  // pixels: a lens that sags
	sharedScale    = 0.01
	sharedShear    = 1e-3 // pictures scaled to whole pixels
	sharedDistort  = 3.0  // pixels at the corner, each term
	lightAir       = 0.1  // share of refraction: an elevation left out
	siteNear       = 0.5 * sphere.Degree
	clockNear      = 1.5 * sphere.Degree // 6 minutes
)

// Parameters of a frame: three turns, its own scale and centre. Then those of
// the lens they share: scale, two of shear, and the terms of degree 2 to 5.
const (
	frameParams  = 6
	sharedParams = 3 + 2*18
)

// newEvidence gathers the evidence of the sightings. ok is false when there is
// none: fewer than two frames with stars enough.
func newEvidence(ss []Sighting) (e *evidence, ok bool) {
	f := newFit(thinned(ss))
	if len(f.index) < 2 || f.attitudes() != nil {
		return nil, false
	}
	p := f.sightings[f.index[0]].Place
	e = &evidence{lat: p.Site().Lat, airErr: math.Hypot(lightAir, p.Air().Err)}
	e.params = frameParams*len(f.index) + sharedParams
	for k, i := range f.index {
		e.add(&f.sightings[i], &f.bundle, k, f.own.camFromLocal[k])
	}
	return e, e.factorize()
}

// thinned returns the sightings with no more stars and frames than the evidence
// needs, taken evenly.
func thinned(ss []Sighting) []Sighting {
	some := make([]Sighting, min(len(ss), evidenceFrames))
	for i := range some {
		some[i] = ss[i*len(ss)/len(some)].thinned()
	}
	return some
}

func (s Sighting) thinned() Sighting {
	n := len(s.Matches)
	if n <= evidenceStars {
		return s
	}
	few := make([]Match, evidenceStars)
	for k := range few {
		few[k] = s.Matches[k*n/evidenceStars]
	}
	s.Matches = few
	return s
}

// add takes frame k of the bundle in.
func (e *evidence) add(s *Sighting, b *bundle, k int, att sphere.Rot) {
	fr := shape{place: s.Place, att: att, first: e.cells}
	var images []optics.Image
	var off [][2]float64 // measured less predicted pixel
	var cells cells
	for j := range b.frames[k] {
		st := &b.frames[k][j]
		var im optics.Image
		if st.weight == 0 || !im.Project(&b.lens, att.Apply(st.local)) {
			continue
		}
		c := j
		if len(b.frames[k]) > cellGrid*cellGrid {
			c = cellOf(s, st.x, st.y)
		}
		w := 1 / (st.variance + b.floor[k])
		fr.stars = append(fr.stars, shapeStar{
			vacuum: s.Place.Unrefracted(s.Matches[j].Sky).Vec(), seen: st.local,
			dx: vec3(im.DX[:]), dy: vec3(im.DY[:]), share: w, cell: cells.add(c, w),
		})
		images, off = append(images, im), append(off, [2]float64{st.x - im.X, st.y - im.Y})
	}
	e.extend(cells.weight, math.Hypot(smoothPixels, float64(smoothAngle)*b.lens.F))
	for j := range fr.stars {
		st := &fr.stars[j]
		st.share /= cells.weight[st.cell]
		st.cell += fr.first
		r := 2 * st.cell
		scale := st.share / e.sigma[r]
		e.resid[r] += scale * off[j][0]
		e.resid[r+1] += scale * off[j][1]
		e.design(e.rows[r*e.params:(r+2)*e.params], k, &images[j], &b.lens, scale)
	}
	e.frames = append(e.frames, fr)
}

// cells numbers the cells of a frame in which stars are.
type cells struct {
	number map[int]int
	weight []float64
}

// add adds a star's weight to cell c and returns its number.
func (k *cells) add(c int, weight float64) int {
	n, known := k.number[c]
	if !known {
		if k.number == nil {
			k.number = map[int]int{}
		}
		n = len(k.weight)
		k.number[c], k.weight = n, append(k.weight, 0)
	}
	k.weight[n] += weight
	return n
}

// extend makes room for the cells of a frame, with at least an error in pixels.
func (e *evidence) extend(weight []float64, least float64) {
	e.cells += len(weight)
	e.rows = append(e.rows, make([]float64, 2*len(weight)*e.params)...)
	e.resid = append(e.resid, make([]float64, 2*len(weight))...)
	for _, w := range weight {
		sd := math.Hypot(1/math.Sqrt(w), least)
		e.sigma = append(e.sigma, sd, sd)
	}
}

func cellOf(s *Sighting, x, y float64) int {
	at := func(x float64, n int) int {
		return max(0, min(cellGrid-1, int((x+0.5)/float64(n)*cellGrid)))
	}
	return at(y, s.H)*cellGrid + at(x, s.W)
}

// design adds scale times a star's derivatives to the two rows of its cell.
func (e *evidence) design(rows []float64, k int, im *optics.Image, l *optics.Lens, scale float64) {
	x, y := rows[:e.params], rows[e.params:]
	for a, c := range [frameParams]int{0, 1, 2, 3, 6, 7} {
		x[frameParams*k+a] += scale * im.DX[c]
		y[frameParams*k+a] += scale * im.DY[c]
	}
	p := e.params - sharedParams
	u, v := (im.X-l.CX)/l.Half, (im.Y-l.CY)/l.Half
	both := func(dx, dy float64) {
		x[p] += scale * dx
		y[p] += scale * dy
		p++
	}
	both(im.DX[3], im.DY[3])
	both(u*l.Half, -v*l.Half)
	both(v*l.Half, u*l.Half)
	for deg := 2; deg <= 5; deg++ {
		for i := range deg + 1 {
			t := math.Pow(u, float64(i)) * math.Pow(v, float64(deg-i))
			both(t, 0)
			both(0, t)
		}
	}
}

// priors returns the standard deviations of the design's parameters.
func (e *evidence) priors() (sd []float64) {
	for range e.frames {
		sd = append(sd, 1, 1, 1, frameScale, frameCentre, frameCentre)
	}
	sd = append(sd, sharedScale, sharedShear, sharedShear)
	for len(sd) < e.params {
		sd = append(sd, sharedDistort)
	}
	return sd
}

func (e *evidence) factorize() bool {
	n := mat.NewSymDense(e.params, nil)
	raw := n.RawSymmetric()
	for r := range e.resid {
		row := e.rows[r*e.params : (r+1)*e.params]
		for i, a := range row {
			if a == 0 {
				continue
			}
			to := raw.Data[i*raw.Stride:]
			for j := i; j < e.params; j++ {
				to[j] += a * row[j]
			}
		}
	}
	for i, sd := range e.priors() {
		n.SetSym(i, i, n.At(i, i)+1/(sd*sd))
	}
	return e.normal.Factorize(n)
}

// displacement returns, over the standard errors, how the cells move when the
// stars are seen under a stance instead of as told, and how they move when the
// air is stronger by its whole strength.
func (e *evidence) displacement(s stance, air bool) (moved, lifted []float64) {
	turn := s.fromTold(e.lat)
	back := turn.Inv()
	moved = make([]float64, len(e.resid))
	if air {
		lifted = make([]float64, len(e.resid))
	}
	for i := range e.frames {
		f := &e.frames[i]
		seen := make([]r3.Vec, len(f.stars))
		var mean, shift r3.Vec
		for j := range f.stars {
			st := &f.stars[j]
			seen[j] = back.Apply(f.place.Lifted(sphere.LocalVec(turn.Apply(st.vacuum))).Vec())
			mean = r3.Add(mean, st.seen)
			shift = r3.Add(shift, r3.Sub(seen[j], st.seen))
		}
		// What all stars have in common turns the frame; the rest is small enough
		// to be linear.
		common := r3.Scale(1/r3.Norm2(mean), r3.Cross(mean, shift))
		straight := sphere.TurnVec(r3.Scale(-1, common))
		for j := range f.stars {
			st := &f.stars[j]
			r := 2 * st.cell
			w := r3.Add(common, r3.Cross(st.seen, straight.Apply(seen[j])))
			st.push(moved[r:], f.att.Apply(w), e.sigma[r])
			if air {
				st.push(lifted[r:], f.att.Apply(r3.Cross(st.vacuum, seen[j])), e.sigma[r])
			}
		}
	}
	return moved, lifted
}

// push adds the star's share of its cell's motion when it turns by w.
func (st *shapeStar) push(row []float64, w r3.Vec, sigma float64) {
	row[0] += st.share / sigma * r3.Dot(st.dx, w)
	row[1] += st.share / sigma * r3.Dot(st.dy, w)
}

// left returns the sum of squares that a stance leaves when everything else is
// fitted, the stance's own small errors and the strength of the air too.
func (e *evidence) left(s stance) float64 {
	const h = sphere.Degree
	moved, lifted := e.displacement(s, true)
	later, _ := e.displacement(stance{s.lat, s.late + h}, false)
	north, _ := e.displacement(stance{s.lat + h, s.late}, false)
	rest := make([]float64, len(moved))
	for r := range moved {
		rest[r] = e.resid[r] - moved[r]
		later[r] = (later[r] - moved[r]) / float64(h)
		north[r] = (north[r] - moved[r]) / float64(h)
	}
	own := []field{e.field(lifted), e.field(later), e.field(north)}
	all := e.field(rest)
	n := mat.NewSymDense(len(own), nil)
	b := make([]float64, len(own))
	for i, sd := range []float64{e.airErr, float64(clockNear), float64(siteNear)} {
		for j := range i + 1 {
			n.SetSym(i, j, own[i].across(own[j]))
		}
		n.SetSym(i, i, n.At(i, i)+1/(sd*sd))
		b[i] = all.across(own[i])
	}
	var k lsq.Normal
	if !k.Factorize(n) {
		return all.across(all)
	}
	return all.across(all) - dot(k.Solve(b), b)
}

// field is a displacement of all cells, and what the design takes up of it.
type field struct {
	v, along, fitted []float64
}

func (e *evidence) field(v []float64) field {
	g := e.along(v)
	return field{v, g, e.normal.Solve(g)}
}

// across is the product of what the design does not take up of two columns.
func (c field) across(d field) float64 { return dot(c.v, d.v) - dot(c.fitted, d.along) }

// along returns the right-hand side of the normal equations for a field.
func (e *evidence) along(c []float64) []float64 {
	g := make([]float64, e.params)
	for r, v := range c {
		row := e.rows[r*e.params : (r+1)*e.params]
		for i, a := range row {
			g[i] += a * v
		}
	}
	return g
}

// alike is how many cells go wrong together, so that only one in so many counts;
// of errors larger than stated, worse. No source, chosen by simulation on
// 2026-11-28.
const (
	alike = 2.0
	worse = 4.0
)

// logLikelihood returns the logarithm of the likelihood of a stance, up to a
// constant: the largest that any size of the errors gives, from the stated one
// up.
func (e *evidence) logLikelihood(s stance) float64 {
	// The 10 stand for what the lens that all share takes up (no source).
	free := math.Max(2, float64(2*e.cells-frameParams*len(e.frames)-10))
	q := e.left(s)
	if q <= free {
		return -q / 2 / alike
	}
	return -free / 2 * (1/alike + math.Log(q/free)/worse)
}
