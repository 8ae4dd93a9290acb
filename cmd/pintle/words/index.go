package words

import (
	"fmt"

	"pintle/index"
	"pintle/index/catalog"
)

const BuildLong = `Builds the whole star index now, so that nothing has to be built in the field.

The embedded stars serve frames from 0.6 degrees diagonal. For longer focal
lengths give a deeper catalogue of your own with --stars: comma-separated
values, a FITS table or a VOTable, several files if need be, also packed with
gzip. Columns are found by the names and UCDs that archives use; where they are
not, name them with the flags. A row that cannot be used is left out, counted,
and the first ones are shown with the reason. The catalogue may hold only a part
of the sky. Its stars replace those of the last deeper catalogue; every command
that recognises photographs uses them when the embedded stars do not do.`

const BuildExample = `  pintle index build
  pintle index build --stars north.fits south.fits
  pintle index build --stars mine.csv --mag Gmag --epoch 2016.0 --faintest 16`

// Sweeping tells of the solver's last search.
const Sweeping = "no known pattern fits: looking through all stars of the sky, up to half a minute"

// Building says that a band is being built: for the first time, or anew for a
// reason.
func Building(b index.Band, reason error, first bool) string {
	why := "once, for frames of this size"
	if !first {
		why = "anew: " + reason.Error()
	}
	return fmt.Sprintf("building the star index, patterns of %.1f to %.1f degrees, %s", b.Min.Degrees(), b.Max.Degrees(), why)
}

// BuildingDeep is Building for a band of deeper stars.
func BuildingDeep(b index.Band, reason error, first bool) string {
	s := "building the index of deeper stars for " + Frames(b)
	if !first {
		s += ", anew: " + reason.Error()
	}
	return s
}

// Frames says which frames a band is for.
func Frames(b index.Band) string {
	lo, hi := b.Frames(6, 110)
	return fmt.Sprintf("frames of %.2f to %.2f degrees", lo.Degrees(), hi.Degrees())
}

// Imported says what was kept of a catalogue.
func Imported(r *catalog.Report) string {
	s := fmt.Sprintf("%s: %s kept, magnitude %.2f to %.2f, %.1f MB", Count(int(r.Rows), "row"), Count(r.Stars, "star"), r.Brightest, r.Faintest, float64(r.Bytes)/1e6)
	if r.Twins > 0 {
		s += fmt.Sprintf("; %d left out that came twice", r.Twins)
	}
	if r.TooFaint > 0 {
		s += fmt.Sprintf("; %d left out as too faint", r.TooFaint)
	}
	return s
}

// IndexShort is the verb in a line.
const IndexShort = "build or look at the star index"
