package night

import (
	"math"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/drive"
	"pintle/index/optics"
	"pintle/index/sphere"
)

var (
	unitY = r3.Vec{Y: 1}
	unitZ = r3.Vec{Z: 1}
)

// chain takes poses to attitudes.
type chain struct {
	sign          sphere.Angle // 1 in the north, -1 in the south
	setup         Setup
	localFromBase sphere.Rot
	az, alt       sphere.Angle // of the axis in the base's frame, adjusters at 0
}

// newChain puts up the mount with its axis out of true as the setup says. Pole
// is the refracted pole.
func newChain(s *Spec, pole sphere.Local) chain {
	c := chain{sign: s.sign(), setup: s.Setup, localFromBase: tip(s.Setup.Lean, s.Setup.LeanAz)}
	az, alt := pole.AzAlt()
	start := sphere.LocalAt(az+s.Setup.ErrAz, alt+s.Setup.ErrAlt)
	c.az, c.alt = sphere.LocalVec(c.localFromBase.Inv().Apply(start.Vec())).AzAlt()
	return c
}

// tip returns the rotation, in the local frame, that takes the vertical to a
// lean toward an azimuth.
func tip(lean, az sphere.Angle) sphere.Rot {
	s, c := math.Sincos(float64(az))
	return sphere.Turn(r3.Vec{X: -c, Y: s}, lean)
}

// localFromHead returns the head with the RA axis at 0.
func (c *chain) localFromHead(p Pose) sphere.Rot {
	saz, caz := math.Sincos(float64(c.az + p.Az))
	sh, ch := math.Sincos(float64(c.alt + p.Alt))
	x := r3.Vec{X: -caz, Y: saz} // the altitude adjuster's axis
	z := r3.Vec{X: ch * saz, Y: ch * caz, Z: sh}
	baseFromHead := sphere.RotFromRows(x, r3.Cross(z, x), z).Inv()
	return tip(p.Sink, p.SinkAz).Mul(c.localFromBase).Mul(baseFromHead)
}

// axis returns where the RA axis points.
func (c *chain) axis(p Pose) sphere.Local {
	return sphere.LocalVec(c.localFromHead(p).Apply(unitZ))
}

// headFromCam returns the camera on the head with the RA axis at 0, where it
// looks at the meridian. The circles' frame has x west, y south and z forward,
// which is the camera's own when its roll is 0.
func (c *chain) headFromCam(p Pose) sphere.Rot {
	toward := float64(c.sign * (c.setup.Dec + p.Dec)) // declination toward the axis' end
	s, k := math.Sincos(toward)
	headFromCircles := sphere.RotFromRows(r3.Vec{X: 1}, r3.Vec{Y: s, Z: -k}, r3.Vec{Y: k, Z: s}).Inv()
	if c.sign < 0 {
		headFromCircles = headFromCircles.Mul(sphere.Turn(unitZ, math.Pi))
	}
	return headFromCircles.Mul(sphere.Turn(unitY, c.setup.Cone)).Mul(sphere.Turn(unitZ, -c.setup.Roll-p.Roll))
}

// localFromCam returns the attitude of the camera, ran being how long the motor
// has been running.
func (c *chain) localFromCam(p Pose, ran time.Duration) sphere.Rot {
	r := c.localFromHead(p).Mul(sphere.Turn(unitZ, p.Turn+c.driven(ran))).Mul(c.headFromCam(p))
	down := r.Inv().Apply(r3.Vec{Z: -1})
	return r.Mul(sphere.TurnVec(r3.Scale(float64(c.setup.Sag), r3.Cross(unitZ, down))))
}

// shake draws the own turn of the frame that starts at t.
func (s *Setup) shake(seed uint64, t time.Time) r3.Vec {
	rng := rand.New(rand.NewPCG(seed^0x5ac3, uint64(t.UnixNano())))
	return r3.Scale(float64(s.Shake), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

// driven returns by how much the motor has turned the RA axis, with the sign of
// Pose.Turn.
func (c *chain) driven(ran time.Duration) sphere.Angle {
	a := sphere.Angle(drive.Sidereal * ran.Seconds())
	if c.setup.Period > 0 {
		a += c.setup.Worm * sphere.Angle(math.Sin(2*math.Pi*ran.Seconds()/c.setup.Period.Seconds()))
	}
	return -c.sign * a
}

// lens returns the lens of the camera.
func (c *Camera) lens() optics.Lens {
	l := optics.NewLens(c.W, c.H, sphere.Angle(math.Atan(c.Pixel*1e-3/c.Focal)))
	l.CX += c.OffX
	l.CY += c.OffY
	l.K1, l.K2, l.Mirrored, l.Law = c.K1, c.K2, c.Mirrored, c.Law
	return l
}
