package evening

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/whole"
)

// keptFormat is raised when an older evening.json can no longer be read.
const keptFormat = 1

// kept is what evening.json holds.
type kept struct {
	Format int    `json:"format"`
	Place  *Place `json:"place,omitempty"`
	Camera string `json:"camera,omitempty"` // of the gear file
	Mount  string `json:"mount,omitempty"`  // of the gear file
	Zone   string `json:"zone,omitempty"`   // of the camera's clock, as typed
	// Blocks is what blocks the sky, Drawn the line it was drawn with.
	Blocks string       `json:"blocks,omitempty"`
	Drawn  [][2]float64 `json:"drawn,omitempty"`
	// Following is set when each new photograph is measured at once.
	Following bool `json:"following,omitempty"`
	// Fresh is when a new measurement was asked for: earlier ones are not gone on
	// with.
	Fresh time.Time `json:"fresh,omitzero"`
	// Turns are those of a commanded mount that the measurement rests on.
	Turns []journal.Turn `json:"turns,omitempty"`
	// Undone is what the camera was at, nil once that has ended.
	Undone      *undone       `json:"undone,omitempty"`
	Photographs []*Photograph `json:"photographs,omitempty"`
}

// undone is what a camera was at when the program ended.
type undone struct {
	Turned   bool    `json:"turned,omitempty"` // RA between photographs; else it photographed on and on
	Exposure float64 `json:"exposure_s"`
}

// fresh begins a new measurement.
func (k *kept) fresh(now time.Time) { k.Fresh, k.Turns = now, nil }

// The names in the folder.
const (
	keptName    = "evening.json"
	photosName  = "photographs"
	picsName    = "pictures"
	addressName = "page.address"
)

// mostKept bounds what is read of an evening.json, bytes.
const mostKept = 4 << 20

// load reads what the folder keeps; an empty one keeps nothing.
func load(dir string) (k kept, err error) {
	path := filepath.Join(dir, keptName)
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return kept{Format: keptFormat}, nil
	}
	if err != nil {
		return k, advice.With(err, "check that the evening's folder can be read, or name another with --folder")
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostKept+1))
	if err == nil && len(b) > mostKept {
		err = fmt.Errorf("larger than %d bytes", mostKept)
	}
	if err == nil {
		err = json.Unmarshal(b, &k)
	}
	if err == nil && k.Format != keptFormat {
		err = fmt.Errorf("of format %d, this program knows %d", k.Format, keptFormat)
	}
	if err != nil {
		return kept{}, advice.With(fmt.Errorf("%s: %w", path, err), "move the file away to begin anew, or name another folder with --folder; the photographs beside it are whole")
	}
	return k, nil
}

// save writes evening.json.
func (k *kept) save(dir string) error {
	b, err := json.MarshalIndent(k, "", " ")
	if err != nil {
		return err
	}
	return full(whole.Write(filepath.Join(dir, keptName), whole.How{Replace: true}, func(w io.Writer) error {
		_, err := w.Write(append(b, '\n'))
		return err
	}))
}

// full says in words that a disk is full, where that is what an error is about.
func full(err error) error {
	if !errors.Is(err, syscall.ENOSPC) {
		return err
	}
	return advice.With(fmt.Errorf("%w: %w", ErrFull, err), "make room on the disk of the computer; nothing that is there was changed")
}

// snapshot returns what puts everything back as it is now.
func (k *kept) snapshot() (back func()) {
	before, values := *k, make([]Photograph, len(k.Photographs))
	before.Photographs = slices.Clone(k.Photographs)
	for i, p := range before.Photographs {
		values[i] = *p
	}
	return func() {
		*k = before
		for i, p := range k.Photographs {
			*p = values[i]
		}
	}
}
