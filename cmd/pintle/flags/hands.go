package flags

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/device"
	"pintle/index/sphere"
)

// Hands say what camera and mount are to do in the person's place.
type Hands struct {
	fs             *pflag.FlagSet
	turn, lowest   float64 // degrees
	unpark, Agreed bool
	Fixed          bool
	Longest        time.Duration
	gain           float64
	binning        int
}

// usualShot is the first exposure (no source; shows some hundred stars behind
// most lenses).
const usualShot = 2 * time.Second

// Add adds them to those of a Sight.
func (f *Hands) Add(fs *pflag.FlagSet) {
	f.fs = fs
	for name, usage := range map[string]string{
		"camera":   "a `camera` of the gear file, or an address: the one that takes the photographs, and that --tolerance auto goes by (default: its default camera)",
		"mount":    "a `mount` of the gear file, or an address: the one whose bolts are turned and, with --turn, that turns RA (default: its default mount)",
		"exposure": "exposure in `seconds`: of the photographs that pintle takes (default 2), or of files that do not say",
	} {
		fs.Lookup(name).Usage = usage
	}
	fs.Float64Var(&f.turn, "turn", 0, "let the mount turn RA by so many `degrees` between frames; it asks first")
	fs.Float64Var(&f.lowest, "lowest", device.Usual.Lowest.Degrees(), "with --turn: least altitude in `degrees` that the camera may come down to")
	fs.BoolVar(&f.unpark, "unpark", false, "with --turn: a parked mount may be unparked")
	fs.BoolVar(&f.Agreed, "yes", false, "with --turn: do not ask before a turn; I stand beside the mount, cables and camera are clear of the tripod")
	fs.Float64Var(&f.gain, "gain", 0, "gain of the photographs that pintle takes, in the camera's own numbers (default: as it is set)")
	fs.IntVar(&f.binning, "binning", 0, "binning of the photographs that pintle takes (default: as it is set)")
	fs.BoolVar(&f.Fixed, "fixed", false, "leave the exposure of the photographs that pintle takes as it is")
	fs.DurationVar(&f.Longest, "longest", device.UsualLongest, "longest exposure that is chosen for the photographs that pintle takes")
}

// Turns reports whether the mount is to turn.
func (f *Hands) Turns() bool { return f.fs.Changed("turn") }

// Angle is by how much.
func (f *Hands) Angle() sphere.Angle { return sphere.Angle(f.turn) * sphere.Degree }

// Lowest is the least altitude of a path.
func (f *Hands) Lowest() sphere.Angle { return sphere.Angle(f.lowest) * sphere.Degree }

// Unpark reports whether a parked mount may be unparked.
func (f *Hands) Unpark() bool { return f.unpark }

// given returns which of some flags were given, for an error.
func (f *Hands) given(names ...string) string {
	var out []string
	for _, n := range names {
		if f.fs.Changed(n) {
			out = append(out, "--"+n)
		}
	}
	return strings.Join(out, ", ")
}

// Check says whether they go together. shoots says that pintle takes the
// photographs; camera is how to have it do so.
func (f *Hands) Check(shoots bool, camera string) error {
	switch out := f.given("lowest", "unpark", "yes"); {
	case out != "" && !f.Turns():
		return advice.With(fmt.Errorf("%s without --turn", out), "they are about turning RA by the mount: --turn 20")
	case f.given("gain", "binning", "fixed", "longest") != "" && !shoots:
		return advice.With(fmt.Errorf("%s, but pintle takes no photographs", f.given("gain", "binning", "fixed", "longest")), camera)
	case f.Turns() && !shoots:
		return advice.With(errors.New("--turn, but pintle takes no photographs: nothing is turned before a frame of its camera was recognised"), camera)
	case f.Turns() && !(f.Angle() >= device.LeastTurn && f.Angle() <= device.Usual.Turn):
		return advice.With(fmt.Errorf("--turn %g is out of range %g to %g degrees", f.turn, device.LeastTurn.Degrees(), device.Usual.Turn.Degrees()), "20 is good")
	case f.Turns() && !(f.Lowest() >= device.LeastLowest && f.Lowest() <= device.MostLowest):
		return advice.With(fmt.Errorf("--lowest %g is out of range %g to %g degrees", f.lowest, device.LeastLowest.Degrees(), device.MostLowest.Degrees()), "leave it out: 20")
	case shoots && (f.Longest <= 0 || f.Longest > time.Hour):
		return advice.With(fmt.Errorf("--longest %v is out of range 1ms to 1h", f.Longest), "leave it out: 15s")
	}
	return nil
}

// Shot is the first exposure; told is what --exposure says, 0 for nothing.
func (f *Hands) Shot(told time.Duration) device.Exposure {
	e := device.Exposure{Time: told, Binning: f.binning}
	if told == 0 {
		e.Time = usualShot
	}
	if f.fs.Changed("gain") {
		e.Gain = &f.gain
	}
	return e
}
