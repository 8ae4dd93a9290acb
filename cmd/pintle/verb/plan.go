package verb

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/chart"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/written"
)

// planFlags are the flags of the plan verb.
type planFlags struct {
	home                           flags.Home
	field                          flags.Field
	frames                         int
	minAlt, turn, faintest, wobble float64
	given                          *pflag.FlagSet
	blocks, chart                  string
	bothSides, asJSON, replace     bool
}

func (f *planFlags) add(fs *pflag.FlagSet) {
	f.home.Add(fs)
	f.field.Add(fs)
	fs.IntVar(&f.frames, "frames", planning.UsualFrames, "how many `frames` you are willing to take, 2 to 6")
	fs.Var(written.Span("lowest altitude", 0, 90, false).Flag(&f.minAlt, planning.UsualMinAlt), "min-alt", "lowest `altitude` to photograph at, degrees")
	fs.Var(written.Span("turn", 0, 360, false).Flag(&f.turn, planning.UsualTurn), "max-turn", "largest whole turn in RA, `degrees`")
	fs.BoolVar(&f.bothSides, "across", false, "the mount may cross the meridian without changing sides, as a fork does")
	fs.Var(written.Plain("magnitude", -2, 30, "10.5").Flag(&f.faintest, planning.UsualFaintest), "faintest", "`magnitude` of the faintest stars your frames show")
	f.given = fs
	fs.Var(written.Tiny("wobble", 0, 3600).Flag(&f.wobble, planning.UsualWobble), "wobble", "how well a whole frame holds still, `arcsec`: wind, bearings, seeing; unless told, the scatter of the mount in the gear file or the journal counts")
	fs.StringVar(&f.blocks, "blocks", "", "`file` that tells what blocks the sky (default: that of the site in the gear file)")
	fs.StringVar(&f.chart, "chart", "", "draw the sky into this `file`, .svg or .png")
	fs.BoolVar(&f.replace, "replace", false, "replace the file of --chart when it exists")
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
			return advice.With(fmt.Errorf("--%s %g is out of range %g to %g", x.name, x.value, x.lo, x.hi), x.advice)
		}
	}
	return nil
}

func (a *app) planCommand() *cobra.Command {
	var f planFlags
	c := &cobra.Command{
		Use:     "plan",
		Short:   "where to point for the smallest error of the axis",
		Long:    words.PlanLong,
		Example: words.PlanExample,
		Args:    cobra.NoArgs,
		RunE:    func(*cobra.Command, []string) error { return a.plan(&f) },
	}
	f.add(c.Flags())
	return c
}

// plan looks for the best frames, draws them when asked to, and shows them.
func (a *app) plan(f *planFlags) error {
	q, err := f.question(a)
	if err != nil {
		return err
	}
	pl, err := planning.Find(q)
	if err != nil {
		return words.PlainError(err)
	}
	if f.chart != "" {
		if err := draw(pl, f.chart, f.replace); err != nil {
			return err
		}
	}
	if f.asJSON {
		err = a.PlanJSON(pl, f.chart)
	} else {
		a.Plan(pl, f.chart)
	}
	if err == nil && len(pl.Suggestions) == 0 {
		return errNoAnswer
	}
	return err
}

// question is what the flags ask.
func (f *planFlags) question(a *app) (q planning.Question, err error) {
	if err := f.check(); err != nil {
		return q, err
	}
	g, err := a.gearFor(f.home.Name, f.field.Camera)
	if err != nil {
		return q, err
	}
	q = planning.Question{Frames: f.frames, Faintest: f.faintest, BothSides: f.bothSides,
		MinAlt: sphere.Angle(f.minAlt) * sphere.Degree, Turn: sphere.Angle(f.turn) * sphere.Degree}
	if q.Home, err = f.home.Settle(a.now(), g.Gear); err != nil {
		return q, err
	}
	if f.blocks != "" {
		q.Blocks = f.blocks
	}
	if !f.given.Changed("wobble") {
		path, err := a.journalPath()
		if err != nil {
			path = "" // nothing is kept there then
		}
		q.Steady = planning.SteadinessOf(g.Gear, "", path, a.now())
		f.wobble = q.Steady.Wobble().Arcseconds()
	}
	field, err := f.field.Size(g.Gear)
	q.Camera = plan.NewCamera(field.Width, field.Height, field.Scale, sphere.Angle(f.wobble)*sphere.Arcsecond)
	return q, err
}

// draw writes the sky of a plan into a file.
func draw(pl *planning.Plan, path string, replace bool) error {
	kind, err := chart.Kind(path)
	if err != nil {
		return err
	}
	picture, err := chart.Sky(pl, kind)
	if err != nil {
		return err
	}
	return whole.Write(path, whole.How{Replace: replace}, func(w io.Writer) error {
		_, err := picture.WriteTo(w)
		return err
	})
}
