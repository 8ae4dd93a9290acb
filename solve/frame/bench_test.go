package frame

import (
	"context"
	"image"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/image/tiff"
)

// The benchmarks read an invented picture of 2400 x 1600 from disk and report
// the time for a megapixel.
const benchW, benchH = 2400, 1600

func benchRead(b *testing.B, name string, data []byte) {
	b.Helper()
	path := filepath.Join(b.TempDir(), name)
	if err := os.WriteFile(path, data, 0o644); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read(context.Background(), path, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/1e3/float64(b.N)/(benchW*benchH/1e6), "ms/Mpx")
}

func benchImages() (grey16 *image.Gray16, grey8 *image.Gray, colour *image.RGBA) {
	r := image.Rect(0, 0, benchW, benchH)
	grey16, grey8, colour = image.NewGray16(r), image.NewGray(r), image.NewRGBA(r)
	for i, v := range sky(benchW, benchH, 81) {
		grey16.Pix[2*i], grey16.Pix[2*i+1] = byte(v>>8), byte(v)
		grey8.Pix[i] = byte(min(v>>4, 255))
		copy(colour.Pix[4*i:], []byte{byte(min(v>>4, 255)), byte(min(v>>4, 255)), byte(min(v>>5, 255)), 255})
	}
	return grey16, grey8, colour
}

func benchFITS() []byte {
	return fitsFile(stored16(sky(benchW, benchH, 81)), append(imageCards(16, benchW, benchH), "BZERO   = 32768")...)
}

func BenchmarkFITS16(b *testing.B)     { benchRead(b, "x.fits", benchFITS()) }
func BenchmarkFITS16Gzip(b *testing.B) { benchRead(b, "x.fits.gz", gzipped(benchFITS())) }

func BenchmarkFITSFloat(b *testing.B) {
	var f []float32
	for _, v := range sky(benchW, benchH, 81) {
		f = append(f, float32(v))
	}
	benchRead(b, "x.fits", fitsFile(f, imageCards(-32, benchW, benchH)...))
}

func BenchmarkJPEG(b *testing.B) {
	_, grey, colour := benchImages()
	b.Run("grey", func(b *testing.B) { benchRead(b, "x.jpg", encodeJPEG(grey)) })
	b.Run("colour", func(b *testing.B) { benchRead(b, "x.jpg", encodeJPEG(colour)) })
}

func BenchmarkPNG(b *testing.B) {
	grey16, grey8, colour := benchImages()
	b.Run("grey16", func(b *testing.B) { benchRead(b, "x.png", encodePNG(grey16)) })
	b.Run("grey8", func(b *testing.B) { benchRead(b, "x.png", encodePNG(grey8)) })
	b.Run("colour", func(b *testing.B) { benchRead(b, "x.png", encodePNG(colour)) })
}

func BenchmarkTIFF(b *testing.B) {
	grey16, _, _ := benchImages()
	for name, o := range map[string]*tiff.Options{"plain": nil, "deflate": {Compression: tiff.Deflate, Predictor: true}} {
		b.Run(name, func(b *testing.B) {
			path := filepath.Join(b.TempDir(), "x.tif")
			out, err := os.Create(path)
			if err != nil {
				b.Fatal(err)
			}
			if err := tiff.Encode(out, grey16, o); err != nil {
				b.Fatal(err)
			}
			out.Close()
			data, err := os.ReadFile(path)
			if err != nil {
				b.Fatal(err)
			}
			benchRead(b, "y.tif", data)
		})
	}
}

// Raw data in tiles of lossless JPEG, as most DNG files hold them.
func BenchmarkDNG(b *testing.B) {
	v := sky(benchW, benchH, 81)
	for i := range v {
		v[i] &= 0x3fff
	}
	main, raw := dng(false, benchW, benchH, 14)
	raw.short(tagCompression, packJPEG).long(tagTileWidth, 400).long(tagTileHeight, 400)
	benchRead(b, "x.dng", dngFile(main, raw, true, jpegTiles(v, benchW, benchH, 400, 2)...))
}

// Frames of ../shared, which hold what this package is for.
func BenchmarkShared(b *testing.B) {
	for _, parts := range [][]string{{"nights", "southern-yard", "frame-01.fits"}, {"frames", "tripod_1.jpg"}, {"nights", "wide-png", "20261127T103000Z.png"}} {
		b.Run(parts[len(parts)-1], func(b *testing.B) {
			path := shared(b, parts...)
			for b.Loop() {
				if _, err := Read(context.Background(), path, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
