// Command starpack packs the raw files of the Tycho-2 catalogue into the star
// list that package stars embeds:
//
//	go run ./cmd/starpack -from DIR -to index/stars/tycho2.bin
//
// DIR holds tyc2.dat.00 to tyc2.dat.19 and suppl_1.dat, plain or with .gz at
// the end. The Debian source package tycho2 carries them: add deb-src to the
// types of an apt source, then
//
//	apt-get update
//	apt-get source --download-only tycho2
//	tar xf tycho2_2.orig.tar.xz -C DIR
//
// The output depends on the files alone; a last bit of rounding may differ
// between processors of different kind.
package main

import (
	"flag"
	"fmt"
	"io"
	"os"

	"pintle/index/stars"
)

func main() {
	from := flag.String("from", ".", "directory of the raw files")
	to := flag.String("to", "tycho2.bin", "packed file to write")
	flag.Parse()
	if flag.NArg() > 0 {
		flag.Usage()
		os.Exit(1)
	}
	if err := run(*from, *to, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "starpack:", err)
		os.Exit(1)
	}
}

func run(from, to string, out io.Writer) error {
	entries, counts, err := readCatalogue(from)
	if err != nil {
		return err
	}
	fmt.Fprint(out, counts)
	data, err := stars.Encode(entries)
	if err != nil {
		return err
	}
	list, err := stars.Open(data)
	if err != nil {
		return err
	}
	if err := list.Verify(); err != nil {
		return err
	}
	errors, err := verify(list, entries)
	if err != nil {
		return err
	}
	fmt.Fprint(out, errors)
	if err := os.WriteFile(to, data, 0o644); err != nil {
		return err
	}
	fmt.Fprintf(out, "%s: %d stars, %d bytes, SHA-256 %s\n", to, list.Len(), len(data), list.Checksum())
	return nil
}
