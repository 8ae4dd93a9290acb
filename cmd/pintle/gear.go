package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"pintle/axis"
	"pintle/axis/drive"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/solve/frame"
)

func (a *app) gearCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "gear",
		Short:   "tell sites, cameras and mounts once; show what is known",
		Long:    words.GearLong,
		Example: words.GearExample,
		Args:    noArgs("gear"),
		RunE: func(*cobra.Command, []string) error {
			f, err := a.loadGear()
			if err == nil {
				a.Gear(f)
			}
			return err
		},
	}
	add := &cobra.Command{Use: "add", Short: "add a site, a camera or a mount", Args: noArgs("gear add"),
		RunE: func(*cobra.Command, []string) error {
			return advice.With(fmt.Errorf("pintle gear add: add what?"), "pintle gear add site, camera or mount, each with --help")
		}}
	add.AddCommand(a.addSite(), a.addCamera(), a.addMount())
	c.AddCommand(add, a.gearCheck(), a.gearDefault(), a.gearTolerance(), a.gearLearn())
	return c
}

// noArgs refuses words that are no command.
func noArgs(verb string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) > 0 {
			return advice.With(fmt.Errorf("pintle %s knows no %q", verb, args[0]), "pintle "+verb+" --help")
		}
		return nil
	}
}

// oneName takes exactly one argument.
func oneName(what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) != 1 {
			return advice.With(fmt.Errorf("%s wants one name, got %d", c.CommandPath(), len(args)), "put a name of several words in quotes: "+what)
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
		return err
	}
	a.Saved(f, kind, name)
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
				return advice.With(fmt.Errorf("a site needs --lat and --lon"), "such as --lat -31.4 --lon 121.9 --elev 430")
			}
			la, err := frame.ParseLat(lat)
			if err != nil {
				return advice.With(fmt.Errorf("--lat: %w", err), "degrees from -90 to 90, south negative")
			}
			lo, err := frame.ParseLon(lon)
			if err != nil {
				return advice.With(fmt.Errorf("--lon: %w", err), "degrees from -180 to 360, east positive")
			}
			round := func(a sphere.Angle) float64 { return math.Round(a.Degrees()*1e6) / 1e6 }
			return a.put(gear.KindSite, args[0], gear.Site{Lat: round(la), Lon: round(lo), Elev: elev, Blind: blocks}, replace)
		},
	}
	fs := c.Flags()
	fs.StringVar(&lat, "lat", "", "latitude in `degrees`, south negative, decimal or as -31:24:00")
	fs.StringVar(&lon, "lon", "", "longitude in `degrees`, east positive, decimal or as 121:54:00")
	fs.Float64Var(&elev, "elev", 0, "elevation above the sea in `metres`")
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
	fs.Float64Var(&cam.Focal, "focal", 0, "focal length in `mm`")
	fs.Float64Var(&cam.Pixel, "pixel", 0, "pixel size in `um`")
	fs.IntVar(&cam.Width, "width", 0, "width of the frame in `px`")
	fs.IntVar(&cam.Height, "height", 0, "height of the frame in `px`")
	fs.Float64Var(&cam.Exposure, "exposure", 0, "usual exposure in `seconds`")
	fs.Float64Var(&cam.Trail, "trail", 0, "longest trail you accept in `px` (1 when not given)")
	fs.BoolVar(&cam.Guided, "guided", false, "a guide star is held by corrections in both axes")
	fs.Float64Var(&cam.Corner, "corner", 0, "`degrees` from the guide star to the far corner of the frame")
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
	fs.Float64Var(&m.AltPerTurn, "alt-per-turn", 0, "`arcmin` of altitude for one turn of its adjuster (\"pintle gear learn\" measures it)")
	fs.StringVar(&m.AltSense, "alt-clockwise", "", "what turning the altitude adjuster clockwise does: `raises` or lowers")
	fs.Float64Var(&m.AltMin, "alt-min", 0, "lowest altitude of the axis, `degrees`")
	fs.Float64Var(&m.AltMax, "alt-max", 0, "highest altitude of the axis, `degrees`")
	fs.Float64Var(&m.AltMarks, "alt-divisions", 0, "`marks` on the altitude adjuster's knob, one turn")
	fs.Float64Var(&m.AzPerTurn, "az-per-turn", 0, "`arcmin` of azimuth for one turn of its adjuster")
	fs.StringVar(&m.AzSense, "az-clockwise", "", "which way, seen from above, a clockwise turn of the azimuth adjuster moves the axis: `clockwise` or counter-clockwise")
	fs.Float64Var(&m.AzRange, "az-range", 0, "range of the azimuth adjuster from end to end, `degrees`")
	fs.Float64Var(&m.AzMarks, "az-divisions", 0, "`marks` on the azimuth adjuster's knob, one turn")
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
			if err := checkBlocks(f.Gear); err != nil {
				return err
			}
			if !f.Exists() {
				return advice.With(fmt.Errorf("there is no gear file at %s", f.Path), words.FirstSite)
			}
			var missing error
			if f.Gear.Tolerance.Auto {
				_, _, missing = f.Gear.AutoTolerance("")
			}
			a.GearGood(f, missing, advice.Of(missing))
			return nil
		},
	}
}

// checkBlocks reads the files that the gear file names.
func checkBlocks(g gear.Gear) error {
	for _, name := range g.Names(gear.KindSite) {
		if _, err := readSkyline(g.Sites[name].Blind); err != nil {
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
				return advice.With(fmt.Errorf("%s wants a kind and a name, got %d words", c.CommandPath(), len(args)), "pintle gear default site garden")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			f, err := a.loadGear()
			if err != nil {
				return err
			}
			if err := f.SetDefault(args[0], args[1]); err != nil {
				return err
			}
			a.MadeDefault(args[0], args[1])
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
				if t.Arcmin, err = strconv.ParseFloat(args[0], 64); err != nil || t.Arcmin <= 0 {
					return advice.With(fmt.Errorf("tolerance %q is no number above 0", args[0]), "arcminutes such as 1.5, or auto")
				}
			}
			if err := f.SetTolerance(t); err != nil {
				return err
			}
			a.ToleranceSet(f.Gear)
			return nil
		},
	}
}

func (a *app) gearLearn() *cobra.Command {
	var f sightFlags
	var mount string
	var turns float64
	var save bool
	var tracking string
	c := &cobra.Command{
		Use:     "learn altitude|azimuth BEFORE AFTER",
		Short:   "measure what one turn of an adjuster does, from a photograph before and after it",
		Long:    words.LearnLong,
		Example: words.LearnExample,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 3 || args[0] != gear.KindAlt && args[0] != gear.KindAz {
				return advice.With(fmt.Errorf("%s wants altitude or azimuth, then two photographs", c.CommandPath()), "pintle gear learn altitude before.fits after.fits --turns 1")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if tracking != "" && tracking != "on" && tracking != "off" {
				return advice.With(fmt.Errorf("--tracking %q is neither on nor off", tracking), "leave it out when you do not know")
			}
			g, err := a.loadGear()
			if err != nil {
				return err
			}
			name, old, ok := gear.Pick(g.Gear.Mounts, mount, g.Gear.Default.Mount)
			if save && !ok && mount == "" {
				return advice.With(fmt.Errorf("no mount to save it to"), "pintle gear add mount NAME first, or name one with --mount")
			}
			if name == "" {
				name = mount
			}
			t, reason, err := a.turned(cmd.Context(), &f, args[1:], tracking)
			if err != nil {
				return err
			}
			if reason != "" {
				a.NoAnswer(reason)
				return errNoAnswer
			}
			p, err := gear.Learn(args[0], t, turns)
			if err != nil {
				return err
			}
			a.Learned(args[0], p, t)
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
				return err
			}
			a.Saved(g, gear.KindMount, name)
			return nil
		},
	}
	fs := c.Flags()
	f.add(fs)
	fs.StringVar(&mount, "mount", "", "the `mount` of the gear file (default: its default mount)")
	fs.Float64Var(&turns, "turns", 1, "how many `turns` of the adjuster, clockwise positive, facing its head")
	fs.StringVar(&tracking, "tracking", "", "whether the mount tracked between the two, `on or off`: makes the answer sharper")
	fs.BoolVar(&save, "save", false, "write the result into the gear file")
	return c
}

// turned recognises two photographs and takes the motion between them apart. The
// axis is taken to be near the pole; reason says why there is no answer.
func (a *app) turned(ctx context.Context, f *sightFlags, paths []string, tracking string) (t gear.Turned, reason string, err error) {
	s, _, closeIndex, err := a.begin(f, nil)
	if err != nil {
		return t, "", err
	}
	defer closeIndex()
	if err := s.Gather(ctx, paths); err != nil {
		return t, "", words.PlainError(err)
	}
	sightings, refusal := s.Together()
	if refusal != nil {
		return t, words.Refusal(refusal), nil
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
	between := sightings[1].Time.Sub(sightings[0].Time)
	return settleRA(t, sphere.Angle(drive.Sidereal*between.Seconds()), tracking), "", nil
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
