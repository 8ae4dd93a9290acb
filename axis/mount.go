package axis

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// model says how the attitudes of all frames follow from a few parameters.
type model interface {
	params() int
	// camFromLocal returns the attitude of frame i.
	camFromLocal(i int) sphere.Rot
	// columns returns how frame i turns, as a rotation vector in the camera's
	// frame per unit of each parameter that touches it.
	columns(i int) []column
	// priors lists parameters held to a value by something else than stars.
	priors() []prior
	// moved returns the model after a step of its parameters.
	moved(step []float64) model
}

type column struct {
	param int
	turn  r3.Vec
}

// prior holds a parameter to value: it adds (value/sigma)^2 to the sum of squares
// and value is what is left to move.
type prior struct {
	param        int
	value, sigma float64
}

var unitX, unitY, unitZ = r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}

// free is the model without a mount: every frame has its own attitude.
type free []sphere.Rot

func (f free) params() int                   { return 3 * len(f) }
func (f free) camFromLocal(i int) sphere.Rot { return f[i] }
func (f free) priors() []prior               { return nil }
func (f free) columns(i int) []column {
	return []column{{3 * i, unitX}, {3*i + 1, unitY}, {3*i + 2, unitZ}}
}
func (f free) moved(step []float64) model {
	g := make(free, len(f))
	for i := range f {
		g[i] = sphere.TurnVec(vec3(step[3*i:])).Mul(f[i])
	}
	return g
}

// mount is the model of an equatorial mount:
//
//	camFromLocal(i) = camFromMount . Rot(z, -turn i) . mountFromLocal
//
// The mount's frame has its z along the rotation axis. Parameters: two turns of
// the axis (about the mount's x and y), three of the camera on the mount, one
// turn for each frame but the first, then those of what happened between frames
// and, when tilt is positive, three small free turns for each frame.
type mount struct {
	mountFromLocal, camFromMount sphere.Rot
	turn                         []float64 // radians, right-handed about the axis; the first is fixed
	event                        event
	tilt                         float64  // standard deviation of the frames' own turns, radians
	own                          []r3.Vec // the frames' own turns, camera frame; nil when tilt is 0
}

// axis returns the rotation axis in the local frame.
func (m *mount) axis() r3.Vec { return m.mountFromLocal.Inv().Apply(unitZ) }

// eventParam is the first parameter after the turns.
func (m *mount) eventParam() int { return 5 + len(m.turn) - 1 }
func (m *mount) tiltParam() int  { return m.eventParam() + m.event.params() }
func (m *mount) params() int     { return m.tiltParam() + 3*len(m.own) }

// reversed returns the same mount with the other end of its axis as z.
func (m *mount) reversed() *mount {
	c := *m
	over := sphere.Turn(unitX, sphere.Angle(math.Pi))
	c.mountFromLocal = over.Mul(m.mountFromLocal)
	c.camFromMount = m.camFromMount.Mul(over)
	c.turn = make([]float64, len(m.turn))
	for i, t := range m.turn {
		c.turn[i] = -t
	}
	c.event.v = [2]float64{}
	return &c
}

// withTilt returns the model with free turns of the given standard deviation.
func (m *mount) withTilt(sigma float64) *mount {
	c := *m
	c.tilt, c.own = sigma, nil
	if sigma > 0 {
		c.own = make([]r3.Vec, len(m.turn))
	}
	return &c
}

func (m *mount) camFromLocal(i int) sphere.Rot {
	r := m.camFromMount.Mul(m.event.inMount(m, i)).Mul(sphere.Turn(unitZ, sphere.Angle(-m.turn[i]))).
		Mul(m.event.ofGround(i)).Mul(m.mountFromLocal)
	if m.own != nil {
		r = sphere.TurnVec(m.own[i]).Mul(r)
	}
	return r
}

func (m *mount) columns(i int) []column {
	camFromTurned := m.camFromMount.Mul(m.event.inMount(m, i))
	back := sphere.Turn(unitZ, sphere.Angle(-m.turn[i]))
	ground := camFromTurned.Mul(back).Mul(m.event.ofGround(i))
	cs := []column{{0, ground.Apply(unitX)}, {1, ground.Apply(unitY)}, {2, unitX}, {3, unitY}, {4, unitZ}}
	if i > 0 {
		cs = append(cs, column{4 + i, r3.Scale(-1, camFromTurned.Apply(unitZ))})
	}
	cs = append(cs, m.event.columns(m, i, camFromTurned, camFromTurned.Mul(back))...)
	if m.own != nil {
		k := m.tiltParam() + 3*i
		cs = append(cs, column{k, unitX}, column{k + 1, unitY}, column{k + 2, unitZ})
	}
	return cs
}

func (m *mount) priors() []prior {
	var ps []prior
	k := m.tiltParam()
	for i, v := range m.own {
		ps = append(ps, prior{k + 3*i, -v.X, m.tilt}, prior{k + 3*i + 1, -v.Y, m.tilt}, prior{k + 3*i + 2, -v.Z, m.tilt})
	}
	return ps
}

func (m *mount) moved(step []float64) model {
	c := *m
	c.mountFromLocal = sphere.TurnVec(r3.Vec{X: step[0], Y: step[1]}).Mul(m.mountFromLocal)
	c.camFromMount = sphere.TurnVec(vec3(step[2:])).Mul(m.camFromMount)
	c.turn = append([]float64(nil), m.turn...)
	for i := 1; i < len(c.turn); i++ {
		c.turn[i] += step[4+i]
	}
	c.event = m.event.moved(step[m.eventParam():m.tiltParam()])
	if m.own != nil {
		c.own = make([]r3.Vec, len(m.own))
		for i := range c.own {
			c.own[i] = r3.Add(m.own[i], vec3(step[m.tiltParam()+3*i:]))
		}
	}
	return &c
}

func vec3(x []float64) r3.Vec { return r3.Vec{X: x[0], Y: x[1], Z: x[2]} }

// wrap brings an angle in radians to (-pi, pi].
func wrap(x float64) float64 { return float64(sphere.Angle(x).Wrap()) }

// event is something that happened to the mount between two frames: the ways in
// which good frames fail to turn about one axis. The model's axis and camera are
// those after it, the present ones. The zero value is nothing.
type event struct {
	kind  eventKind
	frame int // the first frame after it
	v     [2]float64
	left  []float64 // of sinking: what is left of it at each frame, 1 to 0
	other []bool    // of flopping: the frames on the other side of the meridian than the last
}

type eventKind int

const (
	nothing  eventKind = iota
	slipped            // the declination axis turned by v[0]
	moved              // the whole mount moved: its axis turned by v about the mount's x and y
	shifted            // the camera turned by v about the x and y of the mount as it turns
	bending            // it does so in proportion to the turn, by v a radian
	sinking            // the whole mount moved all the time, by v about the mount's x and y
	flopping           // the camera turned as in shifted, whenever it passed the meridian
)

func (e event) params() int { return min(int(e.kind), 2) }

func (e event) moved(step []float64) event {
	for i, s := range step {
		e.v[i] += s
	}
	return e
}

// inMount is the extra turn between the camera's place on the mount and the
// turn about the axis.
func (e event) inMount(m *mount, i int) sphere.Rot {
	if e.kind == slipped && i < e.frame {
		return sphere.Turn(m.decAxis(), sphere.Angle(e.v[0]))
	}
	if c := e.share(m, i); c != 0 {
		return sphere.TurnVec(r3.Scale(c, r3.Vec{X: e.v[0], Y: e.v[1]}))
	}
	return sphere.Identity()
}

// share is how much of v the camera has turned by in frame i.
func (e event) share(m *mount, i int) float64 {
	switch {
	case e.kind == shifted && i < e.frame, e.kind == flopping && e.other[i]:
		return 1
	case e.kind == bending:
		return m.turn[i]
	}
	return 0
}

// ofGround is the extra turn of the whole mount.
func (e event) ofGround(i int) sphere.Rot {
	if c := e.ground(i); c != 0 {
		return sphere.TurnVec(r3.Scale(c, r3.Vec{X: e.v[0], Y: e.v[1]}))
	}
	return sphere.Identity()
}

// ground is how much of v the mount is still to turn back by in frame i.
func (e event) ground(i int) float64 {
	switch {
	case e.kind == moved && i < e.frame:
		return 1
	case e.kind == sinking:
		return e.left[i]
	}
	return 0
}

func (e event) columns(m *mount, i int, camFromTurned, camFromMount sphere.Rot) []column {
	k := m.eventParam()
	if e.kind == slipped && i < e.frame {
		return []column{{k, camFromTurned.Apply(m.decAxis())}}
	}
	if c := e.ground(i); c != 0 {
		return []column{{k, r3.Scale(c, camFromMount.Apply(unitX))}, {k + 1, r3.Scale(c, camFromMount.Apply(unitY))}}
	}
	if c := e.share(m, i); c != 0 {
		return []column{{k, r3.Scale(c, camFromTurned.Apply(unitX))}, {k + 1, r3.Scale(c, camFromTurned.Apply(unitY))}}
	}
	return nil
}

// decAxis returns the direction of the declination axis in the mount's frame,
// taken square to the rotation axis and to where the camera looks. A camera
// that looks along the axis leaves it open; any square direction serves.
func (m *mount) decAxis() r3.Vec {
	look := m.camFromMount.Inv().Apply(unitZ)
	d := r3.Cross(unitZ, look)
	if n := r3.Norm(d); n > 1e-6 {
		return r3.Scale(1/n, d)
	}
	return unitX
}
