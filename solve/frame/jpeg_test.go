package frame

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"math"
	"testing"
)

func encodeJPEG(m image.Image) []byte {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// withEXIF puts an EXIF block behind the start of a JPEG file.
func withEXIF(data, tiff []byte) []byte {
	seg := append([]byte("Exif\x00\x00"), tiff...)
	head := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(len(seg)+2))
	return bytes.Join([][]byte{head, seg, data[2:]}, nil)
}

// Sizes that are no multiple of a block leave gaps between the decoder's rows.
func TestJPEG(t *testing.T) {
	for name, m := range map[string]image.Image{"grey": pictures(61, 47)["grey 8"], "colour": pictures(61, 47)["rgb 8"]} {
		data := encodeJPEG(m)
		twin, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		fr := mustDecode(t, data, name, Options{})
		samePixels(t, &fr.Image, 61, 47, func(i int) float64 {
			switch p := twin.(type) {
			case *image.Gray:
				return float64(p.GrayAt(i%61, i/61).Y)
			case *image.YCbCr:
				return float64(p.YCbCrAt(i%61, i/61).Y)
			}
			return -1
		}, 0)
		if fr.Format != "JPEG" || fr.Image.Mosaic != "" {
			t.Errorf("%s: format %s, mosaic %q", name, fr.Format, fr.Image.Mosaic)
		}
	}
}

// A progressive file with an EXIF block, by tools of others (testdata/README.md).
func TestProgressiveWithEXIF(t *testing.T) {
	fr := mustDecode(t, testFile(t, "progressive.jpg"), "x", Options{})
	if fr.Image.W != 96 || fr.Image.H != 80 || fr.Image.U8 == nil {
		t.Errorf("picture of %d x %d", fr.Image.W, fr.Image.H)
	}
	if n := jpegScans(memory(testFile(t, "progressive.jpg")), 0, 1<<20); n < 3 || n > 20 {
		t.Errorf("%d scans counted", n)
	}
	if got := fr.Time.Mid.Format(layout); got != "2026-11-27T10:30:02.750" || fr.Time.Doubtful {
		t.Errorf("mid exposure %s (%s), want 2026-11-27T10:30:02.750", got, fr.Time.Source)
	}
	if s := fr.Site; s == nil || math.Abs(s.Lat.Degrees()+44.9) > 1e-6 || math.Abs(s.Lon.Degrees()-169.2) > 1e-6 || s.Elev != 350 {
		t.Errorf("site %+v, want -44.9, 169.2, 350 m", fr.Site)
	}
	// 43.267 mm over the diagonal of 124.96 pixels at 75 mm: 0.2645 degrees.
	if got := fr.Optics.Scale.Degrees(); math.Abs(got-0.2645) > 0.0002 {
		t.Errorf("scale %g degrees (%s), want 0.2645", got, fr.Optics.Source)
	}
}

// The kind is seen in the content, whatever the name says.
func TestNameDoesNotMatter(t *testing.T) {
	data := encodeJPEG(pictures(40, 30)["grey 8"])
	for _, name := range []string{"a.png", "a.fits", "a", "a.JPG"} {
		if fr := mustDecode(t, data, name, Options{}); fr.Format != "JPEG" {
			t.Errorf("%s: read as %s", name, fr.Format)
		}
	}
}

func TestJPEGWithBrokenEXIF(t *testing.T) {
	data := encodeJPEG(pictures(40, 30)["grey 8"])
	for _, block := range [][]byte{nil, []byte("II*\x00"), []byte("MM\x00*\xff\xff\xff\xff"), []byte("nonsense that is long enough")} {
		fr := mustDecode(t, withEXIF(data, block), "x", Options{})
		if !fr.Time.Mid.IsZero() || fr.Site != nil || fr.Exposure != 0 {
			t.Errorf("EXIF block %q gave time %v, site %v", block, fr.Time, fr.Site)
		}
	}
}

func TestHostileJPEG(t *testing.T) {
	good := encodeJPEG(pictures(61, 47)["grey 8"])
	refused(t, good[:len(good)/2], ErrDamaged)
	refused(t, good[:10], ErrDamaged)
	bad := bytes.Clone(good)
	at := bytes.Index(bad, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint16(bad[at+5:], 60000)
	binary.BigEndian.PutUint16(bad[at+7:], 60000)
	refused(t, bad, ErrTooLarge, "400 megapixels")
	binary.BigEndian.PutUint16(bad[at+5:], 5000)
	refused(t, bad, ErrTooLarge, "cannot fit")
	many := []byte{0xff, 0xd8, 0xff, 0xc2, 0, 11, 8, 0, 16, 0, 16, 1, 1, 0x11, 0}
	for range maxScans + 1 {
		many = append(many, 0xff, 0xda, 0, 8, 1, 1, 0, 0, 0, 0, 0x55, 0xff, 0, 0xff, 0xd0, 0x55)
	}
	refused(t, append(many, 0xff, 0xd9), ErrTooLarge, "101 scans")
}
