package frame

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"testing"
)

// dng returns the directories of a DNG file with an RGGB mosaic of w x h, and a
// small thumbnail in front of it as cameras write it. The raw directory is the
// one to be changed and given its strips or tiles.
func dng(big bool, w, h, bits int) (main, raw *tiffDir) {
	raw = newTIFF(big).long(tagSubfileType, 0).long(tagWidth, w).long(tagHeight, h).short(tagBits, bits).
		short(tagCompression, packNone).short(tagPhotometric, photoCFA).short(tagSamples, 1).long(tagRowsPerStrip, h).
		short(tagCFADim, 2, 2).raw(tagCFAPattern, 0, 1, 1, 2)
	main = newTIFF(big).long(tagSubfileType, 1).long(tagWidth, 16).long(tagHeight, 16).short(tagBits, 8).short(tagPhotometric, 1).
		raw(tagDNGVersion, 1, 4, 0, 0).text(tagDateTime, "2026:11:25 22:10:00").add(tagSubIFDs, raw)
	return main, raw
}

// file writes a DNG with pieces of raw data behind the thumbnail's pixels.
func dngFile(main, raw *tiffDir, tiles bool, pieces ...[]byte) []byte {
	thumb := make([]byte, 256)
	main.strips(8, false, thumb)
	_, px := raw.strips(8+len(thumb), tiles, pieces...)
	return main.bytes(append(thumb, px...))
}

func TestDNG(t *testing.T) {
	const w, h = 34, 26
	v := sky(w, h, 41)
	for i := range v {
		v[i] &= 0x3fff
	}
	want := func(i int) float64 { return float64(v[i]) }
	check := func(name string, data []byte) {
		t.Helper()
		fr := mustDecode(t, data, name, Options{})
		if fr.Format != "DNG" || fr.Image.Mosaic != "RGGB" || fr.Image.Saturation != 16383 {
			t.Errorf("%s: format %s, mosaic %q, saturation %g", name, fr.Format, fr.Image.Mosaic, fr.Image.Saturation)
		}
		samePixels(t, &fr.Image, w, h, want, 0)
	}
	for _, big := range []bool{false, true} {
		main, raw := dng(big, w, h, 16)
		raw.long(tagWhiteLevel, 16383)
		check("16 bit", dngFile(main, raw, false, words16(raw.order, v)))

		main, raw = dng(big, w, h, 14)
		var rows []byte
		for y := range h {
			rows = append(rows, packed(v[y*w:(y+1)*w], 14)...)
		}
		check("14 bit packed", dngFile(main, raw, false, rows))

		for predictor := 1; predictor <= 7; predictor++ {
			for _, n := range []int{1, 2} { // columns of the mosaic as colours of a pixel
				main, raw = dng(big, w, h, 14)
				raw.short(tagCompression, packJPEG).long(tagRowsPerStrip, h)
				check(fmt.Sprintf("lossless JPEG, predictor %d, %d colours", predictor, n),
					dngFile(main, raw, false, losslessJPEG(v, w/n, n, 14, predictor)))
			}
		}
		main, raw = dng(big, w, h, 14)
		raw.short(tagCompression, packJPEG).long(tagTileWidth, 16).long(tagTileHeight, 16)
		check("tiles", dngFile(main, raw, true, jpegTiles(v, w, h, 16, 2)...))
	}
}

// jpegTiles cuts a picture into packed tiles, the edge repeated.
func jpegTiles(v []uint16, w, h, side, n int) [][]byte {
	var out [][]byte
	for y0 := 0; y0 < h; y0 += side {
		for x0 := 0; x0 < w; x0 += side {
			var tile []uint16
			for y := range side {
				for x := range side {
					tile = append(tile, v[min(y0+y, h-1)*w+min(x0+x, w-1)])
				}
			}
			out = append(out, losslessJPEG(tile, side/n, n, 14, 1))
		}
	}
	return out
}

// Full-range differences, and two rows of the mosaic as one row of the JPEG.
func TestLosslessJPEGExtremes(t *testing.T) {
	v := make([]uint16, 40*10)
	for i := range v {
		v[i] = [...]uint16{0, 65535, 32768, 0, 32767, 1, 65535}[i%7]
	}
	for predictor := 1; predictor <= 7; predictor++ {
		j, err := openLJPEG(losslessJPEG(v, 40, 1, 16, predictor))
		if err != nil {
			t.Fatal(err)
		}
		got := make([]uint16, len(v))
		if err := j.read(got); err != nil {
			t.Fatal(err)
		}
		for i := range v {
			if got[i] != v[i] {
				t.Fatalf("predictor %d: sample %d is %d, want %d", predictor, i, got[i], v[i])
			}
		}
		if err := j.read(got[:1]); err == nil {
			t.Fatal("read past the last row")
		}
	}
	main, raw := dng(false, 20, 20, 16)
	raw.short(tagCompression, packJPEG)
	fr := mustDecode(t, dngFile(main, raw, false, losslessJPEG(v, 40, 1, 16, 1)), "x", Options{})
	samePixels(t, &fr.Image, 20, 20, func(i int) float64 { return float64(v[i]) }, 0)
}

func TestDNGDetails(t *testing.T) {
	const w, h = 40, 30
	v := sky(w, h, 42)
	main, raw := dng(false, w, h, 16)
	raw.long(tagActiveArea, 2, 3, 29, 38) // top, left, bottom, right
	fr := mustDecode(t, dngFile(main, raw, false, words16(raw.order, v)), "x", Options{})
	samePixels(t, &fr.Image, 35, 27, func(i int) float64 { return float64(v[(i/35+2)*w+i%35+3]) }, 0)
	if fr.Image.Mosaic != "RGGB" {
		t.Errorf("mosaic %q, want RGGB: the pattern starts at the corner of the active area", fr.Image.Mosaic)
	}

	main, raw = dng(false, w, h, 8)
	curve := make([]int, 256)
	for i := range curve {
		curve[i] = i * i
	}
	raw.short(tagLinearTable, curve...).long(tagWhiteLevel, 60000)
	b := make([]byte, w*h)
	for i := range b {
		b[i] = byte(v[i])
	}
	fr = mustDecode(t, dngFile(main, raw, false, b), "x", Options{})
	samePixels(t, &fr.Image, w, h, func(i int) float64 { return float64(int(b[i]) * int(b[i])) }, 0)
	if fr.Image.Saturation != 60000 {
		t.Errorf("saturation %g, want 60000", fr.Image.Saturation)
	}

	main, raw = dng(false, w, h, 16)
	raw.short(tagPhotometric, photoLinear).short(tagSamples, 3).short(tagBits, 16, 16, 16)
	delete(raw.fields, tagCFAPattern)
	var rgb []uint16
	for i := range v {
		rgb = append(rgb, v[i], v[i]/2, v[i]/4)
	}
	fr = mustDecode(t, dngFile(main, raw, false, words16(raw.order, rgb)), "x", Options{})
	samePixels(t, &fr.Image, w, h, func(i int) float64 {
		return float64((int(v[i]) + 2*int(v[i]/2) + int(v[i]/4) + 2) / 4)
	}, 0)
	if fr.Image.Mosaic != "" {
		t.Errorf("mosaic %q of linear data, want none", fr.Image.Mosaic)
	}
}

// A maker's raw file: what is not laid out as in DNG gives way to the largest
// JPEG in the file, with a note.
func TestEmbeddedJPEG(t *testing.T) {
	large, small := encodeJPEG(pictures(64, 48)["rgb 8"]), encodeJPEG(pictures(32, 24)["rgb 8"])
	noise := bytes.Repeat([]byte{0x5a, 0x33}, 1000)
	build := func(change func(main, raw *tiffDir)) []byte {
		main, raw := dng(false, 100, 80, 14)
		delete(main.fields, tagDNGVersion)
		raw.short(tagCompression, 34713)
		px := bytes.Join([][]byte{make([]byte, 256), small, large, noise}, nil)
		main.strips(8, false, px[:256])
		raw.long(tagStripOffsets, 8+256+len(small)+len(large)).long(tagStripCounts, len(noise))
		view := newTIFF(false).long(tagSubfileType, 1).short(tagCompression, packOldJPEG).
			long(tagJPEGOffset, 8+256+len(small)).long(tagJPEGLength, len(large))
		main.add(tagSubIFDs, raw, view)
		main.long(tagJPEGOffset, 8+256).long(tagJPEGLength, len(small))
		main.add(tagExifIFD, newTIFF(false).text(tagDateOriginal, "2026:11:25 22:10:00").rational(tagExposureTime, 4, 1))
		if change != nil {
			change(main, raw)
		}
		return main.bytes(px)
	}
	check := func(name string, data []byte) {
		t.Helper()
		fr := mustDecode(t, data, name, Options{})
		if fr.Image.W != 64 || fr.Image.H != 48 {
			t.Errorf("%s: %d x %d, want the 64 x 48 JPEG", name, fr.Image.W, fr.Image.H)
		}
		if !hasNote(fr, "embedded JPEG of 64 x 48") || fr.Image.Mosaic != "" {
			t.Errorf("%s: notes %q, mosaic %q", name, fr.Notes, fr.Image.Mosaic)
		}
		if fr.Exposure.Seconds() != 4 {
			t.Errorf("%s: exposure %v, want 4 s", name, fr.Exposure)
		}
	}
	check("own compression", build(nil))
	check("plain data of a wrong size", build(func(_, raw *tiffDir) { raw.short(tagCompression, packNone).short(tagBits, 16) }))
	check("a mosaic of 6 x 6", build(func(main, raw *tiffDir) {
		main.raw(tagDNGVersion, 1, 4, 0, 0)
		raw.short(tagCompression, packNone).short(tagCFADim, 6, 6).raw(tagCFAPattern, make([]byte, 36)...)
	}))
	check("only a scan finds it", build(func(main, _ *tiffDir) {
		delete(main.fields, tagJPEGOffset)
		main.fields[tagSubIFDs].sub[1].long(tagJPEGOffset, 0)
	}))
	for _, magic := range []uint16{0x55, 0x4f52, 0x5352} {
		data := build(func(main, _ *tiffDir) { delete(main.fields, tagSubIFDs) })
		binary.LittleEndian.PutUint16(data[2:], magic)
		check(fmt.Sprintf("magic %#x", magic), data)
	}
	main, raw := dng(false, 100, 80, 14)
	raw.short(tagCompression, 34713)
	refused(t, dngFile(main, raw, false, noise), ErrUnsupported, "convert it")
}

// A mosaic that makers lay out as DNG does, in a file that does not say DNG.
func TestRawLaidOutAsDNG(t *testing.T) {
	const w, h = 30, 20
	v := sky(w, h, 43)
	main, raw := dng(true, w, h, 16)
	delete(main.fields, tagDNGVersion)
	fr := mustDecode(t, dngFile(main, raw, false, words16(raw.order, v)), "x", Options{})
	samePixels(t, &fr.Image, w, h, func(i int) float64 { return float64(v[i]) }, 0)
	if fr.Format != "raw" || fr.Image.Mosaic != "RGGB" {
		t.Errorf("format %s, mosaic %q", fr.Format, fr.Image.Mosaic)
	}
}

// box returns a box of the ISO base media format.
func box(kind string, content ...[]byte) []byte {
	body := bytes.Join(content, nil)
	b := binary.BigEndian.AppendUint32(nil, uint32(8+len(body)))
	return append(append(b, kind...), body...)
}

func u32(v ...int) []byte {
	var b []byte
	for _, x := range v {
		b = binary.BigEndian.AppendUint32(b, uint32(x))
	}
	return b
}

// rawBMFF returns a raw file with a JPEG track, a smaller preview and EXIF.
func rawBMFF(large, small []byte) []byte {
	main := newTIFF(false).text(tagDateTime, "2026:11:25 22:10:00").bytes(nil)
	photo := newTIFF(false).text(tagDateOriginal, "2026:11:25 22:10:00").text(tagOffOriginal, "+08:00").
		rational(tagExposureTime, 4, 1).rational(tagFocalLength, 50, 1).short(tagFocal35, 80).bytes(nil)
	gps := newTIFF(false).text(tagGPSLatRef, "S").rational(tagGPSLat, 31, 1, 24, 1, 0, 1).
		text(tagGPSLonRef, "E").rational(tagGPSLon, 121, 1, 54, 1, 0, 1).rational(tagGPSAlt, 430, 1).bytes(nil)
	build := func(at int) []byte {
		stbl := box("stbl", box("stsz", u32(0, len(large), 1)), box("co64", u32(0, 1, 0, at)))
		trak := box("trak", box("mdia", box("minf", stbl)))
		notes := box("uuid", make([]byte, 16), box("CMT1", main), box("CMT2", photo), box("CMT4", gps))
		prev := box("uuid", make([]byte, 24), box("PRVW", u32(0, 0, 0, 0), small))
		return bytes.Join([][]byte{box("ftyp", []byte("crx isom")), box("moov", notes, trak), prev}, nil)
	}
	head := build(0)
	return append(build(len(head)+8), box("mdat", large)...)
}

func TestBMFF(t *testing.T) {
	data := rawBMFF(encodeJPEG(pictures(64, 48)["rgb 8"]), encodeJPEG(pictures(32, 24)["rgb 8"]))
	fr := mustDecode(t, data, "x", Options{})
	if fr.Image.W != 64 || fr.Format != "raw, embedded JPEG" {
		t.Errorf("%s, %d wide, want the JPEG of 64", fr.Format, fr.Image.W)
	}
	if got := fr.Time.Mid.Format("2006-01-02T15:04:05"); got != "2026-11-25T14:10:02" {
		t.Errorf("mid exposure %s (%s), want 2026-11-25T14:10:02", got, fr.Time.Source)
	}
	if fr.Site == nil || fr.Site.Elev != 430 || fr.Site.Lat.Degrees() > -31.399 {
		t.Errorf("site %+v", fr.Site)
	}
	if fr.Optics.Scale == 0 {
		t.Error("no scale from the equivalent focal length")
	}
	cut := bytes.Replace(data, []byte("co64"), []byte("xxxx"), 1)
	if fr := mustDecode(t, cut, "x", Options{}); fr.Image.W != 32 {
		t.Errorf("%d wide, want the preview of 32", fr.Image.W)
	}
	refused(t, box("ftyp", []byte("heic")), ErrUnsupported)
	// Boxes within boxes without end.
	deep := box("moov")
	for range 100 {
		deep = box("moov", deep, deep[:min(len(deep), 2000)])
	}
	refused(t, append(box("ftyp", []byte("crx ")), deep...), ErrUnsupported)
}
