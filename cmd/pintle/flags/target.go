package flags

import (
	"fmt"

	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
	"pintle/index/written"
)

// Target names what is photographed.
type Target struct {
	name, ra, dec string
	minAlt        float64 // degrees
}

// Add adds them.
func (f *Target) Add(fs *pflag.FlagSet) {
	fs.StringVar(&f.name, "target", "", "`name` of the target: M42, NGC 253, IC 434, a common name, or a bright star")
	fs.StringVar(&f.ra, "ra", "", "right ascension of the target, degrees, or `hours` as 5h35m17s (J2000)")
	fs.StringVar(&f.dec, "dec", "", "declination of the target in `degrees`, decimal or as -5:23:28 (J2000)")
	fs.Var(written.Span("lowest altitude", 0, 90, false).Flag(&f.minAlt, planning.UsualTargetAlt), "min-alt", "lowest `altitude` at which the target is photographed, degrees")
}

// MinAlt is the lowest altitude at which the target is photographed.
func (f *Target) MinAlt() sphere.Angle { return sphere.Angle(f.minAlt) * sphere.Degree }

// Target returns the target asked for; ok is false when there is none.
func (f *Target) Target() (t targets.Target, ok bool, err error) {
	if err := f.check(); err != nil {
		return t, false, err
	}
	switch {
	case f.name != "":
		t, err = targets.Find(f.name)
		err = advice.With(err, "another name, or its coordinates with --ra and --dec")
	case f.ra != "":
		t, err = f.place()
	default:
		return t, false, nil
	}
	return t, err == nil, err
}

// check says whether the flags go together.
func (f *Target) check() error {
	placed := f.ra != "" || f.dec != ""
	switch {
	case !(f.minAlt >= 10 && f.minAlt < 90):
		return advice.With(fmt.Errorf("--min-alt %g is out of range 10 to 90", f.minAlt), "30 degrees is a usual choice; below 10 the air spoils everything")
	case f.name != "" && placed:
		return advice.With(fmt.Errorf("--target and --ra, --dec are both given"), "give one of them")
	case placed && (f.ra == "" || f.dec == ""):
		return advice.With(fmt.Errorf("only one of --ra and --dec is given"), "give both, such as --ra 5h35m17s --dec -5:23:28")
	}
	return nil
}

// place is the target that --ra and --dec say.
func (f *Target) place() (t targets.Target, err error) {
	ra, err := written.RightAscension(f.ra)
	if err != nil {
		return t, advice.With(fmt.Errorf("--ra: %w", err), "degrees such as 83.82, or hours as 5h35m17s")
	}
	dec, err := written.Declination(f.dec)
	if err != nil {
		return t, advice.With(fmt.Errorf("--dec: %w", err), "degrees from -90 to 90, south negative")
	}
	return targets.Target{Name: "target", Pos: sphere.SkyAt(ra, dec)}, nil
}
