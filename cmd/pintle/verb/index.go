package verb

import (
	"fmt"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/shelf"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
	"pintle/index/catalog"
	"pintle/index/written"
)

func (a *app) indexCommand() *cobra.Command {
	var f flags.Index
	c := &cobra.Command{Use: "index", Short: words.IndexShort, Args: noArgs("index"),
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() }}
	f.Add(c.PersistentFlags())
	c.AddCommand(a.indexBuildCommand(&f), a.indexInfoCommand(&f), a.indexCheckCommand(&f))
	return c
}

func (a *app) indexInfoCommand(f *flags.Index) *cobra.Command {
	return &cobra.Command{
		Use:   "info",
		Short: "say which parts of the index there are",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			s, err := a.shelf(*f)
			if err != nil {
				return err
			}
			defer s.Close()
			a.Index(s)
			return nil
		},
	}
}

func (a *app) indexCheckCommand(f *flags.Index) *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "read the whole index and its star lists and compare them with their checksums",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := a.shelf(*f)
			if err != nil {
				return err
			}
			defer s.Close()
			return s.Check(cmd.Context(), terminal.IndexCheck{Terminal: a.Terminal})
		},
	}
}

// catalogueFlags say which catalogues to read, and how.
type catalogueFlags struct {
	files    []string
	columns  catalog.Columns
	epoch    string
	faintest float64
}

func (f *catalogueFlags) add(fs *pflag.FlagSet) {
	fs.StringArrayVar(&f.files, "stars", nil, "catalogue `FILE` of deeper stars, more may follow: for frames below 0.6°, down to 0.15°")
	fs.StringVar(&f.columns.RA, "ra", "", "`COLUMN` of right ascension, such as RAmean or \"RA [h]\" or \"#2\" (this and the next are for catalogues whose columns are not found by themselves)")
	fs.StringVar(&f.columns.Dec, "dec", "", "`COLUMN` of declination")
	fs.StringVar(&f.columns.PMRA, "pmra", "", "`COLUMN` of proper motion in right ascension, times cos(dec)")
	fs.StringVar(&f.columns.PMDec, "pmdec", "", "`COLUMN` of proper motion in declination")
	fs.StringVar(&f.epoch, "epoch", "", "`COLUMN` of the epoch of the places, or one year for all, such as 2016.0")
	fs.StringVar(&f.columns.Mag, "mag", "", "`COLUMN` of the magnitude")
	fs.Var(written.Plain("magnitude", -2, 30, "10.5").Flag(&f.faintest, 0), "faintest", "leave out stars fainter than this magnitude (default: none)")
}

// check says whether the flags and arguments go together, and takes the
// arguments for files.
func (f *catalogueFlags) check(flags *pflag.FlagSet, args []string) error {
	if len(f.files) == 0 {
		for _, name := range []string{"ra", "dec", "pmra", "pmdec", "epoch", "mag", "faintest"} {
			if flags.Changed(name) {
				return advice.With(fmt.Errorf("--%s without a catalogue", name), "name the catalogue with --stars FILE")
			}
		}
		if len(args) > 0 {
			return advice.With(fmt.Errorf("%q is not wanted here", args[0]), "pintle index build --stars "+args[0])
		}
		return nil
	}
	f.files = append(f.files, args...)
	return nil
}

func (f *catalogueFlags) options() catalog.Options {
	o := catalog.Options{Columns: f.columns, Faintest: f.faintest}
	if year, err := strconv.ParseFloat(f.epoch, 64); err == nil {
		o.Epoch = year
	} else {
		o.Columns.Epoch = f.epoch
	}
	return o
}

func (a *app) indexBuildCommand(f *flags.Index) *cobra.Command {
	var (
		again bool
		cat   catalogueFlags
	)
	c := &cobra.Command{
		Use:     "build [--stars FILE...]",
		Short:   "build the whole index now, so that nothing has to be built in the field",
		Long:    words.BuildLong,
		Example: words.BuildExample,
		Args:    cobra.ArbitraryArgs, // files after --stars
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := cat.check(cmd.Flags(), args); err != nil {
				return err
			}
			dir, err := indexFolder(*f)
			if err != nil {
				return err
			}
			if len(cat.files) > 0 {
				if err := shelf.Import(cmd.Context(), dir, cat.files, cat.options(), a.now(), a.Terminal); err != nil {
					return err
				}
			}
			s := shelf.Open(dir, a.now, a.Terminal)
			defer s.Close()
			if len(cat.files) == 0 {
				if err := s.BuildWide(cmd.Context(), again); err != nil {
					return err
				}
			}
			if err := s.BuildDeep(cmd.Context(), again); err != nil {
				return err
			}
			a.Index(s)
			return nil
		},
	}
	c.Flags().BoolVar(&again, "again", false, "build bands anew that are there already")
	cat.add(c.Flags())
	return c
}
