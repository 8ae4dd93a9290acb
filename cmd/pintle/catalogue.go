package main

import (
	"context"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/index"
	"pintle/index/stars"
)

// indexFlags say where the index is.
type indexFlags struct{ dir string }

func (f *indexFlags) add(fs *pflag.FlagSet) {
	fs.StringVar(&f.dir, "index", "", "folder of the star index (default: pintle/index in the user's cache folder)")
}

// folder returns the folder of the index.
func (f *indexFlags) folder() (string, error) {
	if f.dir != "" {
		return f.dir, nil
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", hint(err, "name a folder for the star index with --index DIR")
	}
	return filepath.Join(cache, "pintle", "index"), nil
}

// library returns the index, nothing opened yet.
func (a *app) library(f *indexFlags) (*index.Library, error) {
	dir, err := f.folder()
	if err != nil {
		return nil, err
	}
	return &index.Library{Dir: dir, List: stars.Embedded(), Now: a.now, Building: a.building}, nil
}

// withLibrary returns what a verb of the index runs: do, with the index opened
// before and closed after it.
func (a *app) withLibrary(f *indexFlags, do func(context.Context, *index.Library) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, _ []string) error {
		lib, err := a.library(f)
		if err != nil {
			return err
		}
		defer lib.Close()
		return do(cmd.Context(), lib)
	}
}

func (a *app) indexCommand() *cobra.Command {
	var f indexFlags
	c := &cobra.Command{Use: "index", Short: "build or look at the star index"}
	f.add(c.PersistentFlags())
	var force bool
	build := &cobra.Command{
		Use:   "build",
		Short: "build the whole index now, so that nothing has to be built in the field",
		Args:  cobra.NoArgs,
		RunE: a.withLibrary(&f, func(ctx context.Context, lib *index.Library) (err error) {
			bands := index.Bands()
			for i := len(bands) - 1; i >= 0; i-- {
				b := bands[i]
				if force {
					err = lib.Rebuild(ctx, b, index.ErrAbsent)
				} else {
					_, err = lib.Get(ctx, b)
				}
				if err != nil {
					return hint(err, "check that the folder can be written and has 600 MB free")
				}
			}
			return a.indexInfo(lib)
		}),
	}
	build.Flags().BoolVar(&force, "again", false, "build bands anew that are there already")
	info := &cobra.Command{
		Use:   "info",
		Short: "say which parts of the index there are",
		Args:  cobra.NoArgs,
		RunE:  a.withLibrary(&f, func(_ context.Context, lib *index.Library) error { return a.indexInfo(lib) }),
	}
	check := &cobra.Command{
		Use:   "check",
		Short: "read the whole index and the star list and compare them with their checksums",
		Args:  cobra.NoArgs,
		RunE:  a.withLibrary(&f, a.indexCheck),
	}
	c.AddCommand(build, info, check)
	return c
}
