package main

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"

	"pintle/index/stars"
)

// mainParts is the number of files the main catalogue comes in.
const mainParts = 20

// counts says what was read.
type counts struct {
	main, supplement, still int
	brighter                [len(limits)]int
}

// limits are the V magnitudes stars are counted to.
var limits = [...]float64{2, 4, 6, 7, 8, 9, 10, 10.5, 11, 11.5, 12}

func (c *counts) add(e stars.Entry) {
	if math.IsNaN(e.PM[0]) {
		c.still++
	}
	for i, limit := range limits {
		if e.V < limit {
			c.brighter[i]++
		}
	}
}

func (c *counts) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "main file %d, supplement 1 %d, sum %d, without proper motion %d\n",
		c.main, c.supplement, c.main+c.supplement, c.still)
	for i, limit := range limits {
		fmt.Fprintf(&b, "V < %-4g %7d\n", limit, c.brighter[i])
	}
	return b.String()
}

// readCatalogue reads the main files, then the supplement.
func readCatalogue(dir string) ([]stars.Entry, *counts, error) {
	var c counts
	entries := make([]stars.Entry, 0, 2_600_000)
	for i := range mainParts {
		err := eachLine(filepath.Join(dir, fmt.Sprintf("tyc2.dat.%02d", i)), func(line string) error {
			e, err := parseMain(line)
			entries = append(entries, e)
			c.main++
			c.add(e)
			return err
		})
		if err != nil {
			return nil, nil, err
		}
	}
	err := eachLine(filepath.Join(dir, "suppl_1.dat"), func(line string) error {
		e, err := parseSupplement(line)
		entries = append(entries, e)
		c.supplement++
		c.add(e)
		return err
	})
	return entries, &c, err
}

// eachLine calls f for each line of a file, or of the file with .gz added.
func eachLine(name string, f func(line string) error) error {
	file, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		if gz, gzErr := os.Open(name + ".gz"); gzErr == nil {
			file, name, err = gz, name+".gz", nil
		}
	}
	if err != nil {
		return err
	}
	defer file.Close()
	var r io.Reader = file
	if strings.HasSuffix(name, ".gz") {
		if r, err = gzip.NewReader(file); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	s := bufio.NewScanner(r)
	for n := 1; s.Scan(); n++ {
		if err := f(s.Text()); err != nil {
			return fmt.Errorf("%s:%d: %w", name, n, err)
		}
	}
	if err := s.Err(); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}
