package stars

import (
	"context"
	"fmt"
)

// zonesDeep is the number of zones of the grids a Builder makes: cells of 0.375
// degrees, steps of place of 0.023 arcsec.
const zonesDeep = 480

// Builder packs any number of entries into a list on disk, for [OpenFile]. It
// takes some 100 MB of memory however many there are; until it is closed it
// takes 32 bytes of disk a star for sorting, and for a moment 16 bytes a star
// more than the list. The layers of the list end where those of the embedded
// one do when counted in stars, not in magnitudes. Colour is not kept.
//
// A Builder is for one goroutine.
type Builder struct {
	dir   string
	grid  grid
	runs  *runs
	tally tally
}

// Packed tells what a list on disk holds.
type Packed struct {
	Stars int
	// Twins is the number of entries left out because they were within 0.05
	// arcsec of another, in 2025, and within a thousandth of its magnitude.
	Twins               int
	Brightest, Faintest float64 // V
	Bytes               int64
}

// NewBuilder returns a builder with its temporary files in dir, which should be
// the folder of the list.
func NewBuilder(dir string) (*Builder, error) { return newBuilder(dir, runLength) }

func newBuilder(dir string, run int) (*Builder, error) {
	r, err := newRuns(dir, run)
	if err != nil {
		return nil, err
	}
	return &Builder{dir: dir, grid: newGrid(zonesDeep), runs: r}, nil
}

// Add takes an entry. It fails when the entry's numbers are out of the limits
// of the format (see [Encode]) or the disk cannot be written.
func (b *Builder) Add(e *Entry) error {
	it, err := newItem(&b.grid, e)
	if err != nil {
		return fmt.Errorf("entry %d: %w", b.tally.total, err)
	}
	b.tally.add(&it)
	return b.runs.add(it)
}

// Write writes the list of all entries so far, replacing the file at path in
// one step. The order of entries does not matter. progress is called with the
// share done. After Write the builder is of no more use.
func (b *Builder) Write(ctx context.Context, path string, progress func(share float64)) (Packed, error) {
	p := newPacker(&b.grid, &b.tally)
	defer p.close()
	if err := p.open(b.dir); err != nil {
		return Packed{}, err
	}
	done, total := 0, max(1, float64(b.tally.total))
	err := b.runs.merge(ctx, func(it item) error {
		if done++; done%(1<<16) == 0 {
			progress(0.9 * float64(done) / total)
		}
		return p.add(it)
	})
	if err == nil {
		err = b.runs.close()
	}
	if err == nil {
		err = p.finish(ctx, path)
	}
	if err != nil {
		return Packed{}, fmt.Errorf("star list: %w", err)
	}
	progress(1)
	return p.packed(), nil
}

// Close removes the temporary files.
func (b *Builder) Close() error { return b.runs.close() }
