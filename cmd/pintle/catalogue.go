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

// withLibraries returns what a verb of the index runs: do, with the index and
// that of deeper stars, which may be nil, opened before and closed after it.
// What is wrong with the latter is given to do.
func (a *app) withLibraries(f *indexFlags, do func(ctx context.Context, lib, deep *index.Library, damaged error) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, _ []string) error {
		lib, err := a.library(f)
		if err != nil {
			return err
		}
		defer lib.Close()
		deep, err := a.deep(lib.Dir)
		defer closeDeep(deep)
		return do(cmd.Context(), lib, deep, err)
	}
}

func (a *app) indexCommand() *cobra.Command {
	var f indexFlags
	c := &cobra.Command{Use: "index", Short: "build or look at the star index"}
	f.add(c.PersistentFlags())
	info := &cobra.Command{
		Use:   "info",
		Short: "say which parts of the index there are",
		Args:  cobra.NoArgs,
		RunE: a.withLibraries(&f, func(_ context.Context, lib, deep *index.Library, damaged error) error {
			a.indexInfo(lib, deep, damaged)
			return nil
		}),
	}
	check := &cobra.Command{
		Use:   "check",
		Short: "read the whole index and its star lists and compare them with their checksums",
		Args:  cobra.NoArgs,
		RunE:  a.withLibraries(&f, a.indexCheck),
	}
	c.AddCommand(a.indexBuildCommand(&f), info, check)
	return c
}

func (a *app) indexBuildCommand(f *indexFlags) *cobra.Command {
	var (
		force bool
		cat   catalogueFlags
	)
	c := &cobra.Command{
		Use:     "build [--stars FILE...]",
		Short:   "build the whole index now, so that nothing has to be built in the field",
		Long:    textBuildLong,
		Example: textBuildExample,
		Args:    cobra.ArbitraryArgs, // files after --stars
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := cat.check(cmd.Flags(), args); err != nil {
				return err
			}
			dir, err := f.folder()
			if err != nil {
				return err
			}
			if len(cat.files) > 0 {
				if err := a.importDeep(cmd.Context(), dir, &cat); err != nil {
					return err
				}
			}
			return a.withLibraries(f, func(ctx context.Context, lib, deep *index.Library, damaged error) error {
				if len(cat.files) == 0 {
					if err := buildBands(ctx, lib, lib.Bands(), force, "600 MB free"); err != nil {
						return err
					}
				}
				if deep != nil {
					if err := a.buildDeep(ctx, deep, force); err != nil {
						return err
					}
				}
				a.indexInfo(lib, deep, damaged)
				return nil
			})(cmd, nil)
		},
	}
	c.Flags().BoolVar(&force, "again", false, "build bands anew that are there already")
	cat.add(c.Flags())
	return c
}

// buildBands builds bands of a library, the widest first; room is what the disk
// needs.
func buildBands(ctx context.Context, lib *index.Library, bands []index.Band, force bool, room string) (err error) {
	for i := len(bands) - 1; i >= 0; i-- {
		if force {
			err = lib.Rebuild(ctx, bands[i], index.ErrAbsent)
		} else {
			_, err = lib.Get(ctx, bands[i])
		}
		if err != nil {
			return hint(err, "check that the folder can be written and has "+room)
		}
	}
	return nil
}
