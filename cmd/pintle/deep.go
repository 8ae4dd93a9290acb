package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"time"

	"github.com/spf13/pflag"

	"pintle/index"
	"pintle/index/catalog"
	"pintle/index/stars"
	"pintle/index/written"
	"pintle/solve"
)

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
				return hint(fmt.Errorf("--%s without a catalogue", name), "name the catalogue with --stars FILE")
			}
		}
		if len(args) > 0 {
			return hint(fmt.Errorf("%q is not wanted here", args[0]), "pintle index build --stars "+args[0])
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

// deep returns the index of deeper stars in a folder, nil when there is none.
func (a *app) deep(dir string) (*index.Library, error) {
	list, err := stars.OpenFile(index.DeepList(dir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &index.Library{Dir: index.DeepFolder(dir), List: list, Set: index.DeepBands(), Now: a.now, Building: a.buildingDeep}, nil
}

// closeDeep closes an index of deeper stars and its list.
func closeDeep(l *index.Library) error {
	if l == nil {
		return nil
	}
	return errors.Join(l.Close(), l.List.Close())
}

// solver returns a solver with the index, and with that of deeper stars where
// there is one. Close it after use.
func (a *app) solver(f *indexFlags) (s *solve.Solver, closeIt func() error, err error) {
	lib, err := a.library(f)
	if err != nil {
		return nil, nil, err
	}
	deep, err := a.deep(lib.Dir)
	if err != nil {
		a.fail(hint(fmt.Errorf("the deeper stars are left out: %w", err), textDeepAgain))
	}
	return &solve.Solver{Library: lib, Deep: deep, Sweeping: a.sweeping}, func() error { return errors.Join(lib.Close(), closeDeep(deep)) }, nil
}

// fresh is the name of a list until it is known to be of use.
const fresh = "stars.new"

// importDeep reads catalogues and puts their list in place of the one there
// is. Nothing is changed when that fails.
func (a *app) importDeep(ctx context.Context, dir string, f *catalogueFlags) error {
	var sources []catalog.Source
	for _, path := range f.files {
		s, err := catalog.File(path)
		if err != nil {
			return hint(err, "check the name of the file")
		}
		sources = append(sources, s)
	}
	folder := index.DeepFolder(dir)
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return hint(err, "name a folder that can be written with --index DIR")
	}
	sweepImports(folder, a.now())
	defer os.Remove(folder) // when it is empty
	path := filepath.Join(folder, fresh)
	defer os.Remove(path)
	progress := a.working("reading the catalogue")
	report, err := catalog.Import(ctx, path, sources, f.options(), progress)
	if err != nil {
		progress(-1)
		a.showBad(&report)
		return hint(err, textCatalogueHint)
	}
	progress(1)
	a.showImport(&report)
	if err := a.useful(path); err != nil {
		return err
	}
	return os.Rename(path, index.DeepList(dir))
}

// sweepImports removes what killed imports left more than an hour ago.
func sweepImports(folder string, now time.Time) {
	left, _ := filepath.Glob(filepath.Join(folder, "stars-*.tmp"))
	for _, path := range left {
		if fi, err := os.Stat(path); err == nil && now.Sub(fi.ModTime()) > time.Hour {
			os.Remove(path)
		}
	}
}

// useful reports whether a list has enough stars for any of the bands.
func (a *app) useful(path string) error {
	list, err := stars.OpenFile(path)
	if err != nil {
		return err
	}
	defer list.Close()
	if good, _ := index.Serves(list); len(good) == 0 {
		return hint(errors.New("the stars are too few for frames smaller than the embedded list serves"), textTooFewHint)
	}
	return nil
}

// buildDeep builds the bands for which the deeper list has enough stars, and
// removes the others.
func (a *app) buildDeep(ctx context.Context, lib *index.Library, force bool) error {
	// Large blocks come and go in a build: memory is dearer than time.
	defer debug.SetGCPercent(debug.SetGCPercent(30))
	good, poor := index.Serves(lib.List)
	for _, b := range poor {
		a.showPoor(b)
		if err := index.Remove(lib.Dir, b); err != nil {
			return err
		}
	}
	return buildBands(ctx, lib, good, force, "room: some 150 bytes a star")
}
