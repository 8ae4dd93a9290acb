package main

import (
	"pintle/axis/place"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

// near is true when a record was made within some kilometres of a site.
func near(s journal.Site, t place.Site) bool {
	const few = 0.05 * sphere.Degree
	return (sphere.Angle(s.Lat)*sphere.Degree-t.Lat).Abs() < few && (sphere.Angle(s.Lon)*sphere.Degree-t.Lon).Wrap().Abs() < few
}
