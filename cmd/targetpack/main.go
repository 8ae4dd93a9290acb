// Command targetpack packs an open catalogue of the New General Catalogue (NGC)
// and the Index Catalogues (IC) into the list that package targets embeds:
//
//	go run ./cmd/targetpack -from dsos.20.json -to cmd/pintle/targets/ngcic.csv.gz
//
// dsos.20.json stands in the folder data of the npm package d3-celestial 0.7.35 (npm
// pack d3-celestial@0.7.35). Rows that stand where their number does not allow it are
// left out, and told; mended.csv beside this file mends and adds some, names.csv gives
// names.
package main

import (
	"bytes"
	"compress/gzip"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
)

func main() {
	from := flag.String("from", "dsos.20.json", "file of the catalogue")
	to := flag.String("to", "ngcic.csv.gz", "packed file to write")
	flag.Parse()
	if flag.NArg() > 0 {
		flag.Usage()
		os.Exit(1)
	}
	if err := run(*from, *to, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "targetpack:", err)
		os.Exit(1)
	}
}

func run(from, to string, out io.Writer) error {
	objects, err := readCatalogue(from)
	if err != nil {
		return err
	}
	read := len(objects)
	for _, s := range outOfSequence(objects) {
		fmt.Fprintf(out, "left out: %v at %.2f %+.2f stands %.1f degrees from its neighbours by number\n", s.number, s.ra, s.dec, s.off)
		delete(objects, s.number)
	}
	mended, err := mend(objects)
	if err != nil {
		return err
	}
	data, text, err := pack(objects)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%d objects read, %d mended or added, %d written: %d bytes, %d packed\n", read, mended, len(objects), text, len(data))
	return os.WriteFile(to, data, 0o644)
}

// pack returns the objects by number, gzipped, and how many bytes they are
// unpacked. A row is number, right ascension and declination in ten-thousandths of
// a degree, type, Messier number or nothing, common name or nothing.
func pack(objects map[number]object) (packed []byte, size int, err error) {
	var b, z bytes.Buffer
	for _, n := range slices.SortedFunc(maps.Keys(objects), number.compare) {
		o := objects[n]
		fmt.Fprintf(&b, "%v,%.0f,%.0f,%s,%s,%s\n", n, o.ra*1e4, o.dec*1e4, o.kind, o.messier, o.name)
	}
	w, err := gzip.NewWriterLevel(&z, gzip.BestCompression)
	if err != nil {
		return nil, 0, err
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return nil, 0, err
	}
	if err := w.Close(); err != nil {
		return nil, 0, err
	}
	return z.Bytes(), b.Len(), nil
}
