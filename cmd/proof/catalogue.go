package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"pintle/index/catalog"
	"pintle/index/catalog/sample"
	"pintle/index/stars"
)

// formatOf is the format of an invented catalogue, by the end of its name.
var formatOf = map[string]string{".csv": "csv", ".fits": "fits", ".vot": "votable", ".bvot": "binary", ".b2vot": "binary2"}

// invent writes a catalogue of n invented stars.
func invent(path string, seed uint64, n int) (err error) {
	format, ok := formatOf[filepath.Ext(path)]
	if !ok {
		return fmt.Errorf("%s: want a name that ends in .csv, .fits, .vot, .bvot or .b2vot", path)
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	return sample.Write(f, format, seed, n)
}

// importCatalogues packs catalogue files into a list and says what that took.
func importCatalogues(list string, files []string) error {
	var sources []catalog.Source
	for _, f := range files {
		s, err := catalog.File(f)
		if err != nil {
			return err
		}
		sources = append(sources, s)
	}
	start := time.Now()
	var read time.Duration
	r, err := catalog.Import(context.Background(), list, sources, catalog.Options{}, func(share float64) {
		if share <= 0.8 {
			read = time.Since(start)
		}
	})
	if err != nil {
		return err
	}
	took := time.Since(start)
	fmt.Printf("%d rows, %d bad, %d stars, %d twins, V %.2f to %.2f, %d bytes\n", r.Rows, r.Bad, r.Stars, r.Twins, r.Brightest, r.Faintest, r.Bytes)
	for _, f := range r.Files {
		fmt.Printf("%s: %s, %v\n", f.Name, f.Format, f.Columns)
	}
	for _, n := range r.Notes {
		fmt.Println(n)
	}
	fmt.Printf("read in %.1f s (%.0f rows/s), all in %.1f s, %s\n", read.Seconds(), float64(r.Rows)/read.Seconds(), took.Seconds(), peak())
	start = time.Now()
	l, err := stars.OpenFile(list)
	if err != nil {
		return err
	}
	defer l.Close()
	opened := time.Since(start)
	start = time.Now()
	if err := l.Verify(); err != nil {
		return err
	}
	fmt.Printf("opened in %.1f ms, verified in %.2f s\n", opened.Seconds()*1000, time.Since(start).Seconds())
	return nil
}

// peak is the most memory the process had, where the system tells.
func peak() string {
	b, _ := os.ReadFile("/proc/self/status")
	for line := range strings.Lines(string(b)) {
		if s, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			return "at most " + strings.TrimSpace(s) + " resident"
		}
	}
	return "memory unknown"
}
