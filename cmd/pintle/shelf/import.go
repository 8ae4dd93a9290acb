package shelf

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/whole"
	"pintle/index"
	"pintle/index/catalog"
	"pintle/index/stars"
)

// Importer is told of the import of a catalogue, and of the bands that are built.
type Importer interface {
	Watcher
	Working(what string) (progress func(share float64))
	Import(*catalog.Report)  // what became of it
	BadRows(*catalog.Report) // when it failed
}

// Import reads catalogues, builds the bands of their list, and then puts list and
// bands in place of those there are, all in one step: until that, and when any of
// it fails, nothing is changed. One import is done at a time. now is written into the
// bands.
func Import(ctx context.Context, dir string, files []string, o catalog.Options, now time.Time, tell Importer) error {
	var sources []catalog.Source
	for _, path := range files {
		s, err := catalog.File(path)
		if err != nil {
			return advice.With(err, "check the name of the file")
		}
		sources = append(sources, s)
	}
	root := index.DeepRoot(dir)
	if err := os.MkdirAll(root, 0o755); err != nil {
		return advice.With(err, "name a folder that can be written with --index DIR")
	}
	defer os.Remove(root) // when it is empty
	return whole.Locked(root, func() error {
		sweep(dir)
		folder, err := begin(root)
		if err != nil {
			return err
		}
		err = read(ctx, folder, sources, o, tell)
		if err == nil && !same(dir, folder) {
			if err = buildFresh(ctx, folder, func() time.Time { return now }, tell); err == nil {
				err = settle(dir, folder)
			}
		}
		sweep(dir)
		return err
	})
}

// begin makes the folder of a list to come, whose name is the first free number.
func begin(root string) (string, error) {
	for n := 1; ; n++ {
		folder := filepath.Join(root, strconv.Itoa(n))
		if err := os.Mkdir(folder, 0o755); err == nil || !errors.Is(err, os.ErrExist) {
			return folder, err
		}
	}
}

// read makes the list in its folder, and refuses one that is of no use.
func read(ctx context.Context, folder string, sources []catalog.Source, o catalog.Options, tell Importer) error {
	path := index.DeepList(folder)
	progress := tell.Working("reading the catalogue")
	report, err := catalog.Import(ctx, path, sources, o, progress)
	if err != nil {
		progress(-1)
		tell.BadRows(&report)
		return advice.With(err, catalogueHint)
	}
	progress(1)
	tell.Import(&report)
	return useful(path)
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

// same is true when the stars of a folder are those that are in place.
func same(dir, folder string) bool {
	sum := func(folder string) string {
		list, err := stars.OpenFile(index.DeepList(folder))
		if err != nil {
			return ""
		}
		defer list.Close()
		return list.Checksum()
	}
	old := sum(index.DeepFolder(dir))
	return old != "" && old == sum(folder)
}

// buildFresh builds the bands of a list that is not in place yet.
func buildFresh(ctx context.Context, folder string, now func() time.Time, tell Importer) error {
	list, err := stars.OpenFile(index.DeepList(folder))
	if err != nil {
		return err
	}
	lib := deep(folder, list, now, tell)
	return errors.Join(buildDeep(ctx, lib, false, tell), lib.Close(), list.Close())
}

// settle puts a list with its bands in place.
func settle(dir, folder string) error {
	return whole.Write(index.DeepCurrent(dir), whole.How{Replace: true}, func(w io.Writer) error {
		_, err := fmt.Fprintln(w, filepath.Base(folder))
		return err
	})
}

// sweep removes what is not in place: what was before, and what a crash left. On
// systems where a file that is open cannot be removed, a later sweep does.
func sweep(dir string) {
	root, current := index.DeepRoot(dir), index.DeepFolder(dir)
	all, _ := os.ReadDir(root)
	for _, e := range all {
		path := filepath.Join(root, e.Name())
		_, err := strconv.Atoi(e.Name())
		if path == current || path == index.DeepCurrent(dir) || current == root && err != nil {
			continue // without a name the stars of an earlier version stand in the root itself
		}
		os.RemoveAll(path)
	}
}
