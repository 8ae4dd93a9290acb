// Package lenses remembers which lens each camera had, so that its frames of another
// night are looked for with that lens first. It is a hint: a file that is lost, or
// wrong, costs a little time and nothing else.
package lenses

import (
	"encoding/json"
	"io"
	"math"
	"os"
	"slices"
	"sync"

	"pintle/cmd/pintle/whole"
	"pintle/index/optics"
)

// FileName is the name of the file in the folder of the star index.
const FileName = "lenses.json"

const (
	// mostLenses are kept, the last used ones; a file of more than mostBytes is none of
	// ours.
	mostLenses = 32
	mostBytes  = 1 << 20
	// sameLens is by how much the focal length of a lens may differ from the one that
	// is remembered without being written anew, as a fraction: focus and warmth move
	// it.
	sameLens = 2e-3
)

// entry is what a camera had last.
type entry struct {
	Camera string      `json:"camera"` // as its files call it
	W      int         `json:"w"`      // px
	H      int         `json:"h"`
	Lens   optics.Lens `json:"lens"`
}

func (e *entry) of(camera string, w, h int) bool { return e.Camera == camera && e.W == w && e.H == h }

// Book is the lenses in a file. It may be used by several goroutines.
type Book struct {
	path string

	mu   sync.Mutex
	read bool
	list []entry // last used first
}

// Open returns the book in a file, which need not be there, and is read when it is
// first asked for something.
func Open(path string) *Book { return &Book{path: path} }

// load reads the file once. What cannot be read is forgotten.
func (b *Book) load() {
	if b.read {
		return
	}
	b.read = true
	f, err := os.Open(b.path)
	if err != nil {
		return
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, mostBytes+1))
	if err != nil || len(text) > mostBytes || json.Unmarshal(text, &b.list) != nil {
		b.list = nil
	}
	b.list = slices.DeleteFunc(b.list, func(e entry) bool { return !sound(e) })
}

// sound reports whether an entry can be of a camera.
func sound(e entry) bool {
	half := math.Hypot(float64(e.W), float64(e.H)) / 2
	l := &e.Lens
	return e.W > 0 && e.H > 0 && math.Abs(l.Half-half) < 1 && l.F > 0.2*half && l.F < 1e4*half && l.Law.Valid() &&
		math.Abs(l.K1) < 1 && math.Abs(l.K2) < 1 && l.CX > 0 && l.CX < float64(e.W) && l.CY > 0 && l.CY < float64(e.H)
}

// Usual returns the lens that a camera had last with frames of a size, px; nil when
// none is remembered.
func (b *Book) Usual(camera string, w, h int) *optics.Lens {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.load()
	i := slices.IndexFunc(b.list, func(e entry) bool { return e.of(camera, w, h) })
	if i < 0 {
		return nil
	}
	l := b.list[i].Lens
	return &l
}

// Learn remembers the lens of a camera. The file is written when it is another than
// before.
func (b *Book) Learn(camera string, w, h int, l optics.Lens) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.load()
	e := entry{camera, w, h, l}
	if !sound(e) {
		return nil
	}
	if i := slices.IndexFunc(b.list, func(e entry) bool { return e.of(camera, w, h) }); i >= 0 {
		old := b.list[i].Lens
		if math.Abs(old.F/l.F-1) < sameLens && old.Law == l.Law && old.Mirrored == l.Mirrored {
			return nil
		}
		b.list = slices.Delete(b.list, i, i+1)
	}
	b.list = slices.Insert(b.list, 0, e)
	b.list = b.list[:min(len(b.list), mostLenses)]
	return whole.Write(b.path, whole.How{Replace: true}, func(w io.Writer) error {
		out := json.NewEncoder(w)
		out.SetIndent("", "  ")
		return out.Encode(b.list)
	})
}
