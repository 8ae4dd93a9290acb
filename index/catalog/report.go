package catalog

import (
	"cmp"
	"maps"
	"slices"

	"pintle/index/stars"
)

// badShown is the number of bad rows that a report names.
const badShown = 10

// Report tells what became of the rows. Rows is the sum of Stars, Bad, TooFaint
// and Twins.
type Report struct {
	stars.Packed
	Rows     int64
	Bad      int64 // left out: see Reasons
	TooFaint int64 // left out: fainter than asked for
	Unmoved  int64 // stars without a known proper motion, twins included
	Reasons  []Reason
	First    []BadRow // the first bad rows
	Files    []FileReport
	Notes    []string
}

// Reason is why rows were left out.
type Reason struct {
	Reason string
	Rows   int64
}

// BadRow is a row that was left out.
type BadRow struct {
	File, Row     string // "line 7" or "row 7", counted from 1
	Reason, Value string
}

// FileReport tells what was found in a file.
type FileReport struct {
	Name, Format string
	Rows         int64
	Columns      []Found
}

// Found is a column in use.
type Found struct{ Role, Column, Unit string }

// bad takes note of a bad row.
func (im *importer) bad(where string, b *badRow) {
	im.report.Bad++
	im.reasons[b.reason]++
	if len(im.report.First) < badShown {
		im.report.First = append(im.report.First, BadRow{im.file.Name, where, b.reason, b.value})
	}
}

// sorted returns the reasons, the most frequent first.
func sorted(reasons map[string]int64) []Reason {
	var list []Reason
	for _, r := range slices.Sorted(maps.Keys(reasons)) {
		list = append(list, Reason{r, reasons[r]})
	}
	slices.SortStableFunc(list, func(a, b Reason) int { return cmp.Compare(b.Rows, a.Rows) })
	return list
}

// note adds a warning once.
func (im *importer) note(s string) {
	if !slices.Contains(im.report.Notes, s) {
		im.report.Notes = append(im.report.Notes, s)
	}
}
