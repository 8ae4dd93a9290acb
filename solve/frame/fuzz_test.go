package frame

import (
	"bytes"
	"compress/zlib"
	"runtime"
	"strings"
	"testing"
	"time"

	"pintle/index/written"
)

// survive decodes data that may be anything and fails on a panic, on a picture
// that contradicts itself, and on memory out of proportion to the data.
func survive(t *testing.T, data []byte, name string) {
	t.Helper()
	keepsBudget(t, data)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	fr, err := Decode(bytes.Clone(data), name, Options{})
	runtime.ReadMemStats(&after)
	// Deflate and LZW hold up to 1400 bytes in one, which may become floats.
	if most := uint64(64<<20 + 12_000*len(data)); after.TotalAlloc-before.TotalAlloc > most {
		t.Fatalf("%d bytes allocated for %d bytes of data", after.TotalAlloc-before.TotalAlloc, len(data))
	}
	if err != nil {
		if strings.Contains(err.Error(), "reader failed") {
			t.Fatal(err)
		}
		return
	}
	if fr.Stars == nil && fr.Image.check() != nil {
		t.Fatal(fr.Image.check())
	}
	if !fr.Time.Mid.IsZero() && (fr.Time.Mid.Year() < firstYear-1 || fr.Time.Mid.Year() > lastYear+1) {
		t.Fatalf("time %v from %q", fr.Time.Mid, fr.Time.Source)
	}
	if s := fr.Site; s != nil && (written.CheckLatitude(s.Lat) != nil || written.CheckLongitude(s.Lon) != nil) {
		t.Fatalf("site %+v", s)
	}
}

func FuzzFITS(f *testing.F) {
	v := sky(20, 18, 71)
	f.Add(fitsFile(stored16(v), append(imageCards(16, 20, 18), "BZERO   = 32768", "BLANK   = 5", "BAYERPAT= 'RGGB'",
		"DATE-OBS= '2026-11-25T12:40:00'", "EXPTIME = 2.5", "SITELAT = '-31 24 00'", "SITELONG= 121.9", "FOCALLEN= 130", "XPIXSZ  = 3.75")...))
	f.Add(fitsFile(make([]float64, 360), append(imageCards(-64, 20, 18), "BSCALE  = 1E-20", "MJD-OBS = 61055.9", "TIMESYS = 'TT'")...))
	f.Add(fitsFile(make([]int32, 3*360), append(imageCards(32, 3, 20, 18), "DATE-OBS= '25/11/97'", "UT      = '12:40:00'")...))
	f.Add(append(fitsHeader("SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0"), fitsFile(make([]uint8, 360), extension("AVE", 8, 20, 18)...)...))
	f.Fuzz(func(t *testing.T, data []byte) {
		survive(t, append([]byte(magicFITS), data[min(len(data), len(magicFITS)):]...), "x")
	})
}

func FuzzTiles(f *testing.F) {
	for _, name := range []string{"u16-rice-tiles.fits", "u16-gzip2.fits", "real-rice-dither2.fits", "i32-rice.fits"} {
		f.Add(testFile(f, name))
	}
	f.Fuzz(func(t *testing.T, data []byte) { survive(t, data, "x") })
}

func FuzzRice(f *testing.F) {
	f.Add(rice([]int32{5, 6, 7, 7, 7, 900, -5, 3}, 2, 4), 2, 4)
	f.Add(rice([]int32{5, 6, 7, 7, 7, 200, 0, 3}, 1, 32), 1, 32)
	f.Fuzz(func(t *testing.T, data []byte, size, block int) {
		if block < 1 || block > 256 {
			return
		}
		_ = unrice(make([]int32, 1000), data, size, block)
	})
}

func FuzzGzip(f *testing.F) {
	f.Add(fitsFile(make([]uint8, 400), imageCards(8, 20, 20)...))
	f.Add(append(fitsHeader("SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0"), fitsFile(make([]uint8, 360), extension("AVE", 8, 20, 18)...)...))
	f.Fuzz(func(t *testing.T, data []byte) { survive(t, gzipped(data), "x") })
}

func FuzzPNG(f *testing.F) {
	for name, m := range pictures(9, 7) {
		if name != "rgba 8" {
			f.Add(encodePNG(m))
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) { survive(t, fixChunks(data), "x") })
}

// FuzzPNGRows fuzzes what stands behind the compression and the checksums.
func FuzzPNGRows(f *testing.F) {
	for _, depth := range []byte{1, 8, 16} {
		for _, colour := range []byte{0, 2, 3, 4, 6} {
			f.Add(byte(5), byte(4), depth, colour, byte(0), bytes.Repeat([]byte{4, 1, 2, 3, 5, 7, 0}, 30))
		}
	}
	f.Fuzz(func(t *testing.T, w, h, depth, colour, interlace byte, rows []byte) {
		var z bytes.Buffer
		zw := zlib.NewWriter(&z)
		zw.Write(rows)
		zw.Close()
		survive(t, bytes.Join([][]byte{[]byte("\x89PNG\r\n\x1a\n"), pngChunk("IHDR", []byte{0, 0, 0, w, 0, 0, 0, h, depth, colour, 0, 0, interlace}),
			pngChunk("PLTE", []byte{1, 2, 3, 4, 5, 6}), pngChunk("IDAT", z.Bytes()), pngChunk("IEND", nil)}, nil), "x")
	})
}

// fixChunks makes the checksums of PNG chunks right, so that fuzzing gets past
// them.
func fixChunks(data []byte) []byte {
	out := append([]byte("\x89PNG\r\n\x1a\n"), data[min(8, len(data)):]...)
	for at := 8; at+12 <= len(out); {
		n := int(u(out[at:]))
		if n > len(out)-at-12 {
			break
		}
		copy(out[at:], pngChunk(string(out[at+4:at+8]), out[at+8:at+8+n]))
		at += 12 + n
	}
	return out
}

func u(b []byte) uint32 { return uint32(b[0])<<24 | uint32(b[1])<<16 | uint32(b[2])<<8 | uint32(b[3]) }

func FuzzJPEG(f *testing.F) {
	exif := newTIFF(false).add(tagExifIFD, newTIFF(false).text(tagDateOriginal, "2026:11:27 23:30:00")).bytes(nil)
	f.Add(withEXIF(encodeJPEG(pictures(17, 9)["rgb 8"]), exif))
	f.Add(encodeJPEG(pictures(17, 9)["grey 8"]))
	f.Fuzz(func(t *testing.T, data []byte) {
		survive(t, append([]byte("\xff\xd8\xff"), data[min(len(data), 3):]...), "x")
	})
}

func FuzzEXIF(f *testing.F) {
	photo := newTIFF(true).text(tagDateOriginal, "2026:11:27 23:30:00").text(tagSubOriginal, "5").text(tagOffOriginal, "+13:00").
		rational(tagExposureTime, 5, 1).rational(tagFocalLength, 50, 1).rational(tagPlaneXRes, 2000, 1).short(tagPlaneUnit, 3).short(tagFocal35, 75)
	gps := newTIFF(true).text(tagGPSLatRef, "S").rational(tagGPSLat, 31, 1, 24, 1, 0, 1).text(tagGPSLonRef, "E").
		rational(tagGPSLon, 121, 1, 54, 1, 0, 1).rational(tagGPSAlt, 430, 1).raw(tagGPSAltRef, 1)
	f.Add(newTIFF(true).text(tagDateTime, "2026:11:27 23:30:00").add(tagExifIFD, photo).add(tagGPSIFD, gps).bytes(nil))
	f.Fuzz(func(t *testing.T, data []byte) {
		fr := &Frame{Image: Image{W: 60, H: 40}}
		fr.tell(&file{name: "x"}, facts{exif: parseEXIF(memory(data))}, Options{})
		if s := fr.Site; s != nil && (written.CheckLatitude(s.Lat) != nil || written.CheckLongitude(s.Lon) != nil || !(s.Elev > -1000 && s.Elev < 10000)) {
			t.Fatalf("site %+v", s)
		}
		if !(fr.Optics.Scale >= 0 && fr.Optics.Scale <= coarsest) || fr.Exposure < 0 || fr.Exposure > 24*time.Hour {
			t.Fatalf("scale %v, exposure %v", fr.Optics, fr.Exposure)
		}
	})
}

func FuzzTIFF(f *testing.F) {
	for _, name := range []string{"u16-lzw-tiles.tif", "u16-zip-big-endian.tif", "u16-bigtiff.tif", "u8-packbits-planes.tif", "real-zip-predictor3.tif"} {
		f.Add(testFile(f, name))
	}
	f.Fuzz(func(t *testing.T, data []byte) { survive(t, data, "x") })
}

func FuzzRaw(f *testing.F) {
	v := sky(20, 16, 72)
	for i := range v {
		v[i] &= 0xfff
	}
	main, raw := dng(false, 20, 16, 12)
	raw.short(tagCompression, packJPEG).long(tagActiveArea, 0, 0, 16, 18)
	f.Add(dngFile(main, raw, false, losslessJPEG(v, 10, 2, 12, 6)))
	main, raw = dng(true, 20, 16, 12)
	raw.short(tagCompression, packJPEG).long(tagTileWidth, 8).long(tagTileHeight, 8)
	f.Add(dngFile(main, raw, true, jpegTiles(v, 20, 16, 8, 1)...))
	main, raw = dng(false, 20, 16, 16)
	delete(main.fields, tagDNGVersion)
	raw.short(tagCompression, 34713)
	f.Add(dngFile(main, raw, false, encodeJPEG(pictures(17, 9)["rgb 8"])))
	f.Fuzz(func(t *testing.T, data []byte) { survive(t, data, "x") })
}

func FuzzLosslessJPEG(f *testing.F) {
	f.Add(losslessJPEG(sky(20, 16, 73), 10, 2, 16, 5))
	f.Add(losslessJPEG(sky(20, 16, 73), 20, 1, 16, 1))
	f.Fuzz(func(t *testing.T, data []byte) {
		j, err := openLJPEG(data)
		if err != nil || j.samples() > 1<<20 {
			return
		}
		_ = j.read(make([]uint16, j.samples()))
	})
}

func FuzzBMFF(f *testing.F) {
	f.Add(rawBMFF(encodeJPEG(pictures(17, 9)["rgb 8"]), encodeJPEG(pictures(9, 7)["grey 8"])))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) >= 8 {
			data = bytes.Clone(data)
			copy(data[4:], "ftyp")
		}
		survive(t, data, "x")
	})
}

func FuzzStarList(f *testing.F) {
	f.Add([]byte("# width=1280, height=960, date-obs=2026-11-25T12:40:00\nFlux,Y,X\n10.5,20,30.25\n\n# c\n7e3,-0.4,1279\n"))
	f.Add([]byte("\xef\xbb\xbfx,y,flux\r\n\"5\",9.2,1\r\n"))
	f.Fuzz(func(t *testing.T, data []byte) { survive(t, data, "x") })
}

func FuzzNames(f *testing.F) {
	f.Add("20261127T103000Z.png", "-31 24 00", "2026-11-27T10:30:00+13:00")
	f.Add("2023-09-07_20_17_17.5", "W 70°55'47.5\"", "25/11/97")
	f.Fuzz(func(t *testing.T, name, angle, date string) {
		if tm, ok := nameTime(name, time.Hour, nil, true); ok && tm.Err == nil && tm.Mid.Year() < firstYear-1 {
			t.Fatalf("%q gave %v", name, tm)
		}
		if a, err := written.Longitude(angle); err == nil && !(a.Abs() <= 6.2832) {
			t.Fatalf("%q gave %v", angle, a)
		}
		if a, err := written.Latitude(angle); err == nil && written.CheckLatitude(a) != nil {
			t.Fatalf("%q gave latitude %v", angle, a)
		}
		if m, err := ParseTime(date, nil); err == nil && (m.Year() < firstYear-1 || m.Year() > lastYear+1) {
			t.Fatalf("%q gave %v", date, m)
		}
	})
}
