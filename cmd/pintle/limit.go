package main

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/axis/drive"
	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/targets"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/written"
)

// exposureFlags describe the photographs that are to come out sharp; what is
// not given comes from a camera of the gear file.
type exposureFlags struct {
	fs                    *pflag.FlagSet
	camera                string
	focal, pixel, seconds float64
	trail, corner         float64
	guided                bool
	width, height         int
}

func (f *exposureFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	fs.StringVar(&f.camera, "camera", "", "a `camera` of the gear file (default: its default camera)")
	fs.Var(written.Focal.Flag(&f.focal, 0), "focal", "focal length in `mm`")
	fs.Var(written.Pixel.Flag(&f.pixel, 0), "pixel", "pixel size in `um`")
	fs.IntVar(&f.width, "width", 0, "width of the frame in `px`")
	fs.IntVar(&f.height, "height", 0, "height of the frame in `px`")
	fs.Var(written.Exposure.Flag(&f.seconds, 0), "exposure", "exposure of one frame in `seconds`")
	fs.Var(written.Pixels("trail", 0.01, 1000, true).Flag(&f.trail, 0), "trail", "longest trail you accept in `px` (default 1)")
	fs.BoolVar(&f.guided, "guided", false, "a guide star is held by corrections in both axes")
	fs.Var(written.Span("corner distance", 0.001, 90, true).Flag(&f.corner, 0), "corner", "`degrees` from the guide star to the far corner, or from the centre to the corner (default: half the frame's diagonal)")
}

// exposure returns the exposure asked for and where it came from.
func (f *exposureFlags) exposure(g gear.Gear) (drive.Exposure, string, error) {
	name, c, ok := gear.Pick(g.Cameras, f.camera, g.Default.Camera)
	if !ok && f.camera != "" {
		return drive.Exposure{}, "", advice.With(fmt.Errorf("no camera called %q in the gear file", f.camera), words.Known(g.Names(gear.KindCamera), "pintle gear add camera NAME --focal 400 --pixel 3.76"))
	}
	for flag, set := range map[string]func(){
		"focal": func() { c.Focal = f.focal }, "pixel": func() { c.Pixel = f.pixel },
		"width": func() { c.Width = f.width }, "height": func() { c.Height = f.height },
		"exposure": func() { c.Exposure = f.seconds }, "trail": func() { c.Trail = f.trail },
		"guided": func() { c.Guided = f.guided }, "corner": func() { c.Corner = f.corner },
	} {
		if f.fs.Changed(flag) {
			set()
		}
	}
	switch {
	case f.fs.Changed("trail") && f.trail == 0:
		return drive.Exposure{}, "", advice.With(fmt.Errorf("--trail 0 px: no axis is that good"), "1 pixel is a usual choice")
	case c.Focal == 0:
		return drive.Exposure{}, "", missing("focal length", "--focal 400")
	case c.Pixel == 0:
		return drive.Exposure{}, "", missing("pixel size", "--pixel 3.76")
	case c.Exposure == 0:
		return drive.Exposure{}, "", missing("exposure", "--exposure 180")
	}
	e, ok := c.Shot()
	if !ok {
		err := e.Check()
		if e.Corner == 0 && e.Guided {
			return e, "", advice.With(fmt.Errorf("guided, but how far is it from the guide star to the corner of the frame?"), "give --corner in degrees, or --width and --height in pixels")
		}
		return e, "", advice.With(err, "check the camera's numbers")
	}
	return e, name, nil
}

func missing(what, flag string) error {
	return advice.With(fmt.Errorf("the %s is not known", what), "give "+flag+", or tell it once: pintle gear add camera NAME --focal 400 --pixel 3.76 --exposure 180")
}

// targetFlags name what is photographed.
type targetFlags struct {
	fs            *pflag.FlagSet
	name, ra, dec string
	minAlt        float64
}

func (f *targetFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	fs.StringVar(&f.name, "target", "", "`name` of the target: a Messier object such as M42, or a bright star")
	fs.StringVar(&f.ra, "ra", "", "right ascension of the target, degrees, or `hours` as 5h35m17s (J2000)")
	fs.StringVar(&f.dec, "dec", "", "declination of the target in `degrees`, decimal or as -5:23:28 (J2000)")
	fs.Var(written.Span("lowest altitude", 0, 90, false).Flag(&f.minAlt, 30), "min-alt", "lowest `altitude` at which the target is photographed, degrees")
}

// target returns the target asked for; ok is false when there is none.
func (f *targetFlags) target() (t targets.Target, ok bool, err error) {
	switch {
	case !(f.minAlt >= 10 && f.minAlt < 90):
		return t, false, advice.With(fmt.Errorf("--min-alt %g is out of range 10 to 90", f.minAlt), "30 degrees is a usual choice; below 10 the air spoils everything")
	case f.name != "" && (f.ra != "" || f.dec != ""):
		return t, false, advice.With(fmt.Errorf("--target and --ra, --dec are both given"), "give one of them")
	case f.name != "":
		if t, err = targets.Find(f.name); err != nil {
			return t, false, advice.With(err, "or give its coordinates with --ra and --dec")
		}
		return t, true, nil
	case f.ra == "" && f.dec == "":
		return t, false, nil
	case f.ra == "" || f.dec == "":
		return t, false, advice.With(fmt.Errorf("only one of --ra and --dec is given"), "give both, such as --ra 5h35m17s --dec -5:23:28")
	}
	ra, err := written.RightAscension(f.ra)
	if err != nil {
		return t, false, advice.With(fmt.Errorf("--ra: %w", err), "degrees such as 83.82, or hours as 5h35m17s")
	}
	dec, err := written.Declination(f.dec)
	if err != nil {
		return t, false, advice.With(fmt.Errorf("--dec: %w", err), "degrees from -90 to 90, south negative")
	}
	return targets.Target{Name: "target", Pos: sphere.SkyAt(ra, dec)}, true, nil
}

// limits is everything the limit verb prints.
type limits struct {
	exposure drive.Exposure
	camera   string
	worst    sphere.Angle // for any target, at dec 0
	target   *targets.Target
	home     *home
	stretch  *plan.Stretch
	allowed  *drive.Allowance
	poles    []drive.PoleChoice
	measured *measured
}

// measured is the effect of a known error.
type measured struct {
	alt, azKnob sphere.Angle
	sep         sphere.Angle
	source      string
	worstPx     float64
	at          sphere.Angle // hour angle where the worst exposure starts
	dec         sphere.Angle
	effect      drive.Effect
	forTarget   bool
}

// limitFlags are the flags of the limit verb.
type limitFlags struct {
	fs           *pflag.FlagSet
	home         homeFlags
	exp          exposureFlags
	tgt          targetFlags
	alt, az      float64
	asJSON, last bool
	journal      journalFlags
}

func (f *limitFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	f.exp.add(fs)
	f.tgt.add(fs)
	f.home.add(fs)
	fs.Var(written.Small("error in altitude", -1200, 1200).Flag(&f.alt, 0), "off-alt", "a known error in altitude, `arcmin`, too high positive: what does it do?")
	fs.Var(written.Small("error in azimuth", -1200, 1200).Flag(&f.az, 0), "off-az", "a known error in azimuth as the adjuster turns, `arcmin`, clockwise seen from above positive")
	fs.BoolVar(&f.last, "measured", false, "what does the error do that the journal has last, for this site?")
	f.journal.add(fs)
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object")
}

// known is true when an error of the axis is given.
func (f *limitFlags) known() bool { return f.fs.Changed("off-alt") || f.fs.Changed("off-az") }

func (f *limitFlags) check() error {
	for name, x := range map[string]float64{"--off-alt": f.alt, "--off-az": f.az} {
		if !(math.Abs(x) <= 1200) {
			return advice.With(fmt.Errorf("%s %g arcmin is out of range -1200 to 1200", name, x), "give arcminutes, as \"pintle axis\" prints them")
		}
	}
	if f.known() && f.last {
		return advice.With(fmt.Errorf("--measured and --off-alt, --off-az are both given"), "give one of them")
	}
	return nil
}

func (a *app) limitCommand() *cobra.Command {
	var f limitFlags
	c := &cobra.Command{
		Use:     "limit",
		Short:   "how good an alignment is good enough for your exposures",
		Long:    textLimitLong,
		Example: textLimitExample,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			l, err := f.limits(a)
			if err != nil {
				return err
			}
			return a.tellLimit(l, f.asJSON)
		},
	}
	f.add(c.Flags())
	return c
}

// limits works out what was asked for: what any target allows, what a named one
// does, and what a known error does.
func (f *limitFlags) limits(a *app) (*limits, error) {
	g, err := a.knownGear()
	if err != nil {
		return nil, err
	}
	l := &limits{}
	if l.exposure, l.camera, err = f.exp.exposure(g.Gear); err != nil {
		return nil, err
	}
	l.worst = l.exposure.Worst(0)
	t, wanted, err := f.tgt.target()
	if err != nil {
		return nil, err
	}
	if err := f.check(); err != nil {
		return nil, err
	}
	h, err := f.home.home(a, g.Gear)
	switch {
	case err == nil:
		l.home = &h
	case wanted || f.known() || f.last || f.fs.Changed("lat") || f.fs.Changed("site"):
		return nil, err
	}
	if wanted {
		if err := l.forTarget(t, sphere.Angle(f.tgt.minAlt)*sphere.Degree); err != nil {
			return nil, err
		}
	}
	switch {
	case f.known():
		return l, l.effects(arcmin(f.alt), arcmin(f.az), "given")
	case f.last:
		return l, l.lastEffects(a, f.journal)
	}
	return l, nil
}

// forTarget works out what the target allows tonight, and which pole serves.
func (l *limits) forTarget(t targets.Target, minAlt sphere.Angle) error {
	l.target = &t
	s, ok, err := l.home.evening().Longest(t.Pos, minAlt)
	if err != nil {
		return advice.With(err, "check --at and the site")
	}
	if !ok {
		return words.PlainError(&session.Unsettled{Kind: session.NeverUp, Name: t.Title(), Limit: minAlt.Degrees()})
	}
	s.From, s.To = s.From.In(l.home.zone), s.To.In(l.home.zone)
	l.stretch = &s
	p, err := l.home.place(s.From.Add(s.To.Sub(s.From) / 2))
	if err != nil {
		return err
	}
	a := l.exposure.Allowed(p.RefractedPole(), p.South(), s.Window)
	l.allowed, l.poles = &a, drive.Poles(p, s.Window)
	return nil
}

// effects works out what a known error does: to the target, or to a star on
// the equator, at its worst hour angle.
func (l *limits) effects(alt, azKnob sphere.Angle, source string) error {
	at := l.home.at
	w := drive.Window{From: -180 * sphere.Degree, To: (180 * sphere.Degree)}
	m := &measured{alt: alt, azKnob: azKnob, source: source}
	if l.stretch != nil {
		at, w, m.forTarget = l.stretch.From, l.stretch.Window, true
	}
	p, err := l.home.place(at)
	if err != nil {
		return err
	}
	d := drive.Off(p.RefractedPole(), alt, azKnob, p.South())
	m.sep, m.dec = d.Sep(), w.Dec
	m.worstPx, m.at = l.exposure.WorstTrail(d, w)
	m.effect = l.exposure.Effect(d, m.at, w.Dec)
	l.measured = m
	return nil
}

// lastEffects is effects for the journal's last record at the site.
func (l *limits) lastEffects(a *app, j journalFlags) error {
	_, es, err := j.evenings(a)
	if err != nil {
		return err
	}
	for i := len(es) - 1; i >= 0; i-- {
		r := es[i].Last()
		if r.Site.Near(l.home.site.Lat.Degrees(), l.home.site.Lon.Degrees()) {
			return l.effects(arcmin(r.Offset.Alt), arcmin(r.Offset.AzKnob), measuredAt(r))
		}
	}
	return advice.With(fmt.Errorf("the journal has no measurement at %s", l.home.where()), "measure with \"pintle axis\" first, or give --off-alt and --off-az")
}
