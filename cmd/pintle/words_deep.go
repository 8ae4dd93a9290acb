package main

import (
	"errors"
	"fmt"

	"pintle/index"
	"pintle/index/catalog"
)

const (
	textDeepAgain     = "pintle index build --stars FILE"
	textCatalogueHint = "pintle help index build"
	textTooFewHint    = "take a catalogue that goes deeper: 40 stars a square degree at least, 320 for frames of 0.15 degrees"
)

const textBuildLong = `Builds the whole star index now, so that nothing has to be built in the field.

The embedded stars serve frames from 0.6 degrees diagonal. For longer focal
lengths give a deeper catalogue of your own with --stars: comma-separated
values, a FITS table or a VOTable, several files if need be, also packed with
gzip. Columns are found by the names and UCDs that archives use; where they are
not, name them with the flags. A row that cannot be used is left out, counted,
and the first ones are shown with the reason. The catalogue may hold only a part
of the sky. Its stars replace those of the last deeper catalogue; every command
that recognises photographs uses them when the embedded stars do not do.`

const textBuildExample = `  pintle index build
  pintle index build --stars north.fits south.fits
  pintle index build --stars mine.csv --mag Gmag --epoch 2016.0 --faintest 16`

// working names a long work and returns what draws its progress.
func (a *app) working(what string) func(share float64) {
	fmt.Fprintln(a.err, what)
	if !a.progress {
		return func(float64) {}
	}
	return a.bar()
}

// frames words the frames that a band is for.
func frames(b index.Band) string {
	lo, hi := b.Frames(6, 110)
	return fmt.Sprintf("frames of %.2f to %.2f degrees", lo.Degrees(), hi.Degrees())
}

// buildingDeep tells that a band of deeper stars is being built.
func (a *app) buildingDeep(b index.Band, reason error) func(share float64) {
	why := ""
	if !errors.Is(reason, index.ErrAbsent) {
		why = ", anew: " + reason.Error()
	}
	return a.working("building the index of deeper stars for " + frames(b) + why)
}

// showPoor tells that a band is left out.
func (a *app) showPoor(b index.Band) {
	fmt.Fprintf(a.out, "band %d, %s, is left out: fewer than 5 stars a square\n", b.Number, frames(b))
}

// showImport tells what became of a catalogue.
func (a *app) showImport(r *catalog.Report) {
	for _, f := range r.Files {
		fmt.Fprintf(a.out, "%s: %s, %s\n", f.Name, f.Format, count(int(f.Rows), "row"))
		for _, c := range f.Columns {
			unit := ""
			if c.Unit != "" {
				unit = ", " + c.Unit
			}
			fmt.Fprintf(a.out, "  %s: column %s%s\n", c.Role, c.Column, unit)
		}
	}
	fmt.Fprintf(a.out, "%s: %s kept, magnitude %.2f to %.2f, %.1f MB", count(int(r.Rows), "row"), count(r.Stars, "star"), r.Brightest, r.Faintest, float64(r.Bytes)/1e6)
	if r.Twins > 0 {
		fmt.Fprintf(a.out, "; %d left out that came twice", r.Twins)
	}
	if r.TooFaint > 0 {
		fmt.Fprintf(a.out, "; %d left out as too faint", r.TooFaint)
	}
	fmt.Fprintln(a.out)
	a.showBad(r)
	for _, n := range r.Notes {
		fmt.Fprintf(a.out, "note: %s\n", n)
	}
}

// showBad tells of the rows that could not be used.
func (a *app) showBad(r *catalog.Report) {
	if r.Bad == 0 {
		return
	}
	fmt.Fprintf(a.out, "%s could not be used:\n", count(int(r.Bad), "row"))
	for _, reason := range r.Reasons {
		fmt.Fprintf(a.out, "  %d: %s\n", reason.Rows, reason.Reason)
	}
	if int64(len(r.First)) < r.Bad {
		fmt.Fprintf(a.out, "the first %d of them:\n", len(r.First))
	} else {
		fmt.Fprintln(a.out, "they are:")
	}
	for _, b := range r.First {
		fmt.Fprintf(a.out, "  %s, %s: %s: %s\n", b.File, b.Row, b.Reason, b.Value)
	}
}
