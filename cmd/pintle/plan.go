package main

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/axis/plan"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// fieldFlags give the size of the field and of a pixel.
type fieldFlags struct {
	fs            *pflag.FlagSet
	camera, field string
	focal, pixel  float64
	width, height int
}

func (f *fieldFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	fs.StringVar(&f.camera, "camera", "", "a `camera` of the gear file (default: its default camera)")
	fs.StringVar(&f.field, "field", "", "size of the `field` in degrees, such as 2.1x1.4")
	fs.Float64Var(&f.focal, "focal", 0, "focal length in `mm`, with --pixel, --width and --height")
	fs.Float64Var(&f.pixel, "pixel", 0, "pixel size in `um`")
	fs.IntVar(&f.width, "width", 0, "width of the frame in `px`")
	fs.IntVar(&f.height, "height", 0, "height of the frame in `px`")
}

// usualWidth is the pixels across a frame of which only the field is known.
const usualWidth = 3000

// size returns the field's width and height and the angle of a pixel.
func (f *fieldFlags) size(g gear.Gear) (w, h, scale sphere.Angle, err error) {
	if f.field != "" {
		return parseField(f.field)
	}
	_, c, ok := gear.Pick(g.Cameras, f.camera, g.Default.Camera)
	if !ok && f.camera != "" {
		return 0, 0, 0, hint(fmt.Errorf("no camera called %q in the gear file", f.camera), known(g.Names(gear.KindCamera), "pintle gear add camera NAME --focal 400 --pixel 3.76 --width 6248 --height 4176"))
	}
	for flag, set := range map[string]func(){
		"focal": func() { c.Focal = f.focal }, "pixel": func() { c.Pixel = f.pixel },
		"width": func() { c.Width = f.width }, "height": func() { c.Height = f.height },
	} {
		if f.fs.Changed(flag) {
			set()
		}
	}
	if c.Focal <= 0 || c.Pixel <= 0 || c.Width <= 0 || c.Height <= 0 {
		return 0, 0, 0, hint(fmt.Errorf("the size of the field is not known"), "give --field 2.1x1.4 in degrees, or --focal, --pixel, --width and --height, or tell the camera once with \"pintle gear add camera\"")
	}
	scale = sphere.Angle(c.Pixel / 1000 / c.Focal)
	across := func(px int) sphere.Angle { return 2 * sphere.Angle(math.Atan(float64(px)/2*float64(scale))) }
	return checkField(across(c.Width), across(c.Height), scale)
}

func parseField(s string) (w, h, scale sphere.Angle, err error) {
	a, b, _ := strings.Cut(strings.ToLower(strings.ReplaceAll(s, "×", "x")), "x")
	x, err1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
	y, err2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
	if err1 != nil || err2 != nil {
		return 0, 0, 0, hint(fmt.Errorf("--field %q is not two numbers", s), "width x height in degrees, such as 2.1x1.4")
	}
	w, h = sphere.Angle(x)*sphere.Degree, sphere.Angle(y)*sphere.Degree
	return checkField(w, h, w/usualWidth)
}

func checkField(w, h, scale sphere.Angle) (sphere.Angle, sphere.Angle, sphere.Angle, error) {
	for _, x := range []sphere.Angle{w, h} {
		if !(x.Degrees() >= 0.05 && x.Degrees() <= 150) {
			return 0, 0, 0, hint(fmt.Errorf("a field of %.3g° is out of range 0.05 to 150", x.Degrees()), "check focal length and pixel size, or --field")
		}
	}
	return w, h, scale, nil
}

// planFlags are the flags of the plan verb.
type planFlags struct {
	home                           homeFlags
	field                          fieldFlags
	frames                         int
	minAlt, turn, faintest, wobble float64
	blocks, chart                  string
	bothSides, asJSON              bool
}

func (f *planFlags) add(fs *pflag.FlagSet) {
	f.home.add(fs)
	f.field.add(fs)
	fs.IntVar(&f.frames, "frames", 3, "how many `frames` you are willing to take, 2 to 6")
	fs.Float64Var(&f.minAlt, "min-alt", 25, "lowest `altitude` to photograph at, degrees")
	fs.Float64Var(&f.turn, "max-turn", 90, "largest whole turn in RA, `degrees`")
	fs.BoolVar(&f.bothSides, "across", false, "the mount may cross the meridian without changing sides, as a fork does")
	fs.Float64Var(&f.faintest, "faintest", 10, "`magnitude` of the faintest stars your frames show")
	fs.Float64Var(&f.wobble, "wobble", 1, "how well a whole frame holds still, `arcsec`: flexure, bearings, wind")
	fs.StringVar(&f.blocks, "blocks", "", "`file` that tells what blocks the sky (default: that of the site in the gear file)")
	fs.StringVar(&f.chart, "chart", "", "draw the sky into this `file`, .svg or .png")
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object")
}

// check refuses numbers out of range.
func (f *planFlags) check() error {
	for _, x := range []struct {
		name          string
		value, lo, hi float64
		advice        string
	}{
		{"frames", float64(f.frames), 2, 6, "three are a good number"},
		{"min-alt", f.minAlt, 5, 80, "below 20 degrees refraction is uncertain"},
		{"max-turn", f.turn, 10, 180, "90 degrees suit most mounts"},
		{"faintest", f.faintest, 4, 12, "10 suits a few seconds through a small telescope, 8 a camera lens"},
		{"wobble", f.wobble, 0, 600, "1 arcsec is a steady mount, 5 a shaky one"},
	} {
		if !(x.value >= x.lo && x.value <= x.hi) {
			return hint(fmt.Errorf("--%s %g is out of range %g to %g", x.name, x.value, x.lo, x.hi), x.advice)
		}
	}
	return nil
}

// planning is everything the plan verb prints.
type planning struct {
	home
	frames      int
	camera      plan.Camera
	sky         *plan.Sky
	night       plan.Night
	suggestions []plan.Suggestion
	chart       string
}

func (a *app) planCommand() *cobra.Command {
	var f planFlags
	c := &cobra.Command{
		Use:     "plan",
		Short:   "where to point for the smallest error of the axis",
		Long:    textPlanLong,
		Example: textPlanExample,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			pl, err := f.plan(a)
			if err != nil {
				return err
			}
			if err := a.tellPlan(pl, f.asJSON); err != nil {
				return err
			}
			if len(pl.suggestions) == 0 {
				return errNoAnswer
			}
			return nil
		},
	}
	f.add(c.Flags())
	return c
}

// plan settles site, time, camera and sky, and looks for the best frames.
func (f *planFlags) plan(a *app) (*planning, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	g, err := a.knownGear()
	if err != nil {
		return nil, err
	}
	pl := &planning{frames: f.frames, chart: f.chart}
	if pl.home, err = f.home.home(a, g.Gear); err != nil {
		return nil, err
	}
	width, height, scale, err := f.field.size(g.Gear)
	if err != nil {
		return nil, err
	}
	pl.camera = plan.NewCamera(width, height, scale, sphere.Angle(f.wobble)*sphere.Arcsecond)
	if err := pl.look(f); err != nil {
		return nil, err
	}
	pl.night = pl.sky.Night(pl.camera)
	pl.suggestions = pl.night.Suggest(pl.camera, plan.Wish{Frames: f.frames, MaxSpan: sphere.Angle(f.turn) * sphere.Degree, OneSide: !f.bothSides}, 3)
	if f.chart != "" {
		return pl, pl.draw(f.chart)
	}
	return pl, nil
}

// look settles the sky of the plan: the time, what blocks it, and its stars.
func (pl *planning) look(f *planFlags) error {
	if f.blocks != "" {
		pl.blocks = f.blocks
	}
	skyline, err := readSkyline(pl.blocks)
	if err != nil {
		return err
	}
	if !pl.given {
		if err := pl.waitForDark(); err != nil {
			return err
		}
	}
	p, err := pl.place(pl.at)
	if err != nil {
		return err
	}
	if pl.sky, err = plan.At(p); err != nil {
		return err
	}
	if pl.sky.TooBright() {
		return tooBright(pl.at, pl.sky.SunAlt)
	}
	pl.sky.MinAlt, pl.sky.Skyline = sphere.Angle(f.minAlt)*sphere.Degree, skyline
	pl.sky.Stars = plan.CountStars(stars.Embedded(), f.faintest, session.EpochOf(pl.at, pl.at))
	return nil
}

// readSkyline reads what blocks the sky; nothing without a file.
func readSkyline(path string) (plan.Skyline, error) {
	if path == "" {
		return nil, nil
	}
	f, err := os.Open(path)
	if err != nil {
		advice := "give --blocks FILE"
		if errors.Is(err, fs.ErrNotExist) {
			advice = "check the name; a line for each stretch: first azimuth, last azimuth, lowest clear altitude"
		}
		return nil, hint(err, advice)
	}
	defer f.Close()
	s, err := plan.ParseSkyline(f)
	if err != nil {
		return nil, hint(fmt.Errorf("%s: %w", path, err), "a line for each stretch: first azimuth, last azimuth, lowest clear altitude, in degrees, such as 80 140 35")
	}
	return s, nil
}

// evening is the night of the home's time.
func (h home) evening() plan.Evening { return plan.Evening{Site: h.site, Air: h.air, At: h.at} }

// waitForDark moves the time to the first dark moment of tonight, unless it is
// dark now.
func (h *home) waitForDark() error {
	t, ok, err := h.evening().Dark()
	if err != nil {
		return hint(err, "check --at and the site")
	}
	if !ok {
		return neverDark(h.where())
	}
	h.at = t.In(h.zone)
	return nil
}
