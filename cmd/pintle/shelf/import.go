package shelf

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/index"
	"pintle/index/catalog"
	"pintle/index/stars"
)

// fresh is the name of a list until it is known to be of use.
const fresh = "stars.new"

// Importer is told of the import of a catalogue.
type Importer interface {
	Working(what string) (progress func(share float64))
	Import(*catalog.Report)  // what became of it
	BadRows(*catalog.Report) // when it failed
}

// Import reads catalogues and puts their list in place of the one there is in a
// folder. Nothing is changed when that fails.
func Import(ctx context.Context, dir string, files []string, o catalog.Options, now time.Time, tell Importer) error {
	var sources []catalog.Source
	for _, path := range files {
		s, err := catalog.File(path)
		if err != nil {
			return advice.With(err, "check the name of the file")
		}
		sources = append(sources, s)
	}
	folder := index.DeepFolder(dir)
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return advice.With(err, "name a folder that can be written with --index DIR")
	}
	stars.Sweep(folder, now.Add(-time.Hour)) // younger ones may be in use
	defer os.Remove(folder)                  // when it is empty
	path := filepath.Join(folder, fresh)
	defer os.Remove(path)
	progress := tell.Working("reading the catalogue")
	report, err := catalog.Import(ctx, path, sources, o, progress)
	if err != nil {
		progress(-1)
		tell.BadRows(&report)
		return advice.With(err, catalogueHint)
	}
	progress(1)
	tell.Import(&report)
	if err := useful(path); err != nil {
		return err
	}
	return os.Rename(path, index.DeepList(dir))
}

// useful reports whether a list has enough stars for any of the bands.
func useful(path string) error {
	list, err := stars.OpenFile(path)
	if err != nil {
		return err
	}
	defer list.Close()
	if good, _ := index.Serves(list); len(good) == 0 {
		return advice.With(errors.New("the stars are too few for frames smaller than the embedded list serves"), tooFewHint)
	}
	return nil
}
