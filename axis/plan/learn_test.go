package plan

import (
	"math"
	"math/rand/v2"
	"testing"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// sky invents the listed stars of a photograph over a range of azimuth and altitude,
// degrees, in the numbers of the sky (some 0.16 of magnitude 6 and brighter on a square
// degree, 2.7 times as many for a magnitude), and sees those above a skyline to
// magnitude 7 but for a share that is missed; spots are so many false ones on the ground.
func sky(rng *rand.Rand, from, to, low, high float64, skyline func(az float64) float64) (out []Look) {
	area := (to - from) * (math.Sin(high*math.Pi/180) - math.Sin(low*math.Pi/180)) * 180 / math.Pi
	for range int(area * 0.16 * math.Pow(2.7, 2)) { // to magnitude 8
		v := 8 + math.Log(1-rng.Float64())/math.Log(2.7)
		az := from + (to-from)*rng.Float64()
		s := math.Sin(low*math.Pi/180) + (math.Sin(high*math.Pi/180)-math.Sin(low*math.Pi/180))*rng.Float64()
		alt := math.Asin(s) * 180 / math.Pi
		a := sphere.Angle(alt) * sphere.Degree
		seen := v+0.25*(place.AirMass(a)-1)+0.2*rng.NormFloat64() < 7 && rng.Float64() > 0.05
		if alt < skyline(az) {
			seen = rng.Float64() < 0.02
		}
		out = append(out, Look{Dir: sphere.LocalAt((sphere.Angle(az) * sphere.Degree).Turn(), a), V: v, Seen: seen})
	}
	return out
}

func open(float64) float64 { return 0 }

// A skyline is learnt to within a few degrees where stars tell, and nothing is said of
// where they do not.
func TestLearn(t *testing.T) {
	houses := func(az float64) float64 {
		switch az = math.Mod(az+360, 360); {
		case az > 115 && az < 150:
			return 27
		case az > 150 && az < 170:
			return 20
		case az > 350 || az < 15:
			return 40
		}
		return 0
	}
	for i, c := range []struct{ from, to, low, high float64 }{{90, 190, 3, 60}, {330, 400, 3, 70}, {0, 360, 3, 85}, {110, 140, 10, 50}} {
		rng := rand.New(rand.NewPCG(20261128, uint64(i)))
		got := Learn(sky(rng, c.from, c.to, c.low, c.high, houses))
		for az := c.from + 2.5; az < c.to; az += 5 {
			want, h := houses(az), got.Lowest(sphere.Angle(az)*sphere.Degree).Degrees()
			// A sector that the edge of a house cuts may be told either way.
			if l, r := houses(az-4), houses(az+4); l != want || r != want {
				continue
			}
			if math.Abs(h-want) > 4 {
				t.Errorf("frame %d, azimuth %g: blocked up to %.0f, learnt %.0f", i, az, want, h)
			}
		}
		for _, b := range got {
			if az := b.From.Degrees(); c.to-c.from < 360 && math.Mod(az-c.from+360, 360) > c.to-c.from {
				t.Errorf("frame %d: something is said of azimuth %g, which is not in it", i, az)
			}
		}
	}
}

// On an open sky nothing is invented, by hundreds of frames; nor when half of the stars
// are missed everywhere, or when there are few.
func TestLearnInventsNothing(t *testing.T) {
	for i := range 300 {
		rng := rand.New(rand.NewPCG(20261129, uint64(i)))
		from, low := 360*rng.Float64(), 3+30*rng.Float64()
		looks := sky(rng, from, from+15+120*rng.Float64(), low, low+10+40*rng.Float64(), open)
		for j := range looks {
			if i%3 == 1 && rng.IntN(2) == 0 {
				looks[j].Seen = false
			}
			if i%3 == 2 && j >= 60 {
				looks[j].Seen = false // as of a camera that shows few
			}
		}
		if got := Learn(looks); got != nil {
			t.Errorf("frame %d, azimuth from %.0f, altitude from %.0f: %v", i, from, low, got)
		}
	}
	if Learn(nil) != nil {
		t.Error("something from nothing")
	}
}
