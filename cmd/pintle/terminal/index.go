package terminal

import (
	"errors"
	"fmt"

	"pintle/cmd/pintle/shelf"
	"pintle/cmd/pintle/words"
	"pintle/index"
	"pintle/index/catalog"
)

// Building tells that a band of the index is being built.
func (t *Terminal) Building(b index.Band, reason error) func(share float64) {
	return t.Working(words.Building(b, reason, errors.Is(reason, index.ErrAbsent)))
}

// BuildingDeep is Building for a band of deeper stars.
func (t *Terminal) BuildingDeep(b index.Band, reason error) func(share float64) {
	return t.Working(words.BuildingDeep(b, reason, errors.Is(reason, index.ErrAbsent)))
}

// Sweeping tells that the solver's last search has begun, to those who wait.
func (t *Terminal) Sweeping() func(share float64) {
	if !t.Progress {
		return func(float64) {}
	}
	return t.Working(words.Sweeping)
}

// Poor tells that a band is left out.
func (t *Terminal) Poor(b index.Band) {
	t.line("band %d, %s, is left out: fewer than 5 stars a square", b.Number, words.Frames(b))
}

// Import tells what became of a catalogue.
func (t *Terminal) Import(r *catalog.Report) {
	for _, f := range r.Files {
		t.line("%s: %s, %s", f.Name, f.Format, words.Count(int(f.Rows), "row"))
		for _, c := range f.Columns {
			unit := ""
			if c.Unit != "" {
				unit = ", " + c.Unit
			}
			t.line("  %s: column %s%s", fmt.Sprint(c.Role), c.Column, unit)
		}
	}
	t.line("%s", words.Imported(r))
	t.BadRows(r)
	for _, n := range r.Notes {
		t.line("note: %s", n)
	}
}

// BadRows tells of the rows of a catalogue that could not be used.
func (t *Terminal) BadRows(r *catalog.Report) {
	if r.Bad == 0 {
		return
	}
	t.line("%s could not be used:", words.Count(int(r.Bad), "row"))
	for _, reason := range r.Reasons {
		t.line("  %d: %s", reason.Rows, reason.Reason)
	}
	if int64(len(r.First)) < r.Bad {
		t.line("the first %d of them:", len(r.First))
	} else {
		t.line("they are:")
	}
	for _, b := range r.First {
		t.line("  %s, %s: %s: %s", b.File, b.Row, b.Reason, words.Short(b.Value, 60))
	}
}

// Index tells which parts of the index there are.
func (t *Terminal) Index(s *shelf.Shelf) {
	wide, deep := s.Info()
	t.line("star list: %d stars, checksum %.12s\nfolder: %s", wide.Stars, wide.Checksum, wide.Folder)
	t.bands(wide, "not built")
	switch {
	case s.Damaged != nil:
		t.line("deeper stars: cannot be used: %v", s.Damaged)
	case deep == nil:
		t.line("deeper stars: none")
	default:
		t.line("deeper stars: %d, checksum %.12s\nfolder: %s", deep.Stars, deep.Checksum, deep.Folder)
		t.bands(*deep, "not there")
	}
}

// bands tells of the bands of a list; absent words one that is not there.
func (t *Terminal) bands(s shelf.Stock, absent string) {
	for _, b := range s.Bands {
		state := absent
		switch {
		case b.Err == nil:
			state = fmt.Sprintf("%9d patterns, %4d MB, built %s", b.Patterns, (b.Bytes+500000)/1000000, b.Built.Format("2006-01-02 15:04"))
		case !b.Absent():
			state = "to be built again: " + b.Err.Error()
		}
		t.line("band %-2d patterns of %5.2f to %5.2f degrees  %s", b.Number, b.Min.Degrees(), b.Max.Degrees(), state)
	}
}

// IndexCheck tells what a check of the index finds.
type IndexCheck struct{ *Terminal }

// List tells of a star list.
func (t IndexCheck) List(deep bool, stars int, err error) {
	name := "star list"
	if deep {
		name = "deeper stars"
	}
	if err != nil {
		t.line("%s: %v", name, err)
		return
	}
	t.line("%s: good, %s", name, words.Count(stars, "star"))
}

// Band tells of one of its bands.
func (t IndexCheck) Band(deep bool, b shelf.Band) {
	switch {
	case b.Err == nil:
		t.line("band %d: good, %s", b.Number, words.Count(b.Patterns, "pattern"))
	case b.Absent() && deep:
		t.line("band %d: not there", b.Number)
	case b.Absent():
		t.line("band %d: not built", b.Number)
	default:
		t.line("band %d: %v", b.Number, b.Err)
	}
}
