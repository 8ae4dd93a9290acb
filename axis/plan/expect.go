// Package plan says where to point a camera so that the polar axis comes out
// best, and when: what the frames will tell, what blocks the sky, how many stars
// there are, what the Moon leaves of them, and how long a night is dark.
package plan

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/drive"
	"pintle/axis/unrest"
	"pintle/index/lsq"
	"pintle/index/sphere"
)

// Camera is what a plan knows of the camera.
type Camera struct {
	Width, Height sphere.Angle // of the field
	StarErr       sphere.Angle // standard error of one star's place per coordinate
	// Wobble is the standard error of a whole frame's attitude, per coordinate,
	// that more stars do not cure: flexure, bearings, the seeing's slow part.
	Wobble sphere.Angle
	// Sag is the standard error of how far the camera droops where it looks level,
	// which moves the axis without a trace.
	Sag sphere.Angle
}

// centroid is the error of one star's place that is planned with, px (common
// practice, no source).
const centroid = 0.15

// NewCamera returns a camera with the given field, pixels that span scale each,
// and frames that hold still to wobble; it sags as the fit believes of it then.
func NewCamera(width, height, scale, wobble sphere.Angle) Camera {
	return Camera{Width: width, Height: height, StarErr: centroid * scale, Wobble: wobble, Sag: unrest.SagOf(wobble)}
}

// Night is the sky over which a measurement is planned.
type Night struct {
	Pole  sphere.Local // the elevated pole, refracted
	South bool         // that is the south pole
	// Stars returns how many stars a frame at l can be measured by; fewer than 4
	// make it useless. Clear says whether a direction can be seen at all.
	Stars func(l sphere.Local) float64
	Clear func(l sphere.Local) bool
	// Refraction of the air, which is uncertain by the fraction AirErr of it.
	Refraction func(l sphere.Local) sphere.Angle
	AirErr     float64
}

// Pointing is one frame of a plan.
type Pointing struct {
	Dir   sphere.Local
	Stars float64
}

// Expected is the expected error of the axis relative to the pole: covariance
// of altitude and azimuth on the sky, in rad^2.
type Expected struct{ Cov [2][2]float64 }

// Alt, Az and Total are standard errors: in altitude, in azimuth on the sky,
// and the root of the sum of their squares.
func (e Expected) Alt() sphere.Angle { return sphere.Angle(math.Sqrt(e.Cov[0][0])) }

// Az returns the standard error in azimuth, on the sky.
func (e Expected) Az() sphere.Angle { return sphere.Angle(math.Sqrt(e.Cov[1][1])) }

// Total returns the expected length of the error, root mean square.
func (e Expected) Total() sphere.Angle { return sphere.Angle(math.Sqrt(e.Cov[0][0] + e.Cov[1][1])) }

// knowledge is how well a frame with n stars tells a small turn of the camera:
// Fisher information about each axis across the line of sight and about it.
// Stars fill the field evenly.
func (c Camera) knowledge(n float64) (across, roll float64) {
	s2, w2 := float64(c.StarErr*c.StarErr)/n, float64(c.Wobble*c.Wobble)
	arm2 := float64(c.Width*c.Width+c.Height*c.Height) / 12
	return 1 / (s2 + w2), 1 / (s2/math.Max(arm2, 1e-18) + w2)
}

// Expect returns the error to expect from frames at the given directions,
// which must lie on one circle about the pole, turned about it: what the joint
// fit reaches, with the turn angles and the camera's attitude on the mount
// unknown.
//
// Fisher's information of one small turn a frame. The turn of frame i in the
// local frame is w - R w + R c + t p, with w the tilt of the axis p, R the RA
// turn since the first frame, c the error of the camera's attitude and t that
// of the turn. Uncertain air and a camera that sags are added as biases, which they are.
func (n Night) Expect(c Camera, frames []Pointing) (Expected, error) {
	if len(frames) < 2 {
		return Expected{}, fmt.Errorf("%d frame(s) tell no axis, at least 2 are needed", len(frames))
	}
	p := n.Pole.Vec()
	alt, az := n.Pole.Tangents()
	params := 5 + len(frames) - 1
	f := mat.NewSymDense(params, nil)
	air, droop := make([]float64, params), make([]float64, params)
	frame := drive.NewFrame(n.Pole, n.South)
	first, _ := frame.Read(frames[0].Dir)
	for i, fr := range frames {
		ha, _ := frame.Read(fr.Dir)
		n.add(f, air, droop, c, fr, i, sphere.Turn(frame.North(), first-ha), [2]r3.Vec{r3.Cross(p, alt), r3.Cross(p, az)}, p)
	}
	var k lsq.Normal
	if !k.Factorize(f) {
		return Expected{}, fmt.Errorf("the frames do not turn about the pole by enough to tell the axis")
	}
	cov, bias, sag := k.Inverse(), k.Solve(air), k.Solve(droop)
	shift := [2]float64{n.AirErr * (float64(n.Refraction(n.Pole)) - bias[0]), -n.AirErr * bias[1]}
	var e Expected
	for i := range 2 {
		for j := range 2 {
			e.Cov[i][j] = cov.At(i, j) + shift[i]*shift[j] + float64(c.Sag*c.Sag)*sag[i]*sag[j]
		}
	}
	return e, nil
}

// add adds what frame i tells to the information f, and what the air's lift
// and a droop of the camera pretend to air and droop. tilts are the axis' tilts that raise it and turn it to
// larger azimuth.
func (n Night) add(f *mat.SymDense, air, droop []float64, c Camera, fr Pointing, i int, r sphere.Rot, tilts [2]r3.Vec, p r3.Vec) {
	type effect struct {
		param int
		turn  r3.Vec
	}
	var es []effect
	for k, w := range tilts {
		es = append(es, effect{k, r3.Sub(w, r.Apply(w))})
	}
	for k, u := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		es = append(es, effect{2 + k, r.Apply(u)})
	}
	if i > 0 {
		es = append(es, effect{5 + i - 1, p})
	}
	b := fr.Dir.Vec()
	across, roll := c.knowledge(fr.Stars)
	weigh := func(v r3.Vec) r3.Vec { // the information matrix of the frame times v
		along := r3.Dot(b, v)
		return r3.Add(r3.Scale(across, v), r3.Scale((roll-across)*along, b))
	}
	up, _ := fr.Dir.Tangents()
	lift := weigh(r3.Scale(float64(n.Refraction(fr.Dir)), r3.Cross(b, up)))
	down := weigh(r3.Cross(b, r3.Vec{Z: -1}))
	for _, x := range es {
		air[x.param] += r3.Dot(x.turn, lift)
		droop[x.param] += r3.Dot(x.turn, down)
		for _, y := range es {
			if y.param >= x.param {
				f.SetSym(x.param, y.param, f.At(x.param, y.param)+r3.Dot(x.turn, weigh(y.turn)))
			}
		}
	}
}
