package main

import (
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/spf13/pflag"

	"pintle/axis"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/written"
)

// sightFlags are the flags of the verbs that look at photographs of one mount:
// what the person says of site, air, times, pole and gear.
type sightFlags struct {
	idx    indexFlags
	frames frameFlags
	site   siteFlags
	target targetFlags // for King's pole

	headerWrong bool
	pole        string
	tolerance   toleranceValue
	camera      string
	mount       string
	altTurn     float64
	azTurn      float64
}

// add adds those that every such verb has.
func (f *sightFlags) add(fs *pflag.FlagSet) {
	f.site.add(fs)
	f.frames.add(fs)
	f.idx.add(fs)
	fs.BoolVar(&f.headerWrong, "header-wrong", false, "the sites in the frames' headers are wrong: go by the site given here, even in the other hemisphere")
}

// addAim adds those about the pole and how near to it is near enough.
func (f *sightFlags) addAim(fs *pflag.FlagSet) {
	fs.StringVar(&f.pole, "pole", "refracted", "the pole to align to: refracted, true, or king for the least drift of a --target")
	f.target.add(fs)
	f.addTolerance(fs)
}

func (f *sightFlags) addTolerance(fs *pflag.FlagSet) {
	fs.Var(&f.tolerance, "tolerance", "how far off the axis may be, in `arcminutes`, or auto: what the camera's exposures allow (default: the gear file's, or 1)")
	fs.StringVar(&f.camera, "camera", "", "the `camera` of the gear file that --tolerance auto goes by (default: its default camera)")
}

// addMount adds those about the adjusters.
func (f *sightFlags) addMount(fs *pflag.FlagSet) {
	fs.StringVar(&f.mount, "mount", "", "the `mount` of the gear file whose bolts are turned (default: its default mount)")
	fs.Var(written.PerTurn.Flag(&f.altTurn, 0), "alt-turn", "`arcminutes` for one turn of the altitude adjuster, when known")
	fs.Var(written.PerTurn.Flag(&f.azTurn, 0), "az-turn", "`arcminutes` for one turn of the azimuth adjuster, when known")
}

// toleranceValue reads a tolerance: arcmin, or auto.
type toleranceValue struct {
	auto   bool
	arcmin *float64
}

func (v *toleranceValue) String() string {
	switch {
	case v == nil || !v.auto && v.arcmin == nil:
		return ""
	case v.auto:
		return "auto"
	}
	return strconv.FormatFloat(*v.arcmin, 'g', -1, 64)
}

func (v *toleranceValue) Set(s string) error {
	if s == "auto" {
		*v = toleranceValue{auto: true}
		return nil
	}
	x, err := written.Tolerance.Convert(s)
	if err != nil {
		return fmt.Errorf("%w, or auto", err)
	}
	*v = toleranceValue{arcmin: &x}
	return nil
}

func (v *toleranceValue) Type() string { return "arcminutes" }

// told is what the flags say.
func (f *sightFlags) told(now time.Time) (session.Told, error) {
	t := session.Told{HeaderWrong: f.headerWrong, Mount: f.mount, Camera: f.camera, Auto: f.tolerance.auto, Tolerance: f.tolerance.arcmin,
		AltPerTurn: f.altTurn, AzPerTurn: f.azTurn}
	var err error
	if t.Frames, err = f.frames.options(now); err != nil {
		return t, err
	}
	if err := f.site.tell(&t); err != nil {
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
func (f *sightFlags) king() (*session.KingWish, error) {
	target, ok, err := f.target.target()
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, words.PlainError(&session.Unsettled{Kind: session.NoTarget})
	}
	return &session.KingWish{Target: target, MinAlt: sphere.Angle(f.target.minAlt) * sphere.Degree}, nil
}

// record says what becomes of a measurement beyond being shown.
type recordFlags struct {
	journalFlags
	none bool
	note string
}

func (f *recordFlags) add(fs *pflag.FlagSet) {
	f.journalFlags.add(fs)
	fs.BoolVar(&f.none, "no-journal", false, "keep nothing in the journal")
	fs.StringVar(&f.note, "note", "", "a `remark` to keep with the measurement")
}

// journal is the file to keep the measurement in, "" for none.
func (f *recordFlags) journal(a *app) (string, error) {
	if f.none {
		return "", nil
	}
	return f.file(a)
}

// begin starts a session with the photographs of a real camera. Close it after
// use.
func (a *app) begin(f *sightFlags, edit func(*session.Config) error) (*session.Session, *session.Photographs, func() error, error) {
	c := session.Config{Now: a.now}
	var err error
	if c.Told, err = f.told(a.now()); err != nil {
		return nil, nil, nil, err
	}
	g, broken := a.knownGear()
	if c.Broken = broken; broken == nil {
		c.Gear = g.Gear
	}
	solver, closeIndex, err := a.solver(&f.idx)
	if err != nil {
		return nil, nil, nil, err
	}
	photos := &session.Photographs{Solver: solver, Options: c.Told.Frames, Now: a.now}
	c.Camera = photos
	if edit != nil {
		err = edit(&c)
	}
	var s *session.Session
	if err == nil {
		s, err = session.New(c)
	}
	if err != nil {
		return nil, nil, nil, errors.Join(words.PlainError(err), closeIndex())
	}
	s.Keep(words.Record, words.Miss)
	return s, photos, closeIndex, nil
}
