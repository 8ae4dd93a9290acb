package flags

import (
	"fmt"
	"strconv"
	"time"

	"github.com/spf13/pflag"

	"pintle/axis"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
	"pintle/index/written"
)

// Sight are the flags of the verbs that look at photographs of one mount:
// what the person says of site, air, times, pole and gear.
type Sight struct {
	Index  Index
	Frames Frames
	Site   Site
	target Target // for King's pole

	headerWrong bool
	pole        string
	tolerance   tolerance
	camera      string
	Mount       string
	altTurn     float64
	azTurn      float64
}

// Add adds those that every such verb has.
func (f *Sight) Add(fs *pflag.FlagSet) {
	f.Site.Add(fs)
	f.Frames.Add(fs)
	f.Index.Add(fs)
	fs.BoolVar(&f.headerWrong, "header-wrong", false, "the sites in the frames' headers are wrong: go by the site given here, even in the other hemisphere")
}

// AddAim adds those about the pole and how near to it is near enough.
func (f *Sight) AddAim(fs *pflag.FlagSet) {
	fs.StringVar(&f.pole, "pole", "refracted", "the pole to align to: refracted, true, or king for the least drift of a --target")
	f.target.Add(fs)
	f.AddTolerance(fs)
}

// AddTolerance adds those about how near is near enough.
func (f *Sight) AddTolerance(fs *pflag.FlagSet) {
	fs.Var(&f.tolerance, "tolerance", "how far off the axis may be, in `arcminutes`, or auto: what the camera's exposures allow (default: the gear file's, or 1)")
	fs.StringVar(&f.camera, "camera", "", "the `camera` of the gear file that --tolerance auto goes by (default: its default camera)")
}

// AddMount adds those about the adjusters.
func (f *Sight) AddMount(fs *pflag.FlagSet) {
	fs.StringVar(&f.Mount, "mount", "", "the `mount` of the gear file whose bolts are turned (default: its default mount)")
	fs.Var(written.PerTurn.Flag(&f.altTurn, 0), "alt-turn", "`arcminutes` for one turn of the altitude adjuster, when known")
	fs.Var(written.PerTurn.Flag(&f.azTurn, 0), "az-turn", "`arcminutes` for one turn of the azimuth adjuster, when known")
}

// tolerance reads a tolerance: arcmin, or auto.
type tolerance struct {
	auto   bool
	arcmin *float64
}

func (v *tolerance) String() string {
	switch {
	case v == nil || !v.auto && v.arcmin == nil:
		return ""
	case v.auto:
		return "auto"
	}
	return strconv.FormatFloat(*v.arcmin, 'g', -1, 64)
}

func (v *tolerance) Set(s string) error {
	if s == "auto" {
		*v = tolerance{auto: true}
		return nil
	}
	x, err := written.Tolerance.Convert(s)
	if err != nil {
		return fmt.Errorf("%w, or auto", err)
	}
	*v = tolerance{arcmin: &x}
	return nil
}

func (v *tolerance) Type() string { return "arcminutes" }

// Told is what the flags say.
func (f *Sight) Told(now time.Time) (session.Told, error) {
	t := session.Told{HeaderWrong: f.headerWrong, Mount: f.Mount, Camera: f.camera, Auto: f.tolerance.auto, Tolerance: f.tolerance.arcmin,
		AltPerTurn: f.altTurn, AzPerTurn: f.azTurn}
	var err error
	if t.Frames, err = f.Frames.Options(now); err != nil {
		return t, err
	}
	if err := f.Site.Tell(&t); err != nil {
		return t, err
	}
	switch f.pole {
	case "refracted", "":
		t.Pole = axis.Refracted
	case "true":
		t.Pole = axis.True
	case "king":
		t.King, err = f.king()
	default:
		err = advice.With(fmt.Errorf("--pole %q is not known", f.pole), "refracted, where the axis belongs for ordinary use, or true, or king")
	}
	return t, err
}

// king is the wish for King's pole.
func (f *Sight) king() (*session.KingWish, error) {
	target, ok, err := f.target.Target()
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, words.PlainError(&session.Unsettled{Kind: session.NoTarget})
	}
	return &session.KingWish{Target: target, MinAlt: f.target.MinAlt()}, nil
}
