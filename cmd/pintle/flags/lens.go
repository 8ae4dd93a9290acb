package flags

import (
	"fmt"

	"github.com/spf13/pflag"

	"pintle/axis/drive"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
	"pintle/index/written"
)

// lens says with what is photographed; what is not given comes from a camera of
// the gear file.
type lens struct {
	fs            *pflag.FlagSet
	Camera        string // of the gear file
	focal, pixel  float64
	width, height int
}

func (f *lens) add(fs *pflag.FlagSet, focal string) {
	f.fs = fs
	fs.StringVar(&f.Camera, "camera", "", "a `camera` of the gear file (default: its default camera)")
	fs.Var(written.Focal.Flag(&f.focal, 0), "focal", focal)
	fs.Var(written.Pixel.Flag(&f.pixel, 0), "pixel", "pixel size in `um`")
	fs.IntVar(&f.width, "width", 0, "width of the frame in `px`")
	fs.IntVar(&f.height, "height", 0, "height of the frame in `px`")
}

// camera is the camera of the gear file, changed as the flags say; first makes
// the first one.
func (f *lens) camera(g gear.Gear, first string) (name string, c gear.Camera, err error) {
	name, c, ok := gear.Pick(g.Cameras, f.Camera, g.Default.Camera)
	if !ok && f.Camera != "" {
		return "", c, advice.With(fmt.Errorf("no camera called %q in the gear file", f.Camera), words.Known(g.Names(gear.KindCamera), first))
	}
	f.change(map[string]func(){
		"focal": func() { c.Focal = f.focal }, "pixel": func() { c.Pixel = f.pixel },
		"width": func() { c.Width = f.width }, "height": func() { c.Height = f.height },
	})
	return name, c, nil
}

// change does what belongs to the flags that were given.
func (f *lens) change(by map[string]func()) {
	for flag, set := range by {
		if f.fs.Changed(flag) {
			set()
		}
	}
}

// Exposure describe the photographs that are to come out sharp; what is
// not given comes from a camera of the gear file.
type Exposure struct {
	lens
	seconds, trail, corner float64
	guided                 bool
}

// Add adds them.
func (f *Exposure) Add(fs *pflag.FlagSet) {
	f.lens.add(fs, "focal length in `mm`")
	fs.Var(written.Exposure.Flag(&f.seconds, 0), "exposure", "exposure of one frame in `seconds`")
	fs.Var(written.Pixels("trail", 0.01, 1000, true).Flag(&f.trail, 0), "trail", "longest trail you accept in `px` (default 1)")
	fs.BoolVar(&f.guided, "guided", false, "a guide star is held by corrections in both axes")
	fs.Var(written.Span("corner distance", 0.001, 90, true).Flag(&f.corner, 0), "corner", "`degrees` from the guide star to the far corner, or from the centre to the corner (default: half the frame's diagonal)")
}

// Exposure returns the exposure asked for and where it came from.
func (f *Exposure) Exposure(g gear.Gear) (drive.Exposure, string, error) {
	name, c, err := f.lens.camera(g, "pintle gear add camera NAME --focal 400 --pixel 3.76")
	if err != nil {
		return drive.Exposure{}, "", err
	}
	f.change(map[string]func(){
		"exposure": func() { c.Exposure = f.seconds }, "trail": func() { c.Trail = f.trail },
		"guided": func() { c.Guided = f.guided }, "corner": func() { c.Corner = f.corner },
	})
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

// Field give the size of the field and of a pixel.
type Field struct {
	lens
	field string
}

// Add adds them.
func (f *Field) Add(fs *pflag.FlagSet) {
	fs.StringVar(&f.field, "field", "", "size of the `field` in degrees, such as 2.1x1.4")
	f.lens.add(fs, "focal length in `mm`, with --pixel, --width and --height")
}

// Size returns the field that the frames have.
func (f *Field) Size(g gear.Gear) (size planning.Field, err error) {
	ok := true
	if f.field != "" {
		if size, ok = planning.ReadField(f.field); !ok {
			return size, advice.With(fmt.Errorf("--field %q is not two numbers", f.field), "width x height in degrees, such as 2.1x1.4")
		}
	} else {
		_, c, err := f.lens.camera(g, "pintle gear add camera NAME --focal 400 --pixel 3.76 --width 6248 --height 4176")
		if err != nil {
			return size, err
		}
		if size, ok = planning.FieldOf(c); !ok {
			return size, advice.With(fmt.Errorf("the size of the field is not known"), "give --field 2.1x1.4 in degrees, or --focal, --pixel, --width and --height, or tell the camera once with \"pintle gear add camera\"")
		}
	}
	return size, advice.With(size.Check(), "check focal length and pixel size, or --field")
}
