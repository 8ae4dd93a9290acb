package verb

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/link"
	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/words"
)

// shootFlags are those of the verb shoot.
type shootFlags struct {
	camera          string
	exposure, every time.Duration
	longest         time.Duration
	gain            float64
	binning, frames int
	fixed           bool
}

func (a *app) shootCommand() *cobra.Command {
	var f shootFlags
	c := &cobra.Command{
		Use:     "shoot FOLDER",
		Short:   "take photographs with a camera that answers by INDI or Alpaca",
		Long:    words.ShootLong,
		Example: words.ShootExample,
		Args:    oneName("pintle shoot tonight --camera NAME"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var gain *float64
			if cmd.Flags().Changed("gain") {
				gain = &f.gain
			}
			return a.shoot(cmd.Context(), &f, args[0], gain)
		},
	}
	fs := c.Flags()
	fs.StringVar(&f.camera, "camera", "", "`address` of the camera, or its name in the gear file")
	fs.DurationVar(&f.exposure, "exposure", 2*time.Second, "exposure of the first frame, such as 2s or 500ms")
	fs.DurationVar(&f.longest, "longest", device.UsualLongest, "longest exposure that is chosen")
	fs.BoolVar(&f.fixed, "fixed", false, "leave the exposure as it is")
	fs.Float64Var(&f.gain, "gain", 0, "gain, in the camera's own numbers (default: as it is set)")
	fs.IntVar(&f.binning, "binning", 0, "pixels that become one, in each direction (default: as it is set)")
	fs.IntVar(&f.frames, "frames", 0, "number of photographs (default: until Ctrl-C)")
	fs.DurationVar(&f.every, "every", 0, "time from the start of one photograph to the next (default: at once)")
	return c
}

// shoot takes photographs until there are enough or the user ends it.
func (a *app) shoot(ctx context.Context, f *shootFlags, dir string, gain *float64) error {
	at, err := a.cameraAt(f.camera)
	if err != nil {
		return err
	}
	cam, err := link.Camera(ctx, at)
	if err != nil {
		return err
	}
	defer cam.Close()
	folder := &shoot.Folder{Dir: dir}
	e := device.Exposure{Time: f.exposure, Gain: gain, Binning: f.binning}
	for n := 1; ; n++ {
		begun := a.now()
		frame, err := folder.Take(ctx, cam, e)
		if ctx.Err() != nil {
			return nil // the user has ended it
		}
		if err != nil {
			return err
		}
		a.Shot(frame.Path, e.Time, frame.Apart, frame.Corrected)
		if n == f.frames {
			return nil
		}
		if !f.fixed {
			e = a.nextExposure(ctx, frame, e, cam.About(), f.longest)
		}
		if (link.Clock{}).Wait(ctx, f.every-a.now().Sub(begun)) != nil {
			return nil
		}
	}
}

// nextExposure looks at a photograph and tells when the next is exposed otherwise.
func (a *app) nextExposure(ctx context.Context, frame shoot.Frame, e device.Exposure, cam device.CameraInfo, longest time.Duration) device.Exposure {
	shown, err := shoot.Look(ctx, frame.Path)
	if err != nil {
		a.Fail(err)
		return e
	}
	next, why := shoot.Next(e, shown, cam, longest)
	if why != shoot.NoChange {
		a.Note(words.ExposureChanged(string(why), shown.Stars, shown.Burnt, next.Time))
	}
	return next
}
