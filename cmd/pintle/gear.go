package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/gear"
	"pintle/index/sphere"
	"pintle/index/written"
)

func (a *app) gearCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "gear",
		Short:   "tell sites, cameras and mounts once; show what is known",
		Long:    textGearLong,
		Example: textGearExample,
		Args:    noArgs("gear"),
		RunE: func(*cobra.Command, []string) error {
			f, err := a.loadGear()
			if err == nil {
				a.showGear(f)
			}
			return err
		},
	}
	add := &cobra.Command{Use: "add", Short: "add a site, a camera or a mount", Args: noArgs("gear add"),
		RunE: func(*cobra.Command, []string) error {
			return hint(fmt.Errorf("pintle gear add: add what?"), "pintle gear add site, camera or mount, each with --help")
		}}
	add.AddCommand(a.addSite(), a.addCamera(), a.addMount())
	c.AddCommand(add, a.gearCheck(), a.gearDefault(), a.gearTolerance(), a.gearLearn())
	return c
}

// noArgs refuses words that are no command.
func noArgs(verb string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) > 0 {
			return hint(fmt.Errorf("pintle %s knows no %q", verb, args[0]), "pintle "+verb+" --help")
		}
		return nil
	}
}

// oneName takes exactly one argument.
func oneName(what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) != 1 {
			return hint(fmt.Errorf("%s wants one name, got %d", c.CommandPath(), len(args)), "put a name of several words in quotes: "+what)
		}
		return nil
	}
}

// put saves a thing and says so.
func (a *app) put(kind, name string, thing any, replace bool) error {
	f, err := a.loadGear()
	if err != nil {
		return err
	}
	if err := f.Put(name, thing, replace); err != nil {
		return gearError(err)
	}
	a.saved(f, kind, name)
	return nil
}

func (a *app) addSite() *cobra.Command {
	var lat, lon string
	var elev float64
	var blocks string
	var replace bool
	c := &cobra.Command{
		Use:   "site NAME",
		Short: "add a place for the tripod",
		Args:  oneName(`pintle gear add site "back garden" --lat 52.1 --lon 13.2`),
		RunE: func(_ *cobra.Command, args []string) error {
			if lat == "" || lon == "" {
				return hint(fmt.Errorf("a site needs --lat and --lon"), "such as --lat -31.4 --lon 121.9 --elev 430")
			}
			la, err := written.Latitude(lat)
			if err != nil {
				return hint(fmt.Errorf("--lat: %w", err), "degrees from -90 to 90, south negative")
			}
			lo, err := written.Longitude(lon)
			if err != nil {
				return hint(fmt.Errorf("--lon: %w", err), "degrees from -180 to 360, east positive")
			}
			round := func(a sphere.Angle) float64 { return math.Round(a.Degrees()*1e6) / 1e6 }
			return a.put(gear.KindSite, args[0], gear.Site{Lat: round(la), Lon: round(lo), Elev: elev, Blind: blocks}, replace)
		},
	}
	fs := c.Flags()
	fs.StringVar(&lat, "lat", "", "latitude in `degrees`, south negative, decimal or as -31:24:00")
	fs.StringVar(&lon, "lon", "", "longitude in `degrees`, east positive, decimal or as 121:54:00")
	fs.Var(written.Elevation.Flag(&elev, 0), "elev", "elevation above the sea in `metres`")
	fs.StringVar(&blocks, "blocks", "", "`file` that tells what blocks the sky, for \"pintle plan\"")
	fs.BoolVar(&replace, "replace", false, "replace the site of this name")
	return c
}

func (a *app) addCamera() *cobra.Command {
	var cam gear.Camera
	var replace bool
	c := &cobra.Command{
		Use:   "camera NAME",
		Short: "add a camera with its lens or telescope, and how it is used",
		Args:  oneName(`pintle gear add camera "long lens" --focal 400 --pixel 3.76`),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.put(gear.KindCamera, args[0], cam, replace)
		},
	}
	fs := c.Flags()
	fs.Var(written.Focal.Flag(&cam.Focal, 0), "focal", "focal length in `mm`")
	fs.Var(written.Pixel.Flag(&cam.Pixel, 0), "pixel", "pixel size in `um`")
	fs.IntVar(&cam.Width, "width", 0, "width of the frame in `px`")
	fs.IntVar(&cam.Height, "height", 0, "height of the frame in `px`")
	fs.Var(written.Exposure.Flag(&cam.Exposure, 0), "exposure", "usual exposure in `seconds`")
	fs.Var(written.Pixels("trail", 0.01, 1000, true).Flag(&cam.Trail, 0), "trail", "longest trail you accept in `px` (1 when not given)")
	fs.BoolVar(&cam.Guided, "guided", false, "a guide star is held by corrections in both axes")
	fs.Var(written.Span("corner distance", 0.001, 90, true).Flag(&cam.Corner, 0), "corner", "`degrees` from the guide star to the far corner of the frame")
	fs.BoolVar(&replace, "replace", false, "replace the camera of this name")
	return c
}

func (a *app) addMount() *cobra.Command {
	var m gear.Mount
	var replace bool
	c := &cobra.Command{
		Use:   "mount NAME",
		Short: "add a mount and what its adjusters do",
		Args:  oneName(`pintle gear add mount "old six" --alt-per-turn 60`),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.put(gear.KindMount, args[0], m, replace)
		},
	}
	fs := c.Flags()
	fs.Var(written.PerTurn.Flag(&m.AltPerTurn, 0), "alt-per-turn", "`arcmin` of altitude for one turn of its adjuster (\"pintle gear learn\" measures it)")
	fs.StringVar(&m.AltSense, "alt-clockwise", "", "what turning the altitude adjuster clockwise does: `raises` or lowers")
	fs.Var(written.Span("lowest altitude", 0, 90, true).Flag(&m.AltMin, 0), "alt-min", "lowest altitude of the axis, `degrees`")
	fs.Var(written.Span("highest altitude", 0, 90, true).Flag(&m.AltMax, 0), "alt-max", "highest altitude of the axis, `degrees`")
	fs.Var(written.Plain("divisions", 1, 10000, "60").Flag(&m.AltMarks, 0), "alt-divisions", "`marks` on the altitude adjuster's knob, one turn")
	fs.Var(written.PerTurn.Flag(&m.AzPerTurn, 0), "az-per-turn", "`arcmin` of azimuth for one turn of its adjuster")
	fs.StringVar(&m.AzSense, "az-clockwise", "", "which way, seen from above, a clockwise turn of the azimuth adjuster moves the axis: `clockwise` or counter-clockwise")
	fs.Var(written.Span("azimuth range", 0.1, 360, true).Flag(&m.AzRange, 0), "az-range", "range of the azimuth adjuster from end to end, `degrees`")
	fs.Var(written.Plain("divisions", 1, 10000, "60").Flag(&m.AzMarks, 0), "az-divisions", "`marks` on the azimuth adjuster's knob, one turn")
	fs.BoolVar(&replace, "replace", false, "replace the mount of this name")
	return c
}

func (a *app) gearCheck() *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "check the gear file, as after changing it by hand",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			f, err := a.loadGear()
			if err != nil {
				return err
			}
			return a.gearChecked(f, checkBlocks(f.Gear))
		},
	}
}

// checkBlocks reads the files that the gear file names.
func checkBlocks(g gear.Gear) error {
	for _, name := range g.Names(gear.KindSite) {
		pl := plan{home: home{blocks: g.Sites[name].Blind}}
		if err := pl.readBlocks(); err != nil {
			return fmt.Errorf("site %s: %w", name, err)
		}
	}
	return nil
}

func (a *app) gearDefault() *cobra.Command {
	return &cobra.Command{
		Use:   "default site|camera|mount NAME",
		Short: "use a thing whenever nothing else is said",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 2 {
				return hint(fmt.Errorf("%s wants a kind and a name, got %d words", c.CommandPath(), len(args)), "pintle gear default site garden")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			f, err := a.loadGear()
			if err != nil {
				return err
			}
			if err := f.SetDefault(args[0], args[1]); err != nil {
				return gearError(err)
			}
			a.madeDefault(f, args[0], args[1])
			return nil
		},
	}
}

func (a *app) gearTolerance() *cobra.Command {
	return &cobra.Command{
		Use:   "tolerance ARCMIN|auto",
		Short: "say how far off the axis may be, or let camera and exposure say it",
		Args:  oneName("pintle gear tolerance 1.5"),
		RunE: func(_ *cobra.Command, args []string) error {
			f, err := a.loadGear()
			if err != nil {
				return err
			}
			t := gear.Tolerance{Auto: args[0] == "auto"}
			if !t.Auto {
				if t.Arcmin, err = written.Tolerance.Parse(args[0]); err != nil {
					return hint(err, "arcminutes such as 1.5, or auto")
				}
			}
			if err := f.SetTolerance(t); err != nil {
				return gearError(err)
			}
			a.toleranceSet(f)
			return nil
		},
	}
}

// autoTolerance is the polar error that the camera's usual exposure allows
// whatever the target.
func autoTolerance(g gear.Gear, camera string) (arcmin float64, source string, ok bool, err error) {
	name, c, found := gear.Pick(g.Cameras, camera, g.Default.Camera)
	if !found {
		return 0, "", false, hint(fmt.Errorf("the tolerance is to come from the camera, but which?"), known(g.Names(gear.KindCamera), "pintle gear add camera NAME --focal 400 --pixel 3.76 --exposure 180"))
	}
	e, usable := c.Shot()
	if !usable {
		return 0, "", false, hint(fmt.Errorf("the tolerance is to come from camera %q, but its focal length, pixel size or exposure is not known", name), "pintle gear add camera "+strconv.Quote(name)+" --replace --focal 400 --pixel 3.76 --exposure 180")
	}
	return e.Worst(0).Arcminutes(), "camera " + name, true, nil
}

func (a *app) gearLearn() *cobra.Command {
	f := axisFlags{pole: "refracted", tolerance: 1}
	var mount string
	var turns float64
	var save bool
	var tracking string
	c := &cobra.Command{
		Use:     "learn altitude|azimuth BEFORE AFTER",
		Short:   "measure what one turn of an adjuster does, from a photograph before and after it",
		Long:    textLearnLong,
		Example: textLearnExample,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 3 || args[0] != gear.KindAlt && args[0] != gear.KindAz {
				return hint(fmt.Errorf("%s wants altitude or azimuth, then two photographs", c.CommandPath()), "pintle gear learn altitude before.fits after.fits --turns 1")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if tracking != "" && tracking != "on" && tracking != "off" {
				return hint(fmt.Errorf("--tracking %q is neither on nor off", tracking), "leave it out when you do not know")
			}
			g, err := a.loadGear()
			if err != nil {
				return err
			}
			name, old, ok := gear.Pick(g.Gear.Mounts, mount, g.Gear.Default.Mount)
			if save && !ok && mount == "" {
				return hint(fmt.Errorf("no mount to save it to"), "pintle gear add mount NAME first, or name one with --mount")
			}
			if name == "" {
				name = mount
			}
			t, reason, err := a.turned(cmd, &f, args[1:], tracking)
			if err != nil {
				return err
			}
			if reason != "" {
				a.notLearned(reason)
				return errNoAnswer
			}
			p, err := gear.Learn(args[0], t, turns)
			if err != nil {
				return gearError(err)
			}
			a.learned(args[0], p, t, turns)
			if !save {
				return nil
			}
			perTurn := math.Round(p.PerTurn.Arcminutes()*100) / 100
			if args[0] == gear.KindAlt {
				old.AltPerTurn, old.AltSense = perTurn, p.Sense
			} else {
				old.AzPerTurn, old.AzSense = perTurn, p.Sense
			}
			if err := g.Put(name, old, ok); err != nil {
				return gearError(err)
			}
			a.saved(g, gear.KindMount, name)
			return nil
		},
	}
	fs := c.Flags()
	f.site.add(fs)
	f.frames.add(fs)
	f.idx.add(fs)
	fs.StringVar(&mount, "mount", "", "the `mount` of the gear file (default: its default mount)")
	fs.Var(written.Turns("turns", -100, 100).Flag(&turns, 1), "turns", "how many `turns` of the adjuster, clockwise positive, facing its head")
	fs.StringVar(&tracking, "tracking", "", "whether the mount tracked between the two, `on or off`: makes the answer sharper")
	fs.BoolVar(&save, "save", false, "write the result into the gear file")
	return c
}

// turned solves two photographs and takes the motion between them apart. The
// axis is taken to be near the pole; reason says why there is no answer.
func (a *app) turned(cmd *cobra.Command, f *axisFlags, paths []string, tracking string) (t gear.Turned, reason string, err error) {
	m, err := a.recognise(cmd.Context(), f, paths)
	if err != nil {
		return t, "", err
	}
	sightings, reason, err := m.sightings()
	if err != nil || reason != "" {
		return t, reason, err
	}
	motion, cov, err := axis.Between(sightings[0], sightings[1])
	var weak *axis.WeakError
	if errors.As(err, &weak) {
		return t, weak.Error(), nil
	}
	if err != nil {
		return t, "", err
	}
	t, err = gear.TakeApart(motion, cov, sightings[0].Place.RefractedPole())
	if err != nil {
		return t, "", err
	}
	between := m.shots[1].frame.Time.Mid.Sub(m.shots[0].frame.Time.Mid)
	return settleRA(t, sphere.Angle(axis.Sidereal*between.Seconds()), tracking), "", nil
}

// settleRA uses that the mount either tracked or stood still: as it was told,
// or else when only one of the two fits.
func settleRA(t gear.Turned, sky sphere.Angle, tracking string) gear.Turned {
	const drive = 15 * sphere.Arcsecond // how well a drive keeps its rate over a minute
	fits := func(ra sphere.Angle) bool { return (t.RA - ra).Abs() < 4*(t.SigRA+drive) }
	switch {
	case tracking == "on" || tracking == "" && fits(sky) && !fits(0):
		return t.WithRA(sky, drive)
	case tracking == "off" || tracking == "" && fits(0) && !fits(sky):
		return t.WithRA(0, sphere.Arcsecond)
	}
	return t
}

// sightings returns those of all frames; reason says which is not solved.
func (m *measurement) sightings() (out []axis.Sighting, reason string, err error) {
	for _, s := range m.shots {
		if s.sol == nil {
			return nil, fmt.Sprintf("%s is not solved: %s", s.name(), s.why), nil
		}
		p, err := place.At(s.frame.Time.Mid, m.site, m.air)
		if err != nil {
			return nil, "", hint(fmt.Errorf("%s: %w", s.name(), err), "check the frame's time, or give one with --at")
		}
		out = append(out, s.sighting(p))
	}
	return out, "", nil
}

// locateAtHome is locate with the gear file's site behind the flags and the
// frames.
func (a *app) locateAtHome(m *measurement, f *siteFlags) error {
	file, err := a.knownGear()
	if err != nil {
		return err
	}
	m.gear = file.Gear
	if err = m.locate(f); err == nil {
		m.siteName = nameOf(m.gear, m.site)
		return nil
	}
	if f.fs.Changed("lat") || f.fs.Changed("lon") {
		return err
	}
	for _, s := range m.shots {
		if s.frame.Site != nil || s.frame.SiteErr != nil {
			return err
		}
	}
	name, s, ok := gear.Pick(m.gear.Sites, "", m.gear.Default.Site)
	if !ok {
		return err
	}
	m.site, m.siteName, m.siteSource = s.Place(), name, "gear file, "+name
	m.air, m.airSource, err = f.air(m.site)
	return err
}

// nameOf returns the name of the gear file's site within a kilometre of s, or
// "".
func nameOf(g gear.Gear, s place.Site) string {
	for _, name := range g.Names(gear.KindSite) {
		t := g.Sites[name].Place()
		if (t.Lat-s.Lat).Abs() < 0.01*sphere.Degree && (t.Lon-s.Lon).Wrap().Abs() < 0.01*sphere.Degree {
			return name
		}
	}
	return ""
}

// amounts turns the two moves of an offset into turns of the mount's bolts.
func amounts(o axis.Offset, m gear.Mount) [2]gear.Amount {
	_, alt := o.Pole.AzAlt()
	return [2]gear.Amount{m.Alt(-o.Alt, alt), m.Az(-o.AzKnob)}
}
