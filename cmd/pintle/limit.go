package main

import (
	"fmt"
	"math"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/targets"
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
func (f *exposureFlags) exposure(g gear.Gear) (axis.Exposure, string, error) {
	name, c, ok := gear.Pick(g.Cameras, f.camera, g.Default.Camera)
	if !ok && f.camera != "" {
		return axis.Exposure{}, "", hint(fmt.Errorf("no camera called %q in the gear file", f.camera), known(g.Names(gear.KindCamera), "pintle gear add camera NAME --focal 400 --pixel 3.76"))
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
		return axis.Exposure{}, "", hint(fmt.Errorf("--trail 0 px: no axis is that good"), "1 pixel is a usual choice")
	case c.Focal == 0:
		return axis.Exposure{}, "", missing("focal length", "--focal 400")
	case c.Pixel == 0:
		return axis.Exposure{}, "", missing("pixel size", "--pixel 3.76")
	case c.Exposure == 0:
		return axis.Exposure{}, "", missing("exposure", "--exposure 180")
	}
	e, ok := c.Shot()
	if !ok {
		err := e.Check()
		if e.Corner == 0 && e.Guided {
			return e, "", hint(fmt.Errorf("guided, but how far is it from the guide star to the corner of the frame?"), "give --corner in degrees, or --width and --height in pixels")
		}
		return e, "", hint(err, "check the camera's numbers")
	}
	return e, name, nil
}

func missing(what, flag string) error {
	return hint(fmt.Errorf("the %s is not known", what), "give "+flag+", or tell it once: pintle gear add camera NAME --focal 400 --pixel 3.76 --exposure 180")
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
		return t, false, hint(fmt.Errorf("--min-alt %g is out of range 10 to 90", f.minAlt), "30 degrees is a usual choice; below 10 the air spoils everything")
	case f.name != "" && (f.ra != "" || f.dec != ""):
		return t, false, hint(fmt.Errorf("--target and --ra, --dec are both given"), "give one of them")
	case f.name != "":
		if t, err = targets.Find(f.name); err != nil {
			return t, false, hint(err, "or give its coordinates with --ra and --dec")
		}
		return t, true, nil
	case f.ra == "" && f.dec == "":
		return t, false, nil
	case f.ra == "" || f.dec == "":
		return t, false, hint(fmt.Errorf("only one of --ra and --dec is given"), "give both, such as --ra 5h35m17s --dec -5:23:28")
	}
	ra, err := written.RightAscension(f.ra)
	if err != nil {
		return t, false, hint(fmt.Errorf("--ra: %w", err), "degrees such as 83.82, or hours as 5h35m17s")
	}
	dec, err := written.Declination(f.dec)
	if err != nil {
		return t, false, hint(fmt.Errorf("--dec: %w", err), "degrees from -90 to 90, south negative")
	}
	return targets.Target{Name: "target", Pos: sphere.SkyAt(ra, dec)}, true, nil
}

// session is when a target can be photographed in one night.
type session struct {
	from, to time.Time
	window   axis.Window
	lowest   sphere.Angle // altitude
}

// darkness is the altitude of the Sun below which long exposures are taken.
const darkness = -12 * sphere.Degree

// noonBefore returns the last local noon, by the mean Sun, before t.
func noonBefore(t time.Time, lon sphere.Angle) time.Time {
	ahead := time.Duration((lon.Wrap().Degrees()/15 - 12) * float64(time.Hour))
	return t.UTC().Add(ahead).Truncate(24 * time.Hour).Add(-ahead)
}

// noonOfTonight returns the noon before the night that is on, or else before
// the coming one.
func (h home) noonOfTonight() (time.Time, error) {
	noon := noonBefore(h.at, h.site.Lon)
	p, err := h.place(h.at)
	if err != nil {
		return noon, err
	}
	if _, sun := p.Sun().Seen.AzAlt(); sun > darkness && h.at.Sub(noon) > 12*time.Hour {
		noon = noon.Add(24 * time.Hour) // a morning: last night is over
	}
	return noon, nil
}

// tonight finds the longest stretch of the night in which the target stands
// high enough; ok is false when there is none.
func tonight(h home, t targets.Target, minAlt sphere.Angle) (best session, ok bool, err error) {
	noon, err := h.noonOfTonight()
	if err != nil {
		return best, false, err
	}
	var s *session
	const step = 10 * time.Minute
	for at := noon; !at.After(noon.Add(24 * time.Hour)); at = at.Add(step) {
		p, err := h.place(at)
		if err != nil {
			return best, false, err
		}
		seen := p.Observed(t.Pos)
		_, alt := seen.AzAlt()
		_, sun := p.Sun().Seen.AzAlt()
		if alt < minAlt || sun > darkness {
			s = nil
			continue
		}
		ha, dec := axis.Equatorial(seen, p.RefractedPole(), p.South())
		if s == nil {
			s = &session{from: at, window: axis.Window{Dec: dec, From: ha}, lowest: alt}
		}
		s.to = at
		// The hour angle may pass 180 degrees below the pole: count on.
		s.window.To = s.window.From + (ha - s.window.From).Turn()
		s.lowest = min(s.lowest, alt)
		if s.to.Sub(s.from) > best.to.Sub(best.from) {
			best, ok = *s, true
		}
	}
	best.from, best.to = best.from.In(h.zone), best.to.In(h.zone)
	return best, ok, nil
}

// limits is everything the limit verb prints.
type limits struct {
	exposure axis.Exposure
	camera   string
	worst    sphere.Angle // for any target, at dec 0
	target   *targets.Target
	home     *home
	session  *session
	allowed  *axis.Allowance
	poles    []poleChoice
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
	effect      axis.Effect
	forTarget   bool
}

// poleChoice is one pole and what refraction does about it over a session.
type poleChoice struct {
	name   string
	gamma  sphere.Angle // above the true pole
	drift  sphere.Angle // declination drift an hour, root mean square
	serves bool         // the least drift of all
}

func (a *app) limitCommand() *cobra.Command {
	var home homeFlags
	var exp exposureFlags
	var tgt targetFlags
	var alt, az float64
	var asJSON, last bool
	var j journalFlags
	c := &cobra.Command{
		Use:     "limit",
		Short:   "how good an alignment is good enough for your exposures",
		Long:    textLimitLong,
		Example: textLimitExample,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			g, err := a.knownGear()
			if err != nil {
				return err
			}
			l := &limits{}
			if l.exposure, l.camera, err = exp.exposure(g.Gear); err != nil {
				return err
			}
			l.worst = l.exposure.Worst(0)
			t, wanted, err := tgt.target()
			if err != nil {
				return err
			}
			fs := cmd.Flags()
			known := fs.Changed("off-alt") || fs.Changed("off-az")
			if err := checkOff(alt, az); err != nil {
				return err
			}
			if known && last {
				return hint(fmt.Errorf("--measured and --off-alt, --off-az are both given"), "give one of them")
			}
			h, err := home.home(a, g.Gear)
			if err != nil && (wanted || fs.Changed("lat") || fs.Changed("site") || known || last) {
				return err
			}
			if err == nil {
				l.home = &h
			}
			if wanted {
				if err := l.forTarget(t, sphere.Angle(tgt.minAlt)*sphere.Degree); err != nil {
					return err
				}
			}
			if known {
				if err := l.effects(arcmin(alt), arcmin(az), "given"); err != nil {
					return err
				}
			}
			if last {
				if err := l.lastEffects(a, j); err != nil {
					return err
				}
			}
			if asJSON {
				return a.limitJSON(l)
			}
			a.showLimit(l)
			return nil
		},
	}
	fs := c.Flags()
	exp.add(fs)
	tgt.add(fs)
	home.add(fs)
	fs.Var(written.Small("error in altitude", -1200, 1200).Flag(&alt, 0), "off-alt", "a known error in altitude, `arcmin`, too high positive: what does it do?")
	fs.Var(written.Small("error in azimuth", -1200, 1200).Flag(&az, 0), "off-az", "a known error in azimuth as the adjuster turns, `arcmin`, clockwise seen from above positive")
	fs.BoolVar(&last, "measured", false, "what does the error do that the journal has last, for this site?")
	j.add(fs)
	fs.BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

func checkOff(alt, az float64) error {
	for name, x := range map[string]float64{"--off-alt": alt, "--off-az": az} {
		if !(math.Abs(x) <= 1200) {
			return hint(fmt.Errorf("%s %g arcmin is out of range -1200 to 1200", name, x), "give arcminutes, as \"pintle axis\" prints them")
		}
	}
	return nil
}

// forTarget works out what the target allows tonight, and which pole serves.
func (l *limits) forTarget(t targets.Target, minAlt sphere.Angle) error {
	l.target = &t
	s, ok, err := tonight(*l.home, t, minAlt)
	if err != nil {
		return err
	}
	if !ok {
		return neverUp(t, minAlt.Degrees(), *l.home)
	}
	l.session = &s
	p, err := l.home.place(s.from.Add(s.to.Sub(s.from) / 2))
	if err != nil {
		return err
	}
	a := l.exposure.Allowed(p.RefractedPole(), p.South(), s.window)
	l.allowed = &a
	refA, refB := p.RefractionConstants()
	k := axis.King{Lat: l.home.site.Lat, Bend: axis.Bend{A: refA, B: refB}}
	_, low := p.TruePole().AzAlt()
	_, high := p.RefractedPole().AzAlt()
	l.poles = []poleChoice{{name: "true"}, {name: "refracted", gamma: high - low}}
	if g, err := k.PoleFor(s.window); err == nil {
		l.poles = append(l.poles, poleChoice{name: "King's", gamma: g})
	}
	best := 0
	for i := range l.poles {
		l.poles[i].drift = meanDrift(k, l.poles[i].gamma, s.window)
		if l.poles[i].drift < l.poles[best].drift {
			best = i
		}
	}
	l.poles[best].serves = true
	return nil
}

// meanDrift returns the declination drift an hour by refraction, root mean
// square over the window.
func meanDrift(k axis.King, gamma sphere.Angle, w axis.Window) sphere.Angle {
	const n = 32
	sum := 0.0
	for i := range n + 1 {
		h := w.From + (w.To-w.From)*sphere.Angle(i)/n
		d := float64(k.Motion(gamma, h, w.Dec).DecPerHour())
		sum += d * d / (n + 1)
	}
	return sphere.Angle(math.Sqrt(sum))
}

// effects works out what a known error does: to the target, or to a star on
// the equator, at its worst hour angle.
func (l *limits) effects(alt, azKnob sphere.Angle, source string) error {
	at := l.home.at
	w := axis.Window{From: -halfTurn, To: halfTurn}
	m := &measured{alt: alt, azKnob: azKnob, source: source}
	if l.session != nil {
		at, w, m.forTarget = l.session.from, l.session.window, true
	}
	p, err := l.home.place(at)
	if err != nil {
		return err
	}
	az, up := p.RefractedPole().AzAlt()
	d := axis.NewDrive(p.RefractedPole(), sphere.LocalAt(az+azKnob, up+alt), p.South())
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
		if near(r.Site, l.home.site) {
			return l.effects(arcmin(r.Offset.Alt), arcmin(r.Offset.AzKnob), measuredAt(r))
		}
	}
	return hint(fmt.Errorf("the journal has no measurement at %s", l.home.where()), "measure with \"pintle axis\" first, or give --off-alt and --off-az")
}

type effectJSON struct {
	Source    string  `json:"source"`
	Alt       float64 `json:"alt_arcmin"`
	AzKnob    float64 `json:"az_knob_arcmin"`
	Total     float64 `json:"total_arcmin"`
	HA        float64 `json:"worst_start_hour_angle_deg"`
	Drift     float64 `json:"dec_drift_arcsec"`
	Along     float64 `json:"ra_drift_arcsec"`
	Move      float64 `json:"move_arcsec"`
	Guided    float64 `json:"rotation_guided_arcsec"`
	Unguided  float64 `json:"rotation_unguided_arcsec"`
	Trail     float64 `json:"trail_px"`
	ForTarget bool    `json:"for_target"`
}

type poleChoiceJSON struct {
	Pole   string  `json:"pole"`
	Above  float64 `json:"above_true_arcsec"`
	Drift  float64 `json:"dec_drift_rms_arcsec_per_hour"`
	Serves bool    `json:"serves"`
}

func (a *app) limitJSON(l *limits) error {
	type targetJSON struct {
		Name   string  `json:"name"`
		Dec    float64 `json:"dec_deg"`
		From   string  `json:"from"`
		To     string  `json:"to"`
		FromHA float64 `json:"from_hour_angle_deg"`
		ToHA   float64 `json:"to_hour_angle_deg"`
		Any    float64 `json:"allowed_arcmin"`
		Alt    float64 `json:"allowed_alt_arcmin"`
		Az     float64 `json:"allowed_az_sky_arcmin"`
	}
	type out struct {
		Scale    float64          `json:"scale_arcsec_px"`
		Exposure float64          `json:"exposure_s"`
		Guided   bool             `json:"guided"`
		Corner   float64          `json:"corner_deg"`
		Trail    float64          `json:"trail_px"`
		Worst    float64          `json:"allowed_worst_arcmin"`
		Target   *targetJSON      `json:"target"`
		Poles    []poleChoiceJSON `json:"poles"`
		Effect   *effectJSON      `json:"effect"`
	}
	e := l.exposure
	o := out{Scale: e.Scale().Arcseconds(), Exposure: e.Time.Seconds(), Guided: e.Guided, Corner: e.Corner.Degrees(), Trail: e.Trail,
		Worst: l.worst.Arcminutes(), Poles: []poleChoiceJSON{}}
	if l.allowed != nil {
		w := l.session.window
		o.Target = &targetJSON{l.target.Title(), w.Dec.Degrees(), l.session.from.Format(time.RFC3339), l.session.to.Format(time.RFC3339),
			w.From.Degrees(), w.To.Degrees(), l.allowed.Any.Arcminutes(), l.allowed.Alt.Arcminutes(), l.allowed.Az.Arcminutes()}
	}
	for _, p := range l.poles {
		o.Poles = append(o.Poles, poleChoiceJSON{p.name, p.gamma.Arcseconds(), p.drift.Arcseconds(), p.serves})
	}
	if m := l.measured; m != nil {
		f := m.effect
		o.Effect = &effectJSON{m.source, m.alt.Arcminutes(), m.azKnob.Arcminutes(), m.sep.Arcminutes(), m.at.Degrees(), f.Drift.Arcseconds(), f.Along.Arcseconds(),
			f.Move.Arcseconds(), f.Guided.Arcseconds(), f.Rotated.Arcseconds(), m.worstPx, m.forTarget}
	}
	return a.print(o)
}
