package words

import (
	"fmt"
	"strings"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/index/sphere"
)

const DemoLong = `Invents a night: a place, a portable mount whose axis is off, and a small
camera. Renders what the camera sees into files, with photon noise and hot
pixels, measures those files exactly as "pintle axis" does, and prints the
answer beside the truth. Nothing in it is real.

With --live it is a rehearsal of "pintle live": a pretended camera takes a frame
every few seconds while you turn the pretended mount from the page or by keys.

With --devices the invented mount and camera answer by Alpaca on this computer, in
a night that is now, for other commands to photograph with and to turn.`

const DemoExample = `  pintle demo
  pintle demo --south --seed 7
  pintle demo --keep /tmp/night
  pintle demo --live --phone
  pintle demo --devices`

// Pretended says how pretended devices at an address are used; found are those that
// answer to a call.
func Pretended(host string, found bool, site place.Site) string {
	devices := "  pintle devices"
	if !found {
		devices += " --alpaca " + host
	}
	where := fmt.Sprintf("--lat %.2f --lon %.2f --elev %.0f", site.Lat.Degrees(), site.Lon.Degrees(), site.Elev)
	return strings.Join([]string{
		"A pretended mount and camera answer at " + host + ". In another terminal:",
		"",
		devices,
		"  pintle axis --camera alpaca://" + host + "/camera/0 --mount alpaca://" + host + "/telescope/0 --turn 20 " + where,
		"  pintle axis --camera alpaca://" + host + "/camera/0 --frames 3 " + where + "    (you turn RA here: \"ra 20\" and Enter)",
		"  pintle live tonight --camera alpaca://" + host + "/camera/0 --mount alpaca://" + host + "/telescope/0 --turn 20 " + where,
		"",
		PretendedKeys + " Ctrl-C ends.",
	}, "\n")
}

// PretendedKeys says how the pretended bolts are turned.
const PretendedKeys = "Here \"alt 5\" and Enter turns the altitude bolt by 5', \"az -10\" the azimuth bolt, \"ra 20\" turns RA by 20° to the west by hand."

// PretendedTurned says that RA was turned by hand.
func PretendedTurned(by sphere.Angle) string {
	return fmt.Sprintf("RA of the pretended mount is turned by %.3g°.", by.Degrees())
}

// PretendedOff says how far the pretended axis is off.
func PretendedOff(o axis.Parts) string {
	return fmt.Sprintf("The pretended axis is off by %+.2f' in altitude and %+.2f' at the azimuth adjuster, in all %.2f'.", o.Alt.Arcminutes(), o.AzKnob.Arcminutes(), o.Total.Arcminutes())
}
