package main

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/gear"
	"pintle/index/optics"
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

// centroid is the error of one star's place that is planned with, px (common
// practice, no source).
const centroid = 0.15

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
	law := optics.Taken(1/float64(scale), math.Hypot(float64(c.Width), float64(c.Height))/2)
	across := func(px int) sphere.Angle { return 2 * law.Off(float64(px)/2*float64(scale)) }
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
		if !(x.Degrees() >= 0.05 && x.Degrees() <= 180) {
			return 0, 0, 0, hint(fmt.Errorf("a field of %.3g° is out of range 0.05 to 180", x.Degrees()), "check focal length and pixel size, or --field")
		}
	}
	return w, h, scale, nil
}

// plan is everything the plan verb prints.
type plan struct {
	home
	p             *place.Place
	width, height sphere.Angle
	frames        int
	minAlt        sphere.Angle
	skyline       axis.Skyline
	moon          place.Moon
	moonAlt       sphere.Angle
	sunAlt        sphere.Angle
	night         axis.Night
	camera        axis.Camera
	wish          axis.Wish
	suggestions   []axis.Suggestion
	chart         string
}

func (a *app) planCommand() *cobra.Command {
	var home homeFlags
	var field fieldFlags
	var frames int
	var minAlt, turn, faintest, wobble float64
	var blocks, chart string
	var bothSides, asJSON bool
	c := &cobra.Command{
		Use:     "plan",
		Short:   "where to point for the smallest error of the axis",
		Long:    textPlanLong,
		Example: textPlanExample,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			g, err := a.knownGear()
			if err != nil {
				return err
			}
			for _, x := range []struct {
				name          string
				value, lo, hi float64
				advice        string
			}{
				{"frames", float64(frames), 2, 6, "three are a good number"},
				{"min-alt", minAlt, 5, 80, "below 20 degrees refraction is uncertain"},
				{"max-turn", turn, 10, 180, "90 degrees suit most mounts"},
				{"faintest", faintest, 4, 12, "10 suits a few seconds through a small telescope, 8 a camera lens"},
				{"wobble", wobble, 0, 600, "1 arcsec is a steady mount, 5 a shaky one"},
			} {
				if !(x.value >= x.lo && x.value <= x.hi) {
					return hint(fmt.Errorf("--%s %g is out of range %g to %g", x.name, x.value, x.lo, x.hi), x.advice)
				}
			}
			pl := &plan{frames: frames, minAlt: sphere.Angle(minAlt) * sphere.Degree, chart: chart,
				wish: axis.Wish{Frames: frames, MaxSpan: sphere.Angle(turn) * sphere.Degree, OneSide: !bothSides}}
			if pl.home, err = home.home(a, g.Gear); err != nil {
				return err
			}
			var scale sphere.Angle
			if pl.width, pl.height, scale, err = field.size(g.Gear); err != nil {
				return err
			}
			pl.camera = axis.Camera{Width: pl.width, Height: pl.height, StarErr: centroid * scale, Wobble: sphere.Angle(wobble) * sphere.Arcsecond}
			if blocks != "" {
				pl.blocks = blocks
			}
			if err := pl.readBlocks(); err != nil {
				return err
			}
			if err := pl.search(faintest); err != nil {
				return err
			}
			if chart != "" {
				if err := pl.draw(chart); err != nil {
					return err
				}
			}
			if asJSON {
				err = a.planJSON(pl)
			} else {
				a.showPlan(pl)
			}
			if err == nil && len(pl.suggestions) == 0 {
				return errNoAnswer
			}
			return err
		},
	}
	fs := c.Flags()
	home.add(fs)
	field.add(fs)
	fs.IntVar(&frames, "frames", 3, "how many `frames` you are willing to take, 2 to 6")
	fs.Float64Var(&minAlt, "min-alt", 25, "lowest `altitude` to photograph at, degrees")
	fs.Float64Var(&turn, "max-turn", 90, "largest whole turn in RA, `degrees`")
	fs.BoolVar(&bothSides, "across", false, "the mount may cross the meridian without changing sides, as a fork does")
	fs.Float64Var(&faintest, "faintest", 10, "`magnitude` of the faintest stars your frames show")
	fs.Float64Var(&wobble, "wobble", 1, "how well a whole frame holds still, `arcsec`: flexure, bearings, wind")
	fs.StringVar(&blocks, "blocks", "", "`file` that tells what blocks the sky (default: that of the site in the gear file)")
	fs.StringVar(&chart, "chart", "", "draw the sky into this `file`, .svg or .png")
	fs.BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

func (pl *plan) readBlocks() error {
	if pl.blocks == "" {
		return nil
	}
	f, err := os.Open(pl.blocks)
	if err != nil {
		advice := "give --blocks FILE"
		if errors.Is(err, fs.ErrNotExist) {
			advice = "check the name; a line for each stretch: first azimuth, last azimuth, lowest clear altitude"
		}
		return hint(err, advice)
	}
	defer f.Close()
	if pl.skyline, err = axis.ParseSkyline(f); err != nil {
		return hint(fmt.Errorf("%s: %w", pl.blocks, err), "a line for each stretch: first azimuth, last azimuth, lowest clear altitude, in degrees, such as 80 140 35")
	}
	return nil
}

// search settles the time and looks for the best frames.
func (pl *plan) search(faintest float64) (err error) {
	if !pl.given {
		if err := pl.waitForDark(); err != nil {
			return err
		}
	}
	if pl.p, err = pl.place(pl.at); err != nil {
		return err
	}
	if pl.moon, err = pl.p.Moon(); err != nil {
		return err
	}
	_, pl.moonAlt = pl.moon.Seen.AzAlt()
	_, pl.sunAlt = pl.p.Sun().Seen.AzAlt()
	if pl.sunAlt > -6*sphere.Degree {
		return hint(fmt.Errorf("at %s the Sun stands at %.0f°: too bright for stars, and dangerous to aim at", pl.at.Format("2006-01-02 15:04 MST"), pl.sunAlt.Degrees()), "choose a time with --at at which it is dark")
	}
	d := countStars(faintest, epochOf(pl.at, pl.at))
	area := pl.width.Degrees() * pl.height.Degrees()
	pl.night = axis.Night{
		Pole: pl.p.RefractedPole(), South: pl.p.South(), Refraction: pl.p.Refraction, AirErr: pl.air.Err,
		Stars: func(l sphere.Local) float64 {
			return math.Min(mostStars, d.at(pl.p.Catalogue(l))*area*pl.moonlight(l))
		},
		Clear: pl.clear,
	}
	pl.suggestions = pl.night.Suggest(pl.camera, pl.wish, 3)
	return nil
}

// mostStars is how many stars of a frame are measured at most.
const mostStars = 300

// waitForDark moves the time to the first dark moment of tonight, unless it is
// dark now.
func (pl *plan) waitForDark() error {
	p, err := pl.place(pl.at)
	if err != nil {
		return err
	}
	if _, sun := p.Sun().Seen.AzAlt(); sun < darkness {
		return nil
	}
	noon, err := pl.noonOfTonight()
	if err != nil {
		return err
	}
	for at := noon; at.Before(noon.Add(24 * time.Hour)); at = at.Add(10 * time.Minute) {
		p, err := pl.place(at)
		if err != nil {
			return err
		}
		if _, sun := p.Sun().Seen.AzAlt(); sun < darkness && !at.Before(pl.at) {
			pl.at = at.Truncate(time.Minute).In(pl.zone)
			return nil
		}
	}
	return hint(fmt.Errorf("it does not get dark at %s tonight", pl.where()), "choose another night with --at")
}

// clear is true when the whole frame at l can be seen.
func (pl *plan) clear(l sphere.Local) bool {
	az, alt := l.AzAlt()
	half := sphere.Angle(math.Hypot(float64(pl.width), float64(pl.height))) / 2
	if alt < pl.minAlt || alt > 85*sphere.Degree {
		return false
	}
	for i := range 8 {
		edge := axis.Beside(l, half, sphere.Angle(i)*halfTurn/4)
		eaz, ealt := edge.AzAlt()
		if ealt < pl.skyline.Lowest(eaz) || ealt < 5*sphere.Degree {
			return false
		}
	}
	return alt >= pl.skyline.Lowest(az)
}

// moonlight is the share of the stars that the Moon leaves: none within 10
// degrees of it, and up to 2.5 magnitudes fewer near a full one (a rough rule,
// common practice, no source).
func (pl *plan) moonlight(l sphere.Local) float64 {
	if pl.moonAlt < 0 {
		return 1
	}
	sep := l.Sep(pl.moon.Seen)
	if sep < 10*sphere.Degree {
		return 0
	}
	loss := 2.5 * pl.moon.Lit * math.Exp(-sep.Degrees()/40)
	return math.Pow(10, -0.4*loss)
}

// density counts stars per square degree in cells of nearly equal area.
type density struct {
	rows  [][]float64 // by declination from the south, each row by right ascension
	count int
}

// cellSize is the side of a cell, degrees.
const cellSize = 2.5

func countStars(faintest, epoch float64) *density {
	n := int(180 / cellSize)
	d := &density{rows: make([][]float64, n)}
	for i := range d.rows {
		mid := (float64(i)+0.5)*cellSize - 90
		d.rows[i] = make([]float64, max(3, int(360*math.Cos(mid*math.Pi/180)/cellSize)))
	}
	stars.Embedded().Each(faintest, epoch, func(s stars.Star) bool {
		*d.cell(s.Pos)++
		d.count++
		return true
	})
	for i, row := range d.rows {
		lo, hi := (float64(i)*cellSize-90)*math.Pi/180, (float64(i+1)*cellSize-90)*math.Pi/180
		area := (math.Sin(hi) - math.Sin(lo)) * 360 * 180 / math.Pi / float64(len(row))
		for j := range row {
			row[j] /= area
		}
	}
	return d
}

func (d *density) cell(s sphere.Sky) *float64 {
	ra, dec := s.RADec()
	row := d.rows[min(len(d.rows)-1, max(0, int((dec.Degrees()+90)/cellSize)))]
	return &row[min(len(row)-1, int(ra.Degrees()/360*float64(len(row))))]
}

// at returns the stars per square degree at s.
func (d *density) at(s sphere.Sky) float64 { return *d.cell(s) }

type planFrameJSON struct {
	Az    float64 `json:"az_deg"`
	Alt   float64 `json:"alt_deg"`
	HA    float64 `json:"hour_angle_deg"`
	RA    float64 `json:"ra_deg"`
	Dec   float64 `json:"dec_deg"`
	Stars int     `json:"stars_expected"`
}

type suggestionJSON struct {
	Frames []planFrameJSON `json:"frames"`
	Turn   float64         `json:"turn_each_deg"`
	Total  float64         `json:"sigma_total_arcsec"`
	Alt    float64         `json:"sigma_alt_arcsec"`
	Az     float64         `json:"sigma_az_sky_arcsec"`
}

func (a *app) planJSON(pl *plan) error {
	type out struct {
		Time        string           `json:"time"`
		Pole        directionJSON    `json:"pole"`
		PoleBlocked bool             `json:"pole_blocked"`
		Suggestions []suggestionJSON `json:"suggestions"`
		Chart       string           `json:"chart,omitempty"`
	}
	o := out{pl.at.UTC().Format(time.RFC3339), direction(pl.night.Pole), !pl.skyline.Clear(pl.night.Pole), []suggestionJSON{}, pl.chart}
	for _, s := range pl.suggestions {
		j := suggestionJSON{Turn: s.Span().Degrees() / float64(len(s.HA)-1), Total: s.Expected.Total().Arcseconds(),
			Alt: s.Expected.Alt().Arcseconds(), Az: s.Expected.Az().Arcseconds()}
		for i, f := range s.Frames {
			az, alt := f.Dir.AzAlt()
			ra, dec := pl.p.Catalogue(f.Dir).RADec()
			j.Frames = append(j.Frames, planFrameJSON{az.Degrees(), alt.Degrees(), s.HA[i].Degrees(), ra.Degrees(), dec.Degrees(), int(f.Stars)})
		}
		o.Suggestions = append(o.Suggestions, j)
	}
	return a.print(o)
}

// direction returns where hour angle ha and declination dec about the pole
// stand.
func (pl *plan) direction(ha, dec sphere.Angle) sphere.Local {
	return axis.NewDrive(pl.night.Pole, pl.night.Pole, pl.night.South).Star(ha, dec)
}
