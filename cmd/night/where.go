package night

import (
	"math/rand/v2"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Invented places.
var (
	placeHeads = []string{"Alder", "Bram", "Corran", "Dusk", "Eskel", "Fenn", "Garrow", "Hollin", "Kestel", "Lorn", "Marl", "Orrin", "Pell", "Quill", "Sorrel", "Tallow", "Ulver", "Wether"}
	placeTails = []string{"combe", "fell", "hollow", "mere", "moor", "reach", "rigg", "shaw", "stow", "water"}
	placeSpots = []string{"orchard", "roof", "back garden", "hayfield", "sheepfold", "quarry", "old jetty", "terrace", "churchyard wall", "car park"}
)

func placeName(rng *rand.Rand) string {
	return pick(rng, placeSpots...) + " at " + pick(rng, placeHeads...) + pick(rng, placeTails...)
}

// land is a rectangle of land, degrees.
type land struct{ south, north, west, east float64 }

// Land in either hemisphere, far from coasts and with ordinary latitudes.
var (
	northLand = []land{{45, 55, 8, 35}, {34, 48, -115, -85}, {36, 40, 30, 42}, {43, 52, 45, 80}}
	southLand = []land{{-33, -24, 118, 148}, {-32, -23, 18, 28}, {-38, -27, -69, -61}}
)

// demoSite invents a site on land, its numbers as plain as a user would type.
func demoSite(rng *rand.Rand, south bool) place.Site {
	g := pick(rng, northLand...)
	if south {
		g = pick(rng, southLand...)
	}
	return site(between(rng, g.south, g.north), between(rng, g.west, g.east), between(rng, 20, 900))
}

// anySite invents a site of either hemisphere from 2 to 68 degrees latitude.
func anySite(rng *rand.Rand) place.Site {
	lat := between(rng, 2, 68)
	if rng.IntN(2) == 0 {
		lat = -lat
	}
	return site(lat, between(rng, -180, 180), between(rng, 0, 3000))
}

// site rounds to 0.01 degrees and 10 m.
func site(lat, lon, elev float64) place.Site {
	round := func(v, to float64) float64 { return float64(int(v/to)) * to }
	return place.Site{
		Lat: sphere.Angle(round(lat, 0.01)) * sphere.Degree, Lon: sphere.Angle(round(lon, 0.01)) * sphere.Degree, Elev: round(elev, 10),
	}
}
