package solve

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// plane holds the points as an ideal lens would have drawn them: half-diagonals
// from the middle of the picture, with an assumed distortion taken off. It
// answers quickly whether a point is near a place.
type plane struct {
	k1            float64  // the distortion
	at            []r3.Vec // of each point of the cloud; Z is 0
	width, height float64  // from the middle to the edges
	density       float64  // points per unit area
	n             int      // cells along a side
	near          [][]int32
}

// widestTolerance is as far as near looks, and planeSize the half-side of the
// square that it covers (no source, chosen on made-up fields, see cmd/proof).
const (
	widestTolerance = 0.03
	planeSize       = 1.1
)

func makePlane(c *cloud, k1 float64) *plane {
	half := math.Hypot(c.w, c.h) / 2
	p := &plane{
		k1: k1, at: make([]r3.Vec, len(c.pts)), width: c.w / 2 / half, height: c.h / 2 / half,
		density: c.density * half * half, n: 48,
	}
	p.near = make([][]int32, p.n*p.n)
	for i := range c.pts {
		u, v := (c.pts[i].x-(c.w-1)/2)/half, (c.pts[i].y-(c.h-1)/2)/half
		g := 1 - k1*(u*u+v*v)
		p.at[i] = r3.Vec{X: u * g, Y: v * g}
		x0, x1 := p.cell(p.at[i].X-widestTolerance), p.cell(p.at[i].X+widestTolerance)
		y0, y1 := p.cell(p.at[i].Y-widestTolerance), p.cell(p.at[i].Y+widestTolerance)
		for y := max(0, y0); y <= min(p.n-1, y1); y++ {
			for x := max(0, x0); x <= min(p.n-1, x1); x++ {
				p.near[y*p.n+x] = append(p.near[y*p.n+x], int32(i))
			}
		}
	}
	return p
}

func (p *plane) cell(v float64) int { return int((v + planeSize) * float64(p.n) / (2 * planeSize)) }

// direction returns where point i is seen with a focal length f, in
// half-diagonals.
func (p *plane) direction(i int, f float64) r3.Vec {
	return sphere.Unit(r3.Vec{X: p.at[i].X, Y: p.at[i].Y, Z: f})
}

// find returns a point other than the four within tol of a place in the picture,
// -1 when there is none.
func (p *plane) find(u, v, tol float64, but *[4]int) int {
	for _, i := range p.near[p.cell(v)*p.n+p.cell(u)] {
		du, dv := p.at[i].X-u, p.at[i].Y-v
		if du*du+dv*dv < tol*tol && int(i) != but[0] && int(i) != but[1] && int(i) != but[2] && int(i) != but[3] {
			return int(i)
		}
	}
	return -1
}

// focal returns the focal length, in half-diagonals, of an ideal lens that
// draws two directions with the given squared sine of the angle between them
// at the places a and b. From cos^2 + sin^2 = 1 with the cosine as a function
// of the focal length; the larger root is that of an angle below 90 degrees.
func focal(a, b r3.Vec, sin2 float64) (f float64, ok bool) {
	qa, qb := a.X*a.X+a.Y*a.Y, b.X*b.X+b.Y*b.Y
	cross := a.X*b.Y - a.Y*b.X
	dx, dy := a.X-b.X, a.Y-b.Y
	p := sin2*(qa+qb) - (dx*dx + dy*dy)
	q := sin2*qa*qb - cross*cross
	d := p*p - 4*sin2*q
	if d < 0 || sin2 <= 0 {
		return 0, false
	}
	f2 := (math.Sqrt(d) - p) / (2 * sin2)
	return math.Sqrt(f2), f2 > 0.04 && f2 < 1e10
}

// axes returns the middle of two unit vectors, the direction from the first to
// the second, and the normal of both.
func axes(a, b r3.Vec) (m, d, n r3.Vec) {
	m, d = sphere.Unit(r3.Add(a, b)), sphere.Unit(r3.Sub(b, a))
	return m, d, r3.Cross(m, d)
}

// base is a pair of directions, from which others are placed on the plane that
// touches the sphere between them: the first of the pair is at (0, 0), the second
// at (1, 0).
type base struct {
	mid, along, across r3.Vec
	length             float64
}

func makeBase(a, b r3.Vec) base {
	m, d, n := axes(a, b)
	return base{m, d, n, -2 * r3.Dot(a, d) / r3.Dot(a, m)}
}

// lowest is the cosine of the angle up to which directions are drawn on a plane: some 80
// degrees from its middle.
const lowest = 0.2

// place returns where a direction is. ok is false for one that is not drawn there.
func (b *base) place(v r3.Vec) (x, y float64, ok bool) {
	z := r3.Dot(v, b.mid)
	scale := 1 / (z * b.length)
	return r3.Dot(v, b.along)*scale + 0.5, r3.Dot(v, b.across) * scale, z > lowest
}

// view draws directions as an ideal lens does.
type view struct{ x, y, z r3.Vec }

// makeView returns the view in which the directions sa and sb are drawn where
// the camera directions ca and cb are, mirrored or not.
func makeView(sa, sb, ca, cb r3.Vec, f float64, mirrored bool) view {
	ms, ds, ns := axes(sa, sb)
	mc, dc, nc := axes(ca, cb)
	if mirrored {
		nc = r3.Scale(-1, nc)
	}
	row := func(m, d, n, scale float64) r3.Vec {
		return r3.Scale(scale, r3.Add(r3.Scale(m, ms), r3.Add(r3.Scale(d, ds), r3.Scale(n, ns))))
	}
	return view{row(mc.X, dc.X, nc.X, f), row(mc.Y, dc.Y, nc.Y, f), row(mc.Z, dc.Z, nc.Z, 1)}
}

// drawing returns the drawing of what is in a picture, given by its half-sides.
func (w *view) drawing(width, height float64) *drawing {
	return &drawing{ex: three(w.x), ey: three(w.y), mid: three(w.z), width: float32(width), height: float32(height), least: 0.1}
}
