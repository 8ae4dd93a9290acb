package catalog

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// Options say how catalogues are read.
type Options struct {
	Columns Columns
	// Epoch is the Julian year of all places, instead of a column or what the
	// file says; 0 for these, and for 2000.0 where there is neither.
	Epoch float64
	// Faintest is the magnitude to which stars are taken; 0 for all.
	Faintest float64
}

// Limits of a star; rows beyond them are bad. No source where none is named, chosen
// wide of what catalogues hold.
const (
	brightest, faintest = -2.0, 25.0
	fastest             = 15000.0 // mas/yr; the fastest star known moves by 10400
	firstYear, lastYear = 1850.0, 2150.0
	placeErrorMost      = 5000.0 // mas
	motionErrorMost     = 1000.0 // mas/yr
)

// What is assumed of columns that are not there (no source).
const (
	assumedEpoch       = 2000.0
	assumedPlaceError  = 50.0 // mas
	assumedMotionError = 2.0  // mas/yr
)

// Import reads the catalogues and writes their stars to a list at dst,
// replacing what is there in one step; its folder takes the temporary files,
// some 50 bytes a star. progress is called now and then with the share done.
//
// Bad rows are left out and reported, as are stars that come twice (see
// [stars.Packed]). Import fails when a file is damaged or not understood, when
// no star is left, on errors of the disk, and when ctx ends; then dst is as it
// was, and the report tells what was read so far.
func Import(ctx context.Context, dst string, sources []Source, opt Options, progress func(share float64)) (Report, error) {
	im := &importer{opt: opt, reasons: map[string]int64{}, progress: progress}
	err := im.run(ctx, dst, sources)
	im.report.Reasons = sorted(im.reasons)
	return im.report, err
}

type importer struct {
	opt      Options
	report   Report
	reasons  map[string]int64
	builder  *stars.Builder
	file     FileReport
	choice   *choice
	epoch    float64 // of rows that state none
	progress func(share float64)
}

// readShare is the share of the work that reading is (measured, see DEVELOPERS.md:
// 123 of 162 s).
const readShare = 0.8

func (im *importer) run(ctx context.Context, dst string, sources []Source) error {
	if e := im.opt.Epoch; e != 0 && !(e >= firstYear && e <= lastYear) {
		return fmt.Errorf("epoch %v, want a Julian year from %v to %v", e, firstYear, lastYear)
	}
	if len(sources) == 0 {
		return errors.New("no catalogue file, want one or more")
	}
	b, err := stars.NewBuilder(filepath.Dir(dst))
	if err != nil {
		return err
	}
	defer b.Close()
	im.builder = b
	total, done := int64(0), int64(0)
	for _, s := range sources {
		total += s.Size
	}
	for _, s := range sources {
		if err := im.source(ctx, s, func(n int64) float64 { return float64(done+n) / max(1, float64(total)) }); err != nil {
			return fmt.Errorf("%s: %w", s.Name, err)
		}
		done += s.Size
	}
	if im.report.Rows == im.report.Bad+im.report.TooFaint {
		return im.nothing()
	}
	im.report.Packed, err = b.Write(ctx, dst, func(share float64) { im.progress(readShare + (1-readShare)*share) })
	return err
}

// nothing explains that no star is left.
func (im *importer) nothing() error {
	r := &im.report
	if len(r.First) > 0 {
		b := r.First[0]
		return fmt.Errorf("no star in %d rows; the first bad one is %s of %s: %s: %s", r.Rows, b.Row, b.File, b.Reason, b.Value)
	}
	return fmt.Errorf("no star in %d rows", r.Rows)
}

// source reads a file.
func (im *importer) source(ctx context.Context, s Source, share func(n int64) float64) error {
	f, err := s.Open()
	if err != nil {
		return err
	}
	defer f.Close()
	in := &counter{ctx: ctx, in: f}
	t, err := open(in)
	if err != nil {
		return err
	}
	if im.choice, err = find(t.columns(), im.opt.Columns); err != nil {
		return err
	}
	t.choose(im.choice.order)
	im.file = FileReport{Name: s.Name, Format: t.format()}
	im.describe(t.columns())
	err = im.rows(ctx, t, func() { im.progress(readShare * min(1, share(in.n))) })
	im.report.Files = append(im.report.Files, im.file)
	for _, n := range t.notes() {
		im.note(s.Name + ": " + n)
	}
	return err
}

// describe notes what is found and what is assumed.
func (im *importer) describe(columns []column) {
	c := im.choice
	for r, i := range c.column {
		if i >= 0 {
			im.file.Columns = append(im.file.Columns, Found{rules[r].label, columns[i].name, c.unit[r]})
		}
	}
	im.epoch = im.opt.Epoch
	if im.epoch == 0 && c.column[roleEpoch] < 0 {
		im.epoch = assumedEpoch
		if e := columns[c.column[roleRA]].epoch; e >= firstYear && e <= lastYear {
			im.epoch = e
			im.note(fmt.Sprintf("%s: places of epoch %v, as its coordinate system says", im.file.Name, e))
		} else {
			im.note(fmt.Sprintf("%s: no column of epochs; places taken as of %.1f", im.file.Name, im.epoch))
		}
	}
	if c.column[rolePMRA] < 0 {
		im.note(im.file.Name + ": no columns of proper motion; the stars are taken to stand still")
	}
	if c.column[roleErrRA] < 0 || c.column[roleErrDec] < 0 {
		im.note(fmt.Sprintf("%s: no columns of errors of place; %v mas assumed", im.file.Name, assumedPlaceError))
	}
	if c.column[rolePMRA] >= 0 && (c.column[roleErrPMRA] < 0 || c.column[roleErrPMDec] < 0) {
		im.note(fmt.Sprintf("%s: no columns of errors of proper motion; %v mas/yr assumed", im.file.Name, assumedMotionError))
	}
}

func (im *importer) rows(ctx context.Context, t table, progress func()) error {
	cells := make([]cell, len(im.choice.order))
	for n := 1; ; n++ {
		if n%4096 == 0 {
			progress()
		}
		var e stars.Entry
		err := t.next(cells)
		if err == io.EOF {
			return nil
		}
		if err == nil {
			e, err = im.entry(cells)
		}
		var b *badRow
		if err != nil && !errors.As(err, &b) {
			return err
		}
		im.report.Rows++
		im.file.Rows++
		switch {
		case b != nil:
			im.bad(t.row(), b)
		case im.opt.Faintest != 0 && e.V > im.opt.Faintest:
			im.report.TooFaint++
		default:
			if math.IsNaN(e.PM[0]) {
				im.report.Unmoved++
			}
			if err := im.builder.Add(&e); err != nil {
				return fmt.Errorf("%s: %w", t.row(), err)
			}
		}
	}
}

// entry makes a star of a row's cells.
func (im *importer) entry(cells []cell) (e stars.Entry, err error) {
	ra, err := im.number(cells, roleRA, true)
	if err != nil {
		return e, err
	}
	dec, err := im.number(cells, roleDec, true)
	if err != nil {
		return e, err
	}
	if e.V, err = im.number(cells, roleMag, true); err != nil {
		return e, err
	}
	for i := range e.PM {
		if e.PM[i], err = im.number(cells, rolePMRA+role(i), false); err != nil {
			return e, err
		}
	}
	if e.Epoch = im.epoch; e.Epoch == 0 {
		if e.Epoch, err = im.number(cells, roleEpoch, true); err != nil {
			return e, err
		}
	}
	if err := inRange(ra, dec, &e); err != nil {
		return e, err
	}
	if math.IsNaN(e.PM[0]) || math.IsNaN(e.PM[1]) {
		e.PM = [2]float64{math.NaN(), math.NaN()}
	}
	e.Pos = sphere.SkyAt(sphere.Angle(ra), sphere.Angle(dec))
	e.BV = math.NaN()
	for i := range e.Err {
		e.Err[i] = stars.EntryError{
			Place:  im.error(cells, roleErrRA+role(i), assumedPlaceError, placeErrorMost),
			At:     e.Epoch,
			Motion: im.error(cells, roleErrPMRA+role(i), assumedMotionError, motionErrorMost),
		}
	}
	return e, nil
}

// inRange tests the numbers of a row; the names of the limits are the reasons.
func inRange(ra, dec float64, e *stars.Entry) error {
	const slack = 1e-9
	degrees := func(v float64) float64 { return sphere.Angle(v).Degrees() }
	switch {
	case !(ra >= -math.Pi-slack && ra <= 2*math.Pi+slack):
		return bad("right ascension outside 0 to 360 degrees", "%g", degrees(ra))
	case !(math.Abs(dec) <= math.Pi/2+slack):
		return bad("declination outside -90 to 90 degrees", "%g", degrees(dec))
	case !(e.V >= brightest && e.V <= faintest):
		return bad(fmt.Sprintf("magnitude outside %g to %g", brightest, faintest), "%g", e.V)
	case !(e.Epoch >= firstYear && e.Epoch <= lastYear):
		return bad(fmt.Sprintf("epoch outside %g to %g", firstYear, lastYear), "%g", e.Epoch)
	case math.Hypot(e.PM[0], e.PM[1]) > fastest:
		return bad(fmt.Sprintf("proper motion above %g mas/yr", fastest), "%g, %g", e.PM[0], e.PM[1])
	}
	return nil
}

// number returns the cell of a role in its quantity's unit; NaN when it is null
// or there is no such column, unless it is needed.
func (im *importer) number(cells []cell, r role, needed bool) (float64, error) {
	if im.choice.column[r] < 0 {
		return math.NaN(), nil
	}
	c := &cells[im.choice.cell[r]]
	if c.kind == null {
		if needed {
			return 0, bad("no "+rules[r].label, "null")
		}
		return math.NaN(), nil
	}
	if v, ok := c.value(); ok {
		return v * im.choice.factor[r], nil
	}
	if c.kind == text && r <= roleDec {
		if v, ok := sexagesimal(c.text); ok {
			return v * im.choice.partsFactor[r], nil
		}
	}
	if c.kind == text && r == roleEpoch {
		if v := julian(string(c.text)); !math.IsNaN(v) {
			return v, nil
		}
	}
	return 0, bad(rules[r].label+" is not a number", "%s", c.shown())
}

// error returns a standard error; where the catalogue gives none that makes
// sense, the one assumed.
func (im *importer) error(cells []cell, r role, assumed, most float64) float64 {
	v, err := im.number(cells, r, false)
	if err != nil || !(v > 0 && v <= most) {
		return assumed
	}
	return v
}
