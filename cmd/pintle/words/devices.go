package words

import (
	"fmt"
	"time"
)

const DevicesLong = `Lists the cameras and mounts that answer by one of the two open standards, INDI
and Alpaca: those of an INDI server on this computer, those of Alpaca servers
that answer to a call into the local network, and those at the addresses given.
The addresses in the list are what other commands take.

Nothing is moved, and nothing is switched on. Without any gear, "pintle demo
--devices" in another terminal makes an invented camera and mount answer.`

const DevicesExample = `  pintle devices
  pintle devices --indi scope.local
  pintle devices --alpaca 192.168.1.20:11111`

const ShootLong = `Takes photographs with a camera that answers by INDI or Alpaca and keeps them in a
folder, where "pintle axis" and "pintle live" find them. They come as the camera
delivers them. When the time in a FITS file is more than 2 s from this computer's
clock, the computer's is put in its place, and that is said.

The camera is named by its address, as "pintle devices" shows it, or by its name in
the gear file when that has the address as "at". When a frame shows too few stars,
or too many burnt ones, the next exposure is changed; --fixed leaves it alone.`

const ShootExample = `  pintle shoot tonight --camera "indi://localhost/CCD%20Simulator" --frames 3
  pintle shoot tonight --camera alpaca://192.168.1.20:11111/camera/0 --exposure 4s --every 10s`

// NoDevices says what to do when nothing answers.
const NoDevices = `No camera and no mount answers. Is the INDI or Alpaca server running? Name its address with --indi or --alpaca.
To try it without gear, begin "pintle demo --devices" in another terminal: its invented camera and mount then answer here.`

// DeviceKinds says what a device is.
func DeviceKinds(camera, mount bool) string {
	switch {
	case camera && mount:
		return "camera, mount"
	case camera:
		return "camera"
	}
	return "mount"
}

// ShotKept tells of a photograph that was taken.
func ShotKept(path string, exposure time.Duration, apart time.Duration, corrected bool) string {
	s := fmt.Sprintf("%s, %s", path, seconds(exposure))
	switch {
	case corrected && apart != 0:
		s += fmt.Sprintf("; the camera's clock is %s off, so this computer's time was put in", seconds(apart.Abs().Round(10*time.Millisecond)))
	case corrected:
		s += "; the camera told no time, so this computer's was put in"
	}
	return s
}

// ExposureChanged tells of the next exposure. Why is one of few stars, burnt out
// and bright sky.
func ExposureChanged(why string, stars, burnt int, next time.Duration) string {
	switch why {
	case "few stars":
		return fmt.Sprintf("%d stars are few: exposing %s from here on.", stars, seconds(next))
	case "burnt out":
		return fmt.Sprintf("%d of %d stars are burnt out: exposing %s from here on.", burnt, stars, seconds(next))
	}
	return fmt.Sprintf("The sky is bright: exposing %s from here on.", seconds(next))
}
