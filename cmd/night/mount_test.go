package night

import (
	"slices"
	"testing"
	"time"

	"pintle/index/sphere"
)

// A live mount moved to the poses of a night sees what the night sees.
func TestMountIsTheNightLive(t *testing.T) {
	s := Random(5, true)
	s.Frames[2].Alt, s.Frames[2].Az = 12*sphere.Arcminute, -30*sphere.Arcminute
	n := build(t, s)
	m := n.Mount(s.Start)
	for i, f := range s.Frames {
		was := m.Pose()
		if err := m.Move(Pose{Turn: f.Turn - was.Turn, Alt: f.Alt - was.Alt, Az: f.Az - was.Az}); err != nil {
			t.Fatal(err)
		}
		shot, err := m.Shoot(s.Start.Add(f.At))
		if err != nil {
			t.Fatal(err)
		}
		want := n.Truth(i)
		near(t, "attitude", shot.Truth.LocalFromCam.Mul(want.LocalFromCam.Inv()).Angle(), 0, 1e-6)
		near(t, "axis", shot.Truth.Axis.Sep(want.Axis), 0, 1e-6)
		if i == 0 && !slices.Equal(shot.Image.U16, n.Render(0).U16) {
			t.Error("other pixels")
		}
	}
}

func TestMotorStartsAndStops(t *testing.T) {
	s := plain(40)
	s.Setup.Tracking = true
	n := build(t, s)
	m := n.Mount(s.Start)
	at := func(min int) time.Time { return s.Start.Add(time.Duration(min) * time.Minute) }
	turn := func(min int) sphere.Angle {
		tr, err := m.Truth(at(min))
		if err != nil {
			t.Fatal(err)
		}
		return tr.Turn
	}
	minute := sphere.Angle(15.041069*60) * sphere.Arcsecond
	near(t, "running", turn(10)-turn(0), -10*minute, 0.01)
	m.Track(at(10), false)
	if m.Tracking() {
		t.Error("motor runs")
	}
	near(t, "standing", turn(15)-turn(10), 0, 0.01)
	m.Track(at(20), true)
	near(t, "running again", turn(30)-turn(20), -10*minute, 0.01)
	near(t, "together", turn(30), -20*minute-minute/60, 0.01)
	if err := m.Move(Pose{Alt: 200 * sphere.Degree}); err == nil {
		t.Error("altitude adjuster turned by 200 degrees")
	}
	near(t, "not moved", m.Pose().Alt, 0, 0)
}

// A kick tips everything on the base by the same rotation.
func TestKickedTripod(t *testing.T) {
	s := plain(40)
	n := build(t, s)
	m := n.Mount(s.Start)
	a, _ := m.Truth(s.Start)
	if err := m.Move(Pose{Sink: sphere.Degree, SinkAz: 90 * sphere.Degree}); err != nil {
		t.Fatal(err)
	}
	b, _ := m.Truth(s.Start)
	near(t, "axis", a.Axis.Sep(b.Axis), sphere.Angle((40*sphere.Degree).Sin())*sphere.Degree, 1)
	near(t, "camera", b.LocalFromCam.Mul(a.LocalFromCam.Inv()).Angle(), sphere.Degree, 1e-6)
	az, _ := b.Axis.AzAlt()
	if az.Wrap() <= 0 {
		t.Errorf("azimuth %v after a tip toward east", az)
	}
}
