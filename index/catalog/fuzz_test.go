package catalog

import (
	"bytes"
	"context"
	"io"
	"runtime"
	"strings"
	"testing"
)

// readThrough does with a file what Import does, but for the list: it must end
// without a panic whatever the file holds, and account for every row.
func readThrough(t *testing.T, data []byte) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	defer func() {
		runtime.ReadMemStats(&after)
		if used := after.TotalAlloc - before.TotalAlloc; used > uint64(64<<20+12_000*len(data)) {
			t.Errorf("%d bytes allocated for %d bytes of data", used, len(data))
		}
	}()
	im := &importer{reasons: map[string]int64{}, progress: silent}
	im.file.Name = "file"
	tab, err := open(&counter{ctx: context.Background(), in: bytes.NewReader(data)})
	if err != nil {
		return
	}
	columns := tab.columns()
	if im.choice, err = find(columns, Columns{}); err != nil {
		// Any column will do: the readers are to be tested, not the names.
		n := len(columns)
		for i := range columns {
			if n > 0 && columns[i].unusable == "" {
				n = 0
				im.choice, err = find(columns[i:i+1], Columns{RA: "#1", Dec: "#1", Mag: "#1"})
				if err == nil {
					im.choice.order[0] = i
				}
			}
		}
		if err != nil || n > 0 {
			return
		}
	}
	im.describe(columns)
	tab.choose(im.choice.order)
	cells := make([]cell, len(im.choice.order))
	for rows := 0; ; rows++ {
		if rows > 40*len(data)+1000 { // gzip makes a kilobyte of a byte
			if !bytes.HasPrefix(data, []byte("\x1f\x8b")) {
				t.Fatalf("%d rows of %d bytes", rows, len(data))
			}
			return
		}
		err := tab.next(cells)
		if err == nil {
			e, err := im.entry(cells)
			if err == nil && !(e.V >= brightest && e.V <= faintest) {
				t.Fatalf("a star of magnitude %v", e.V)
			}
			continue
		}
		if _, ok := err.(*badRow); !ok {
			if err == io.EOF {
				if tab.next(cells) != io.EOF {
					t.Fatal("rows behind the last one")
				}
			}
			break
		}
	}
	_, _ = tab.row(), tab.notes()
}

func FuzzCSV(f *testing.F) {
	for _, s := range []string{
		"ra,dec,mag\n10.5,-20.25,9\n",
		"\xef\xbb\xbf# c\nRA [h];Dec (rad);mag\n\"0.7\";-0.5;9\n",
		"a\tb\tVmag\nh:m:s\tdeg\tmag\n---\t---\t---\n00 42 00\t1\t9\n",
		"# ra,dec,mag\n1,2,3\n\"4,5,6\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) { readThrough(t, data) })
}

func FuzzFITS(f *testing.F) {
	f.Add([]byte(libraryTable(f)))
	f.Add([]byte(written(f, "fits", 3)))
	f.Add([]byte(hand(strings.Repeat("1", 36), intCards(2)...)))
	f.Fuzz(func(t *testing.T, data []byte) {
		if !bytes.HasPrefix(data, []byte("SIMPLE  ")) {
			data = append([]byte("SIMPLE  "), data...)
		}
		readThrough(t, data)
	})
}

func FuzzVOTable(f *testing.F) {
	f.Add([]byte(galaxies))
	for _, format := range []string{"votable", "binary", "binary2"} {
		f.Add([]byte(written(f, format, 2)))
	}
	f.Add([]byte(vo(`<COOSYS ID="s" system="ICRS" epoch="J2016.0"/>`, threeFields+`<FIELD name="n" datatype="char" arraysize="*"/><FIELD datatype="bit" arraysize="3x*"/>`,
		"<BINARY2><STREAM encoding='base64'>AAAA</STREAM></BINARY2>")))
	f.Fuzz(func(t *testing.T, data []byte) { readThrough(t, data) })
}
