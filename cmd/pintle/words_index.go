package main

import (
	"context"
	"errors"
	"fmt"

	"pintle/index"
)

// indexInfo tells which parts of the index there are.
func (a *app) indexInfo(lib, deep *index.Library, damaged error) {
	fmt.Fprintf(a.out, "star list: %d stars, checksum %.12s\nfolder: %s\n", lib.List.Len(), lib.List.Checksum(), lib.Dir)
	a.bandsInfo(lib, "not built")
	switch {
	case damaged != nil:
		fmt.Fprintf(a.out, "deeper stars: cannot be used: %v\n", damaged)
	case deep == nil:
		fmt.Fprintln(a.out, "deeper stars: none")
	default:
		fmt.Fprintf(a.out, "deeper stars: %d, checksum %.12s\nfolder: %s\n", deep.List.Len(), deep.List.Checksum(), deep.Dir)
		a.bandsInfo(deep, "not there")
	}
}

// bandsInfo tells of the bands of a library; absent words one that is not there.
func (a *app) bandsInfo(lib *index.Library, absent string) {
	for _, b := range lib.Bands() {
		state := absent
		r, err := lib.Ready(b)
		switch {
		case err == nil:
			state = fmt.Sprintf("%9d patterns, %4d MB, built %s", r.Manifest.Patterns, (index.Size(lib.Dir, b)+500000)/1000000, r.Manifest.Built.Format("2006-01-02 15:04"))
		case !errors.Is(err, index.ErrAbsent):
			state = "to be built again: " + err.Error()
		}
		fmt.Fprintf(a.out, "band %-2d patterns of %5.2f to %5.2f degrees  %s\n", b.Number, b.Min.Degrees(), b.Max.Degrees(), state)
	}
}

// indexCheck reads everything and tells what is damaged.
func (a *app) indexCheck(ctx context.Context, lib, deep *index.Library, damaged error) error {
	bad, err := a.checkLibrary(ctx, lib, "star list", "not built")
	if err != nil {
		return err
	}
	deepBad := 0
	if damaged != nil {
		fmt.Fprintf(a.out, "deeper stars: %v\n", damaged)
		deepBad = 1
	}
	if deep != nil {
		if deepBad, err = a.checkLibrary(ctx, deep, "deeper stars", "not there"); err != nil {
			return err
		}
	}
	switch {
	case bad+deepBad == 0:
		return nil
	case damaged != nil:
		return hint(fmt.Errorf("%d parts are damaged", bad+deepBad), textDeepAgain)
	}
	return hint(fmt.Errorf("%d parts are damaged", bad+deepBad), "pintle index build --again")
}

// checkLibrary reads a star list and its bands; it counts what is damaged.
func (a *app) checkLibrary(ctx context.Context, lib *index.Library, list, absent string) (bad int, err error) {
	if err := lib.List.Verify(); err != nil {
		fmt.Fprintf(a.out, "%s: %v\n", list, err)
		bad++
	} else {
		fmt.Fprintf(a.out, "%s: good, %d stars\n", list, lib.List.Len())
	}
	for _, b := range lib.Bands() {
		r, err := lib.Ready(b)
		if err == nil {
			err = r.Check(ctx)
		}
		switch {
		case ctx.Err() != nil:
			return bad, ctx.Err()
		case err == nil:
			fmt.Fprintf(a.out, "band %d: good, %d patterns\n", b.Number, r.Manifest.Patterns)
		case errors.Is(err, index.ErrAbsent):
			fmt.Fprintf(a.out, "band %d: %s\n", b.Number, absent)
		default:
			fmt.Fprintf(a.out, "band %d: %v\n", b.Number, err)
			bad++
		}
	}
	return bad, nil
}
