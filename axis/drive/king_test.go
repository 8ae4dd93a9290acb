package drive

import (
	"math"
	"testing"

	"pintle/index/sphere"
)

// Air of 1010 hPa, 10 C, dry, 0.55 um, computed with ERFA refco.
var dryAir = Refraction{A: 2.815336491859e-04, B: -3.152464797477e-07}

// Rates of stars with refraction, axis raised by gamma arcsec: exact and
// first order, by an independent program with the same refraction law. King's
// pole is the first-order one of the star's zenith distance.
func TestRefractedRates(t *testing.T) {
	for _, c := range []struct {
		lat, ha, dec, z float64
		pole            string
		gamma           float64
		ha1, ha2, rate  float64
		dec1, dec2      float64
	}{
		{52, 0, 0, 52.0000, "refracted", 45.318, 0.999719293, 0.999718466, 15.036847, 0, 0},
		{52, -60, 0, 72.0715, "true", 0, 0.998913580, 0.998873865, 15.024728, -64.718, -67.592},
		{52, -60, 0, 72.0715, "refracted", 45.318, 0.998913873, 0.998873865, 15.024732, -54.429, -57.289},
		{52, -60, 0, 72.0715, "King", 297.307, 0.998915066, 0.998873865, 15.024750, 2.781, 0},
		{35, 45, 40, 35.6687, "true", 0, 0.999595826, 0.999594852, 15.034989, 7.660, 7.674},
		{35, 45, 40, 35.6687, "refracted", 82.674, 0.999833687, 0.999832668, 15.038567, -7.680, -7.673},
		{35, 45, 40, 35.6687, "King", 41.340, 0.999714765, 0.999713769, 15.036778, -0.009, 0},
		{35, -45, -20, 69.6275, "refracted", 82.674, 0.998650823, 0.998618934, 15.020776, -24.902, -26.445},
		{20, 30, 10, 30.5906, "true", 0, 0.999646454, 0.999645870, 15.035751, 3.296, 3.306},
		{20, 30, 10, 30.5906, "refracted", 157.829, 0.999763492, 0.999762715, 15.037511, -17.410, -17.410},
		{20, 30, 10, 30.5906, "King", 25.186, 0.999665110, 0.999664516, 15.036032, -0.008, 0},
		{65, 75, 50, 40.1303, "refracted", 27.063, 0.999898113, 0.999897557, 15.039536, 2.757, 2.786},
		{65, 75, 50, 40.1303, "King", 38.048, 0.999914552, 0.999913984, 15.039783, -0.028, 0},
	} {
		for _, south := range []bool{false, true} { // the south mirrors the north
			k, dec, sign := King{sphere.Angle(c.lat) * sphere.Degree, dryAir}, sphere.Angle(c.dec)*sphere.Degree, 1.0
			if south {
				k.Lat, dec, sign = -k.Lat, -dec, -1
			}
			ha, gamma := sphere.Angle(c.ha)*sphere.Degree, sphere.Angle(c.gamma)*sphere.Arcsecond
			z := sphere.Angle(math.Acos(k.cosZ(ha, dec)))
			if d := math.Abs(z.Degrees() - c.z); d > 5e-5 {
				t.Errorf("%+v: z %v", c, z)
			}
			if g, err := k.Pole(z); c.pole == "King" && (err != nil || math.Abs(g.Arcseconds()-c.gamma) > 0.001) {
				t.Errorf("%+v: King's pole %v arcsec, %v", c, g.Arcseconds(), err)
			}
			exact, first := k.Motion(gamma, ha, dec), k.linear(gamma, ha, dec)
			for _, v := range []struct {
				what           string
				got, want, tol float64
			}{
				{"exact rate", exact.HA, c.ha1, 2e-9}, {"first-order rate", first.HA, c.ha2, 2e-9},
				{"arcsec/s", sphere.Angle(exact.HA * Sidereal).Arcseconds(), c.rate, 1e-6},
				{"exact drift", sign * exact.DecPerHour().Arcseconds(), c.dec1, 0.002},
				{"first-order drift", sign * first.DecPerHour().Arcseconds(), c.dec2, 0.002},
			} {
				if !(math.Abs(v.got-v.want) <= v.tol) {
					t.Errorf("lat %v H %v dec %v %s south %v: %s = %.10g, want %.10g, tolerance %g", c.lat, c.ha, c.dec, c.pole, south, v.what, v.got, v.want, v.tol)
				}
			}
		}
	}
}

// King's pole for k = 58.0705 arcsec, by an independent program.
func TestKingPole(t *testing.T) {
	zs := []float64{0, 30, 45, 60, 70}
	for _, c := range []struct {
		lat       float64
		want      [5]float64
		refracted float64
	}{
		{20, [5]float64{18.66, 24.88, 37.33, 74.65, 159.55}, 159.55},
		{35, [5]float64{27.28, 36.38, 54.57, 109.14, 233.24}, 82.93},
		{52, [5]float64{28.17, 37.56, 56.35, 112.69, 240.84}, 45.37},
		{65, [5]float64{22.24, 29.66, 44.48, 88.97, 190.14}, 27.08},
	} {
		for _, sign := range []float64{1, -1} {
			k := King{sphere.Angle(sign*c.lat) * sphere.Degree, Refraction{A: float64(58.0705 * sphere.Arcsecond)}}
			for i, z := range zs {
				g, err := k.Pole(sphere.Angle(z) * sphere.Degree)
				if err != nil || math.Abs(g.Arcseconds()-c.want[i]) > 0.006 {
					t.Errorf("lat %v z %v: %.3f arcsec (%v), want %v", sign*c.lat, z, g.Arcseconds(), err, c.want[i])
				}
			}
			if g := k.refractedPole().Arcseconds(); math.Abs(g-c.refracted) > 0.006 {
				t.Errorf("lat %v: refracted pole %.3f arcsec, want %v", sign*c.lat, g, c.refracted)
			}
		}
	}
}

// The refracted pole is King's pole at the pole's own zenith distance; the
// mean pole of a window leaves less mean square drift than its neighbours.
func TestKingPoleFor(t *testing.T) {
	k := King{20 * sphere.Degree, dryAir}
	g, err := k.Pole(70 * sphere.Degree)
	if err != nil || math.Abs((g-k.refractedPole()).Arcseconds()) > 1e-6 {
		t.Errorf("pole at z 70: %v, refracted %v, %v", g.Arcseconds(), k.refractedPole().Arcseconds(), err)
	}
	w := Window{Dec: 10 * sphere.Degree, From: -40 * sphere.Degree, To: 55 * sphere.Degree}
	best, err := k.PoleFor(w)
	if err != nil {
		t.Fatal(err)
	}
	square := func(gamma sphere.Angle) (sum float64) {
		for h := w.From; h <= w.To; h += sphere.Degree / 2 {
			sum += math.Pow(k.Motion(gamma, h, w.Dec).DecPerHour().Arcseconds(), 2)
		}
		return sum
	}
	for _, d := range []sphere.Angle{-3, 3, -20, 20} {
		if square(best) >= square(best+d*sphere.Arcsecond) {
			t.Errorf("pole %v arcsec: drift smaller at %+v", best.Arcseconds(), d)
		}
	}
	if _, err := k.PoleFor(Window{Dec: -20 * sphere.Degree, From: 0, To: 80 * sphere.Degree}); err == nil {
		t.Error("window that ends near the horizon: want an error")
	}
}
