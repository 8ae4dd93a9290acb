package stars

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"

	"pintle/index/sphere"
)

// Limits that keep a packer's memory bounded. The densest fields of the sky
// hold some 200 000 stars in a cell at the depth of the largest surveys, and
// one star in some hundred is fast.
const (
	cellMost = 1 << 20
	fastMost = 4 << 20
)

// packer writes a list from items in their order. Each layer's records are
// collected in a temporary file of its own.
type packer struct {
	grid   *grid
	header header
	ends   [layers]int // of the layers, thousandths
	spread [layers]float64
	lo, hi float64 // of the classes
	layers [layers]spool
	sums   [2][classes]classSum
	cell   []item // the stars of the cell that comes next
	twins  twins
	stats  Packed
}

// spool is a layer on its way to the list.
type spool struct {
	file *os.File
	out  *bufio.Writer
	rows []uint32 // first star of each cell, counted in the layer
	n    uint32
	fast []fastStar
}

type classSum struct {
	variance
	n float64
}

func newPacker(g *grid, t *tally) *packer {
	p := &packer{grid: g, header: newHeader(len(g.zones))}
	p.header.Layers, p.ends = t.layers()
	p.spread = t.spread(p.ends)
	p.lo, p.hi = t.classEnds()
	p.stats.Brightest, p.stats.Faintest = float64(t.brightest)/1000, float64(t.faintest)/1000
	return p
}

func (p *packer) open(dir string) error {
	for k := range p.layers {
		f, err := createTemp(dir)
		if err != nil {
			return err
		}
		p.layers[k].file, p.layers[k].out = f, bufio.NewWriterSize(f, writeSize)
	}
	return nil
}

// close removes the temporary files.
func (p *packer) close() {
	for k := range p.layers {
		if f := p.layers[k].file; f != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}
}

func (p *packer) packed() Packed {
	p.stats.Stars = int(p.header.Stars)
	return p.stats
}

// add takes the next item.
func (p *packer) add(it item) error {
	if len(p.cell) > 0 && p.cell[0].cell() != it.cell() {
		if err := p.flush(); err != nil {
			return err
		}
	}
	if len(p.cell) == cellMost {
		ra, dec := p.axes(it.cell()).sky().RADec()
		return fmt.Errorf("more than %d stars within %.2f degrees of RA %.2f, declination %.2f; is this a catalogue of the sky?",
			cellMost, sphere.Angle(p.grid.height).Degrees(), ra.Degrees(), dec.Degrees())
	}
	p.cell = append(p.cell, it)
	return nil
}

func (p *packer) axes(cell int) *axes {
	zones := p.grid.zones
	i, _ := slices.BinarySearchFunc(zones, cell, func(z zone, c int) int { return cmp.Compare(z.first+z.count-1, c) })
	a := zones[i].axes(cell - zones[i].first)
	return &a
}

// flush writes the stars of a cell.
func (p *packer) flush() error {
	cell := p.cell[0].cell()
	p.begin(cell)
	kept := p.twins.drop(p.cell, p.axes(cell))
	p.stats.Twins += len(p.cell) - len(kept)
	for i := range kept {
		if err := p.star(&kept[i]); err != nil {
			return err
		}
	}
	p.cell = p.cell[:0]
	return nil
}

// begin notes where the cells up to this one begin.
func (p *packer) begin(cell int) {
	for k := range p.layers {
		l := &p.layers[k]
		for len(l.rows) <= cell {
			l.rows = append(l.rows, l.n)
		}
	}
}

func (p *packer) star(it *item) error {
	k := slices.IndexFunc(p.ends[:], func(end int) bool { return it.v() < end })
	l, y := &p.layers[k], p.header.Layers[k]
	scale := fine / p.grid.step
	px, okX := placeCode(float64(it.x()) * scale)
	py, okY := placeCode(float64(it.y) * scale)
	if !okX || !okY {
		return fmt.Errorf("star at %d, %d is not in its cell %d", it.x(), it.y, it.cell()) // newItem saw to it
	}
	mx, my, fast := motionCode(float64(it.mx), float64(it.my))
	if mx == motionSign && my == motionFast {
		if p.header.Fast == fastMost {
			return fmt.Errorf("more than %d stars move by more than %d mas/yr; is the unit of the proper motions right?", fastMost, motionMax)
		}
		fast.ID = l.n
		l.fast = append(l.fast, fast)
		p.header.Fast++
		p.header.MaxPM = max(p.header.MaxPM, fast.speed())
	}
	code := math.Round(float64(it.v()-int(y.V0)) / float64(y.Step))
	r := newRecord(px, py, mx, my, uint8(code), colourCode(math.NaN()), uint8(p.class(it, k)))
	l.n++
	p.header.Stars++
	_, err := l.out.Write(binary.LittleEndian.AppendUint64(l.out.AvailableBuffer(), uint64(r)))
	return err
}

// class sorts a star of a layer into a class of error, see classifier.
func (p *packer) class(it *item, layer int) int {
	v := it.variance(p.spread[layer])
	kind, class := 1, layer
	if it.moves() {
		kind, class = 0, classOf(v.A, p.lo, p.hi)
	}
	p.sums[kind][class].add(v)
	return class
}

func (s *classSum) add(v variance) {
	s.A += v.A
	s.B += v.B
	s.C += v.C
	s.n++
}

// mean returns the class's variance: the mean of its stars', plus that of
// rounding place and motion.
func (s *classSum) mean(step float64) variance {
	if s.n == 0 {
		return variance{}
	}
	return variance{s.A/s.n + step*step/12, s.B / s.n, s.C/s.n + mas*mas/12}
}

// finish writes the list.
func (p *packer) finish(ctx context.Context, path string) (err error) {
	if len(p.cell) > 0 {
		if err := p.flush(); err != nil {
			return err
		}
	}
	p.begin(p.grid.cells)
	for k := range p.layers {
		p.header.Layers[k].Count = p.layers[k].n
	}
	for kind := range p.sums {
		for class := range p.sums[kind] {
			p.header.Var[kind][class] = p.sums[kind][class].mean(p.grid.step)
		}
	}
	f, err := createTemp(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if err := p.assemble(ctx, f); err != nil {
		return err
	}
	if p.stats.Bytes, err = f.Seek(0, io.SeekCurrent); err != nil {
		return err
	}
	if err := cmp.Or(f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// assemble writes header, rows, records and fast stars.
func (p *packer) assemble(ctx context.Context, f *os.File) error {
	var head bytes.Buffer
	if err := binary.Write(&head, binary.LittleEndian, &p.header); err != nil {
		return err
	}
	if _, err := f.Write(head.Bytes()[:summed]); err != nil {
		return err
	}
	sum := sha256.New()
	out := bufio.NewWriterSize(io.MultiWriter(f, sum), 1<<20)
	out.Write(head.Bytes()[summed:]) // errors come with Flush
	le := binary.LittleEndian
	for c := range p.grid.cells + 1 {
		first := uint32(0)
		for k := range p.layers {
			out.Write(le.AppendUint32(out.AvailableBuffer(), first+p.layers[k].rows[c]))
			first += p.layers[k].n
		}
	}
	for k := range p.layers {
		if err := ctx.Err(); err != nil {
			return err
		}
		l := &p.layers[k]
		if err := l.out.Flush(); err != nil {
			return err
		}
		if _, err := l.file.Seek(0, io.SeekStart); err != nil {
			return err
		}
		if _, err := io.Copy(out, l.file); err != nil {
			return err
		}
	}
	first := uint32(0)
	for k := range p.layers {
		for _, s := range p.layers[k].fast {
			s.ID += first
			out.Write(s.put(out.AvailableBuffer()))
		}
		first += p.layers[k].n
	}
	if err := out.Flush(); err != nil {
		return err
	}
	_, err := f.WriteAt(sum.Sum(nil), sumOffset)
	return err
}
