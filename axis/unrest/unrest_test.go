package unrest

import (
	"math"
	"testing"

	"pintle/index/sphere"
)

// Image motion without averaging over the exposure is the tilt of the wavefront over
// the aperture: 0.182 (D/r0)^(5/3) (wavelength/D)^2 in one axis (Fried 1965, JOSA 55,
// 1427; constant from memory). Half a minute in place of half a second leaves half.
func TestImageMotion(t *testing.T) {
	for _, d := range []float64{0.03, 0.1, 0.4} {
		seeing := 1.5 * sphere.Arcsecond
		r0 := 0.98 * 0.55e-6 / float64(seeing)
		want := math.Sqrt(0.182*math.Pow(d/r0, 5/3.)) * 0.55e-6 / d
		if got := float64(ImageMotion(d, 1e-6, seeing)); math.Abs(got/want-1) > 0.02 {
			t.Errorf("aperture %g m: %.3g rad, want %.3g", d, got, want)
		}
	}
	if a, b := ImageMotion(0.05, 0.5, 2*sphere.Arcsecond), ImageMotion(0.05, 32, 2*sphere.Arcsecond); math.Abs(float64(a/b)-2) > 1e-9 {
		t.Errorf("0.5 s %v, 32 s %v: want half", a, b)
	}
	// The range that the comment on the constants tells.
	for _, c := range []struct {
		aperture, exposure, seeing, least, most float64
	}{{0.05, 2, 2, 0.3, 0.36}, {0.03, 0.5, 4, 0.65, 0.85}, {0.4, 60, 1, 0.07, 0.13}} {
		if m := ImageMotion(c.aperture, c.exposure, sphere.Angle(c.seeing)*sphere.Arcsecond).Arcseconds(); m < c.least || m > c.most {
			t.Errorf("%g m, %g s, %g arcsec: %.2f arcsec, want %g to %g", c.aperture, c.exposure, c.seeing, m, c.least, c.most)
		}
	}
}

// What the air does at least is within what is believed of a mount that moves, and
// nothing real is taken for one that stands still.
func TestAirIsBelieved(t *testing.T) {
	still := ImageMotion(0.4, 60, sphere.Arcsecond)
	if unreal*3 > still {
		t.Errorf("unreal below %v, and the air of a good site does %v", unreal, still)
	}
	if p, q := (Manner{}).density(still), (Manner{}).density(movingScatter); p < q/20 {
		t.Errorf("scatter of %v: density %.4f, of the usual one %.4f", still, p, q)
	}
}

// The beliefs are a density, and what is told of a mount is where they are.
func TestBeliefs(t *testing.T) {
	for _, m := range []Manner{{}, {Scatter: sphere.Arcsecond}, {Scatter: 0.3 * sphere.Arcsecond, Evenings: 12}} {
		sum, near := 0.0, 0.0
		list := m.Beliefs()
		step := math.Log(list[1].Scatter / list[0].Scatter)
		for _, b := range list {
			w := math.Exp(b.Log) * step
			sum += w
			if r := b.Scatter / float64(m.Scatter); r > 1/3. && r < 3 {
				near += w
			}
			share := 0.0
			for _, s := range b.Sags {
				share += math.Exp(s.Log)
			}
			if math.Abs(share-1) > 1e-9 {
				t.Errorf("%+v: sags of %g rad have a share of %g", m, b.Scatter, share)
			}
		}
		if math.Abs(sum-1) > 0.03 {
			t.Errorf("%+v: shares add up to %.3f", m, sum)
		}
		if m.Scatter > 0 && near < 0.75 {
			t.Errorf("%+v: %.2f of the belief within a factor of 3", m, near)
		}
	}
	if s := SagOf(0.7 * sphere.Arcsecond).Arcseconds(); s < 2.5 || s > 3.5 {
		t.Errorf("sag of a usual mount %.2f arcsec, want about 3", s)
	}
}

// Frames that look as still as no sky lets them may do so by chance, so that one in seven
// is believed to sag; of a mount that is known to stand so, one in fifty.
func TestFirmMountsHardlySag(t *testing.T) {
	share := func(m Manner) float64 { return math.Exp(m.sags(least)[1].Log) }
	if any, firm := share(Manner{}), share(Manner{Scatter: least, Evenings: 5}); any < 0.1 || any > 0.2 || firm > any/5 {
		t.Errorf("%.2f of still mounts are believed to sag, %.2f of those known to be still", any, firm)
	}
	for _, s := range []sphere.Angle{0.1 * sphere.Arcsecond, sphere.Arcsecond} {
		if a, b := (Manner{}).sags(s), (Manner{Scatter: s}).sags(s); a[1] != b[1] {
			t.Errorf("scatter %v: sag %+v, of a known mount %+v: what scatters by so much sags alike", s, a[1], b[1])
		}
	}
}

// What the owner says counts as four evenings; and one evening in ten is like that of
// any mount, however well this one is known.
func TestMannerLeavesRoom(t *testing.T) {
	for _, s := range []sphere.Angle{0.1 * sphere.Arcsecond, sphere.Arcsecond, 5 * sphere.Arcsecond} {
		told, seen := Manner{Scatter: sphere.Arcsecond}, Manner{Scatter: sphere.Arcsecond, Evenings: 4}
		if a, b := told.density(s), seen.density(s); a != b {
			t.Errorf("scatter %v: density %.4g by the owner's word, %.4g after four evenings", s, a, b)
		}
	}
	known, far := Manner{Scatter: 0.1 * sphere.Arcsecond, Evenings: 1000}, 20*sphere.Arcsecond
	if r := known.density(far) / (Manner{}).density(far); math.Abs(r-0.1) > 1e-6 {
		t.Errorf("far from what is known the belief is %.3f of that of any mount, want a tenth", r)
	}
}
