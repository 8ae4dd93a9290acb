package stars

import (
	"math"
	"testing"

	"pintle/index/sphere"
)

// raw is what the lines of the Tycho-2 files say: degrees, mas/yr (mu alpha cos
// delta), magnitudes; 0 stands for a blank BT.
type raw struct {
	tyc            string
	ra, dec, epoch float64
	pmRA, pmDec    float64
	bt, vt         float64
	v              float64 // by note 7 of the ReadMe, by hand
	still          bool
}

// Main file unless said otherwise; the epoch is J2000, J1991.25 in the
// supplement, that of the observed place (mean of the two) at flag X.
var rawLines = []raw{
	{tyc: "4628-237-1 (Polaris, flag X)", ra: 37.94661861, dec: 89.26413528, epoch: 1991.72, bt: 2.708, vt: 2.038, v: 1.978, still: true},
	{tyc: "425-2502-1 (fastest of all)", ra: 269.45207389, dec: 4.69327996, epoch: 2000, pmRA: -798.8, pmDec: 10277.3, bt: 11.683, vt: 9.776, v: 9.604},
	{tyc: "8078-1749-1", ra: 77.91919945, dec: -45.01851748, epoch: 2000, pmRA: 6544.2, pmDec: -5774.3, bt: 10.792, vt: 9.033, v: 8.875},
	{tyc: "3168-2798-1", ra: 316.73028966, dec: 38.74202151, epoch: 2000, pmRA: 4117.1, pmDec: 3128.0, bt: 7.636, vt: 6.097, v: 5.958},
	{tyc: "9350-1626-1", ra: 6.43782906, dec: -77.25425174, epoch: 2000, pmRA: 2221.9, pmDec: 322.6, bt: 3.543, vt: 2.855, v: 2.793},
	{tyc: "suppl_1 5949-2777-1 (Sirius)", ra: 101.28854105, dec: -16.71314306, epoch: 1991.25, pmRA: -546.0, pmDec: -1223.1, v: -1.088 - 0.12},
	{tyc: "suppl_1 3105-2070-1 (Vega)", ra: 279.23410832, dec: 38.78299311, epoch: 1991.25, pmRA: 201.0, pmDec: 287.5, v: 0.087 - 0.12},
	{tyc: "suppl_1 1472-1436-1 (Arcturus)", ra: 213.91811506, dec: 19.18727298, epoch: 1991.25, pmRA: -1093.4, pmDec: -1999.4, v: 0.161 - 0.12},
	{tyc: "suppl_1 9007-5849-1", ra: 219.92041034, dec: -60.83514707, epoch: 1991.25, pmRA: -3678.2, pmDec: 481.8, v: 0.137 - 0.12},
	{tyc: "suppl_1 8534-2277-1 (Canopus)", ra: 95.98787763, dec: -52.69571799, epoch: 1991.25, pmRA: 20.0, pmDec: 23.7, bt: -0.417, vt: -0.608, v: -0.625},
	{tyc: "suppl_1 4635-1235-1 (flag T)", ra: 132.73856475, dec: 85.04278255, epoch: 1991.25, bt: 10.942, vt: 10.247, v: 10.184, still: true},
	{tyc: "4643-26-1, near the north pole", ra: 123.06556213, dec: 89.83233298, epoch: 2000, pmRA: -1.0, pmDec: 4.6, bt: 12.858, vt: 11.297, v: 11.157},
	{tyc: "9504-35-1, near the south pole", ra: 60.21932011, dec: -89.88966316, epoch: 2000, pmRA: -8.5, pmDec: -10.1, bt: 13.163, vt: 11.338, v: 11.174},
	{tyc: "9520-363-1, near the south pole", ra: 196.13684162, dec: -89.88721926, epoch: 2000, pmRA: -14.3, pmDec: 5.0, bt: 12.698, vt: 11.401, v: 11.284},
	{tyc: "9503-307-1, flag X", ra: 32.32453639, dec: -89.13685361, epoch: 1991.765, bt: 10.932, vt: 10.222, v: 10.158, still: true},
	{tyc: "593-1533-1, below RA 360", ra: 359.99988138, dec: 5.20845656, epoch: 2000, pmRA: -8.7, pmDec: -9.4, bt: 11.947, vt: 11.309, v: 11.252},
	{tyc: "1178-1841-1, above RA 0", ra: 0.00437263, dec: 15.43090546, epoch: 2000, pmRA: 4.0, pmDec: -13.7, bt: 12.776, vt: 12.382, v: 12.347},
	{tyc: "40-1338-2, flag P", ra: 30.51169807, dec: 2.76374242, epoch: 2000, pmRA: 41.8, pmDec: -11.0, bt: 5.445, vt: 5.167, v: 5.142},
	{tyc: "77-1286-1, no BT", ra: 63.94277263, dec: 3.26324035, epoch: 2000, pmRA: -4.9, pmDec: -10.1, vt: 11.189, v: 11.189 - 0.09*0.72},
	{tyc: "77-412-1, no VT", ra: 64.92261166, dec: 3.76889045, epoch: 2000, pmRA: 23.5, pmDec: -6.6, bt: 11.690, v: 11.690 - 1.09*0.72},
}

// at moves the star along a great circle in the plane tangent to its place.
func (r raw) at(epoch float64) sphere.Sky {
	t := (epoch - r.epoch) * math.Pi / 180 / 3.6e6
	xi, eta := r.pmRA*t, r.pmDec*t
	ra, dec := r.ra*math.Pi/180, r.dec*math.Pi/180
	ra += math.Atan2(xi, math.Cos(dec)-eta*math.Sin(dec))
	dec = math.Asin((math.Sin(dec) + eta*math.Cos(dec)) / math.Sqrt(1+xi*xi+eta*eta))
	return sphere.SkyAt(sphere.Angle(ra), sphere.Angle(dec))
}

func TestPlacesAgainstRawLines(t *testing.T) {
	for _, r := range rawLines {
		for _, epoch := range []float64{2000, 2026.9, 2050} {
			want := r.at(epoch)
			var best *Star
			for _, s := range Embedded().Cone(nil, want, 0.1*sphere.Arcsecond, 99, epoch) {
				if math.Abs(float64(s.V)-r.v) <= 0.02 {
					best = &s
				}
			}
			if best == nil {
				t.Errorf("TYC %s, V %.3f: not within 0.1 arcsec and 0.02 mag in %v", r.tyc, r.v, epoch)
				continue
			}
			known := r.bt != 0 && r.vt != 0
			if bv := float64(best.BV); known == math.IsNaN(bv) || known && math.Abs(bv-0.85*(r.bt-r.vt)) > 0.0501 {
				t.Errorf("TYC %s: B-V %v, want %v (known %v)", r.tyc, bv, 0.85*(r.bt-r.vt), known)
			}
			if r.still != Embedded().record(int(best.ID)).unmoved() {
				t.Errorf("TYC %s: proper motion unknown %v, want %v", r.tyc, !r.still, r.still)
			}
		}
	}
}

// Places for J2000 as every star chart has them, from memory (Hipparcos).
func TestPlacesOfWellKnownStars(t *testing.T) {
	for _, c := range []struct {
		name                string
		h, m, s, d, am, as  float64
		south               bool
		v, maxOff, maxOffMg float64 // arcsec, mag
	}{
		{"Sirius", 6, 45, 8.917, 16, 42, 58.02, true, -1.46, 0.1, 0.3},
		{"Vega", 18, 36, 56.336, 38, 47, 1.28, false, 0.03, 0.1, 0.1},
		{"Arcturus", 14, 15, 39.672, 19, 10, 56.67, false, -0.05, 0.1, 0.1},
		{"Canopus", 6, 23, 57.110, 52, 41, 44.38, true, -0.74, 0.1, 0.15},
		{"Betelgeuse", 5, 55, 10.305, 7, 24, 25.43, false, 0.5, 0.1, 0.3},
		{"Polaris", 2, 31, 49.095, 89, 15, 50.79, false, 1.98, 0.5, 0.1}, // stands where it was in 1991
	} {
		dec := sphere.Angle(c.d+c.am/60+c.as/3600) * sphere.Degree
		if c.south {
			dec = -dec
		}
		at := sphere.SkyAt(sphere.Angle(c.h+c.m/60+c.s/3600)*sphere.Hour, dec)
		found := Embedded().Cone(nil, at, sphere.Arcminute, 4, 2000)
		if len(found) == 0 {
			t.Errorf("%s is missing", c.name)
			continue
		}
		if d := found[0].Pos.Sep(at).Arcseconds(); d > c.maxOff {
			t.Errorf("%s is %.3f arcsec off, want %v", c.name, d, c.maxOff)
		}
		if d := math.Abs(float64(found[0].V) - c.v); d > c.maxOffMg {
			t.Errorf("%s has V %.2f, want %v within %v", c.name, found[0].V, c.v, c.maxOffMg)
		}
	}
}
