package verb

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/index/sphere"
	"pintle/index/written"
)

// put saves a thing and says so.
func (a *app) put(kind, name string, thing any, replace bool) error {
	f, err := a.changeGear(func(f *gear.File) error { return f.Put(name, thing, replace) })
	if err == nil {
		a.Saved(f, kind, name)
	}
	return err
}

func (a *app) addSite() *cobra.Command {
	var lat, lon string
	var elev float64
	var blocks string
	var replace bool
	c := &cobra.Command{
		Use:   "site NAME",
		Short: "add a place for the tripod",
		Args:  oneName(`pintle gear add site "back garden" --lat 31.4S --lon 121.9E`),
		RunE: func(_ *cobra.Command, args []string) error {
			if lat == "" || lon == "" {
				return advice.With(fmt.Errorf("a site needs --lat and --lon"), "such as --lat -31.4 --lon 121.9 --elev 430")
			}
			la, err := written.Latitude(lat)
			if err != nil {
				return advice.With(fmt.Errorf("--lat: %w", err), "degrees from -90 to 90, south negative")
			}
			lo, err := written.Longitude(lon)
			if err != nil {
				return advice.With(fmt.Errorf("--lon: %w", err), "degrees from -180 to 360, east positive")
			}
			round := func(a sphere.Angle) float64 { return math.Round(a.Degrees()*1e6) / 1e6 }
			return a.put(gear.KindSite, args[0], gear.Site{Lat: round(la), Lon: round(lo), Elev: elev, Blind: blocks}, replace)
		},
	}
	fs := c.Flags()
	fs.StringVar(&lat, "lat", "", "latitude in `degrees`, such as 31.4S, -31.4 or -31:24:00")
	fs.StringVar(&lon, "lon", "", "longitude in `degrees`, such as 121.9E, 121.9 or 121:54:00; west is W or negative")
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
	fs.StringVar(&cam.At, "at", "", "`address` of the camera, such as indi://localhost/Name or alpaca://host:port/camera/0, as \"pintle devices\" lists it")
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
	fs.Var(written.Tiny("scatter", 0.01, 600).Flag(&m.Scatter, 0), "scatter", "by how much frames miss one rotation, `arcsec` per axis (the journal learns it)")
	fs.StringVar(&m.At, "at", "", "`address` of the mount, as \"pintle devices\" lists it")
	fs.BoolVar(&replace, "replace", false, "replace the mount of this name")
	return c
}
