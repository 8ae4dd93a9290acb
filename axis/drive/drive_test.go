package drive

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

const seed = 20261125

// misaligned is one case of a misaligned axis with the values of an
// independent program: each pair is the exact and the first-order value in
// arcsec, rates in arcsec a minute.
type misaligned struct {
	name             string
	lat, alt, az     float64 // deg, arcmin, arcmin
	ha, dec, seconds float64

	sep, dDec, dHA, decRate, haRate [2]float64
	drift, move, guided, unguided   [2]float64
}

var misalignedCases = []misaligned{
	{"M1", 52, 5, 0, -75, 10, 600,
		[2]float64{300.0000, 300.0000}, [2]float64{77.6098, 77.6457}, [2]float64{-51.1536, -51.0956}, [2]float64{1.26794, 1.26786}, [2]float64{0.05902, 0.05990},
		[2]float64{12.6011, 12.6002}, [2]float64{12.6168, 12.6163}, [2]float64{3.7272, 3.7301}, [2]float64{3.6160, 3.6176}},
	{"M2", 52, 0, 8, 0, 0, 600,
		[2]float64{295.5175, 295.5175}, [2]float64{0.2710, 0}, [2]float64{-378.2450, -378.2452}, [2]float64{-1.29297, -1.29297}, [2]float64{-0.00093, 0},
		[2]float64{-12.9258, -12.9256}, [2]float64{12.9258, 12.9256}, [2]float64{-0.2710, -0.2828}, [2]float64{-0.2710, -0.2828}},
	{"M3", 35, 2, -3, 40, 60, 300,
		[2]float64{190.0838, 190.1071}, [2]float64{186.6869, 186.7027}, [2]float64{41.2576, 41.2074}, [2]float64{0.15665, 0.15671}, [2]float64{1.41729, 1.41487},
		[2]float64{0.7384, 0.7388}, [2]float64{3.6209, 3.6205}, [2]float64{8.1972, 8.1852}, [2]float64{2.0445, 2.0463}},
	{"M4", 20, -10, 6, -30, -25, 1200,
		[2]float64{688.8835, 688.7958}, [2]float64{-349.8061, -350.4706}, [2]float64{-399.9840, -399.6324}, [2]float64{-2.59758, -2.59439}, [2]float64{0.71099, 0.71504},
		[2]float64{-50.5472, -50.4807}, [2]float64{52.4047, 52.3603}, [2]float64{-36.2319, -36.2986}, [2]float64{-29.7528, -29.8155}},
	{"M5", 65, 1, 2, 100, 80, 900,
		[2]float64{78.5514, 78.5616}, [2]float64{-60.3685, -60.3626}, [2]float64{176.0251, 176.4067}, [2]float64{-0.21971, -0.22000}, [2]float64{-1.49631, -1.49780},
		[2]float64{-3.1635, -3.1676}, [2]float64{5.1056, 5.1064}, [2]float64{-23.3944, -23.4206}, [2]float64{-0.7069, -0.7062}},
	{"M6", -33.9, 3, 4, -60, -45, 600,
		[2]float64{268.4372, 268.4806}, [2]float64{82.5394, 82.5148}, [2]float64{-121.3846, -121.6272}, [2]float64{-1.11736, -1.11782}, [2]float64{-0.36230, -0.36102},
		[2]float64{-11.2492, -11.2536}, [2]float64{11.5001, 11.5023}, [2]float64{4.7680, 4.7583}, [2]float64{2.3804, 2.3791}},
}

func (c misaligned) drive() Drive {
	pole, axis := poleAndAxis(c.lat, c.alt, c.az)
	return New(pole, axis, c.lat < 0)
}

func poleAndAxis(lat, alt, az float64) (pole, axis sphere.Local) {
	due := 0.0
	if lat < 0 {
		due = 180
	}
	a := math.Abs(lat)
	return sphere.LocalAt(sphere.Angle(due)*sphere.Degree, sphere.Angle(a)*sphere.Degree),
		sphere.LocalAt(sphere.Angle(due+az/60)*sphere.Degree, sphere.Angle(a+alt/60)*sphere.Degree)
}

func (c misaligned) linear() linear {
	lat := sphere.Angle(c.lat) * sphere.Degree
	return linear{
		Up:   sphere.Angle(c.alt) * sphere.Arcminute,
		East: sphere.Angle(math.Copysign(c.az, c.az*c.lat)*lat.Cos()) * sphere.Arcminute,
		Lat:  lat,
	}
}

func (c misaligned) star() (ha, dec sphere.Angle, t time.Duration) {
	return sphere.Angle(c.ha) * sphere.Degree, sphere.Angle(c.dec) * sphere.Degree, time.Duration(c.seconds) * time.Second
}

func TestMisalignedExact(t *testing.T) {
	for _, c := range misalignedCases {
		d := c.drive()
		ha, dec, dt := c.star()
		check := func(what string, got, want, tol float64) {
			t.Helper()
			if !(math.Abs(got-want) <= tol) {
				t.Errorf("%s %s = %.6f, want %.6f, difference %.2g, tolerance %.2g arcsec", c.name, what, got, want, got-want, tol)
			}
		}
		check("sep", d.Sep().Arcseconds(), c.sep[0], 5e-4)
		mh, md := d.Circles(ha, dec)
		check("declination", (md - dec).Arcseconds(), c.dDec[0], 5e-4)
		check("hour angle", (mh - ha).Wrap().Arcseconds(), c.dHA[0], 5e-4)
		dr, hr := d.Rates(ha, dec)
		check("drift rate", sphere.Angle(dr*60).Arcseconds(), c.decRate[0], 1e-5)
		check("hour angle excess", sphere.Angle(hr*60).Arcseconds(), c.haRate[0], 1e-5)
		check("drift", d.Drift(ha, dec, dt).Arcseconds(), c.drift[0], 5e-4)
		check("guided rotation", d.Guided(ha, dec, dt).Arcseconds(), c.guided[0], 5e-4)
		move, rot := d.Unguided(ha, dec, dt)
		check("movement", move.Arcseconds(), c.move[0], 5e-4)
		check("unguided rotation", rot.Arcseconds(), c.unguided[0], 5e-4)
	}
}

func TestMisalignedLinear(t *testing.T) {
	for _, c := range misalignedCases {
		l := c.linear()
		ha, dec, dt := c.star()
		end := ha + SkyTurn(dt)
		check := func(what string, got, want, tol float64) {
			t.Helper()
			if !(math.Abs(got-want) <= tol) {
				t.Errorf("%s first order %s = %.6f, want %.6f, tolerance %.2g arcsec", c.name, what, got, want, tol)
			}
		}
		check("sep", math.Hypot(l.Up.Arcseconds(), l.East.Arcseconds()), c.sep[1], 1e-4)
		dh, dd := l.Circles(ha, dec)
		check("declination", dd.Arcseconds(), c.dDec[1], 1e-4)
		check("hour angle", dh.Arcseconds(), c.dHA[1], 1e-4)
		dr, hr := l.Rates(ha, dec)
		check("drift rate", sphere.Angle(dr*60).Arcseconds(), c.decRate[1], 1e-5)
		check("hour angle excess", sphere.Angle(hr*60).Arcseconds(), c.haRate[1], 1e-5)
		check("drift", l.Drift(ha, end).Arcseconds(), c.drift[1], 1e-4)
		check("guided rotation", l.Guided(ha, end, dec).Arcseconds(), c.guided[1], 1e-4)
		move, rot := l.Unguided(ha, end, dec)
		check("movement", move.Arcseconds(), c.move[1], 1e-4)
		check("unguided rotation", rot.Arcseconds(), c.unguided[1], 1e-4)
	}
}

// The drift method as taught for the northern hemisphere: a star on the
// meridian south of the zenith drifts south when the axis points too far east;
// a star in the east drifts north when the axis is too high. (Widely published
// rule; common practice, no single source.)
func TestDriftSigns(t *testing.T) {
	for _, c := range []struct {
		name               string
		lat, alt, az, h, d float64
		north              bool
	}{
		{"meridian, axis too far east", 45, 0, 10, 0, 0, false},
		{"meridian, axis too far west", 45, 0, -10, 0, 0, true},
		{"east, axis too high", 45, 10, 0, -90, 0, true},
		{"east, axis too low", 45, -10, 0, -90, 0, false},
		{"west, axis too high", 45, 10, 0, 90, 0, false},
	} {
		pole, axis := poleAndAxis(c.lat, c.alt, c.az)
		drift := New(pole, axis, false).Drift(sphere.Angle(c.h)*sphere.Degree, sphere.Angle(c.d)*sphere.Degree, 5*time.Minute)
		if (drift > 0) != c.north || drift == 0 {
			t.Errorf("%s: drift %.3f arcsec north, want north = %v", c.name, drift.Arcseconds(), c.north)
		}
	}
}

// Exact and first order agree to second order for small errors anywhere, and
// an aligned drive keeps every star.
func TestDriveAgainstLinear(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 11))
	for range 2000 {
		lat := rng.Float64()*132 - 66
		c := misaligned{lat: lat, alt: rng.NormFloat64() * 0.05, az: rng.NormFloat64() * 0.05,
			ha: rng.Float64()*360 - 180, dec: rng.Float64()*170 - 85, seconds: math.Floor(rng.Float64() * 3000)}
		if math.Abs(lat) < 1 {
			continue
		}
		d, l := c.drive(), c.linear()
		ha, dec, dt := c.star()
		end := ha + SkyTurn(dt)
		tol := math.Pow(d.Sep().Radians(), 2) * 2000 * float64(1/sphere.Arcsecond) // second order, tan and sec of 85 deg squared
		em, er := d.Unguided(ha, dec, dt)
		lm, lr := l.Unguided(ha, end, dec)
		for _, p := range [][2]sphere.Angle{
			{d.Drift(ha, dec, dt), l.Drift(ha, end)},
			{d.Guided(ha, dec, dt), l.Guided(ha, end, dec)},
			{em, lm}, {er, lr},
		} {
			if diff := math.Abs((p[0] - p[1]).Arcseconds()); !(diff <= tol+1e-9) {
				t.Fatalf("seed %d: %+v: exact %v first order %v arcsec, differ by %g, tolerance %g", seed, c, p[0].Arcseconds(), p[1].Arcseconds(), diff, tol)
			}
		}
		pole, _ := poleAndAxis(lat, 0, 0)
		if m, r := New(pole, pole, lat < 0).Unguided(ha, dec, dt); m > 1e-13 || r.Abs() > 1e-13 {
			t.Fatalf("seed %d: aligned drive loses %v, %v", seed, m, r)
		}
	}
}

// The movement of the worst direction within a radius, by looking at many.
func TestFarthestTwin(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 12))
	for range 200 {
		pole, axis := poleAndAxis(40, rng.NormFloat64()*30, rng.NormFloat64()*30)
		d := New(pole, axis, false)
		ha, dec, dt := sphere.Angle(rng.Float64()*6), sphere.Angle(rng.Float64()*3-1.5), time.Duration(rng.IntN(7200))*time.Second
		radius := sphere.Angle(rng.Float64() * 0.2)
		got := d.farthest(ha, dec, radius, dt)
		v, _ := d.pole.at(ha, dec)
		rot := sphere.TurnVec(d.slip(dt))
		most := sphere.Angle(0)
		for i := range 720 {
			w := sphere.Turn(v, sphere.Angle(i)*sphere.Degree/2).Apply(sphere.Turn(r3.Cross(v, r3.Vec{X: 0.3, Y: 0.4, Z: 0.5}), radius).Apply(v))
			for _, u := range []r3.Vec{v, w} {
				most = max(most, sphere.LocalVec(u).Sep(sphere.LocalVec(rot.Apply(u))))
			}
		}
		if most > got*(1+1e-9) || most < got*0.999 {
			t.Fatalf("seed %d: farthest %v, found %v arcsec", seed, got.Arcseconds(), most.Arcseconds())
		}
	}
}

// A pole in the zenith must not give NaN.
func TestDriveZenithPole(t *testing.T) {
	for _, south := range []bool{false, true} {
		d := New(sphere.LocalVec(r3.Vec{Z: 1}), sphere.LocalAt(0, 89*sphere.Degree), south)
		m, r := d.Unguided(1, 0.3, time.Hour)
		a, b := d.Rates(1, 0.3)
		if s := float64(m+r) + a + b + float64(d.Guided(1, 0.3, time.Hour)+d.Drift(1, 0.3, time.Hour)); math.IsNaN(s) {
			t.Errorf("south %v: NaN", south)
		}
	}
}

// A direction's hour angle and declination against spherical trigonometry.
func TestEquatorial(t *testing.T) {
	for _, c := range []struct{ lat, az, alt, ha, dec float64 }{
		{52, 180, 38, 0, 0}, {52, 90, 0, -90, 0}, {52, 270, 0, 90, 0}, {52, 180, 58, 0, 20},
		{-34, 0, 56, 0, 0}, {-34, 90, 0, -90, 0}, {-34, 0, 76, 0, -20},
	} {
		pole, _ := poleAndAxis(c.lat, 0, 0)
		ha, dec := NewFrame(pole, c.lat < 0).Read(sphere.LocalAt(sphere.Angle(c.az)*sphere.Degree, sphere.Angle(c.alt)*sphere.Degree))
		if math.Abs(ha.Degrees()-c.ha) > 1e-9 || math.Abs(dec.Degrees()-c.dec) > 1e-9 {
			t.Errorf("%+v: %v, %v", c, ha, dec)
		}
	}
}

// The drift along the circle of declination is positive toward west: as the star's hour
// angle in the mount's frame runs ahead of the drive or falls behind it.
func TestAlongIsWestPositive(t *testing.T) {
	e := Exposure{Focal: 500, Pixel: 4, Time: time.Minute, Trail: 1}
	for _, south := range []bool{false, true} {
		for _, off := range [][2]float64{{30, 0}, {-30, 0}, {0, 40}, {0, -40}} {
			pole := sphere.LocalAt(0, 40*sphere.Degree)
			if south {
				pole = sphere.LocalAt(180*sphere.Degree, 40*sphere.Degree)
			}
			d := Off(pole, sphere.Angle(off[0])*sphere.Arcminute, sphere.Angle(off[1])*sphere.Arcminute, south)
			ha, dec := 30*sphere.Degree, 50*sphere.Degree
			_, mountDec := d.Circles(ha, dec)
			_, rate := d.Rates(ha, dec)
			want := rate * 60 * mountDec.Cos()
			if got := float64(e.Effect(d, ha, dec).Along); math.Abs(got-want) > 0.05*math.Abs(want) || want == 0 {
				t.Errorf("south %v, off by %v arcmin: %.4g rad along, want %.4g", south, off, got, want)
			}
		}
	}
}
