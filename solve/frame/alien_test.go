package frame

import (
	"encoding/binary"
	"strings"
	"testing"
)

// TestAliens: files that people give in place of a photograph say what they are and
// what to do.
func TestAliens(t *testing.T) {
	clip := append(box("ftyp", []byte("isom"), u32(512), []byte("isomiso2avc1mp41")), box("mdat", make([]byte, 100))...)
	refused(t, clip, ErrFormat, "a video", "take single photographs")
	for _, brand := range []string{"mp42", "qt  ", "M4V ", "3gp5", "avc1"} {
		refused(t, box("ftyp", []byte(brand), make([]byte, 40)), ErrFormat, "a video", "take single photographs")
	}
	for _, brand := range []string{"heic", "heix", "mif1", "avif"} {
		refused(t, box("ftyp", []byte(brand), make([]byte, 40)), ErrUnsupported, "HEIF", "set the camera to raw or JPEG")
	}
	refused(t, append(u32(100), "moovxxxxxxxxxxxxxxx"...), ErrFormat, "a video")
	for what, head := range map[string]string{
		"a video (AVI)": "RIFF\x10\x00\x00\x00AVI LIST", "a WebP picture": "RIFF\x10\x00\x00\x00WEBPVP8 ", "a video (Matroska)": "\x1a\x45\xdf\xa3\x01\x00",
		"a GIF picture": "GIF89a\x01\x00", "a BMP picture": "BM\x36\x00\x00\x00\x00\x00", "an archive (zip)": "PK\x03\x04\x14\x00", "a document": "%PDF-1.7\n",
		"a JPEG 2000 picture": "\x00\x00\x00\x0cjP  \r\n\x87\n",
	} {
		kind := ErrFormat
		if strings.Contains(what, "picture") {
			kind = ErrUnsupported
		}
		refused(t, []byte(head+"................"), kind, what)
	}
	refused(t, []byte("RAWFILE0\x00\x01\x02 of an unknown maker"), ErrFormat, "convert it to one of them")
}

func TestPanorama(t *testing.T) {
	plain := encodeJPEG(pictures(64, 32)["rgb 8"])
	for _, xmp := range []string{`<rdf:Description GPano:ProjectionType="equirectangular"/>`, `<GPano:ProjectionType>equirectangular</GPano:ProjectionType>`} {
		seg := append([]byte("xmp\x00"), xmp...)
		head := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(len(seg)+2))
		refused(t, append(append(head, seg...), plain[2:]...), ErrUnsupported, "panorama", "give single photographs")
	}
	if fr := mustDecode(t, plain, "x", Options{}); fr.Image.W != 64 {
		t.Errorf("a plain picture twice as wide as high: %d wide", fr.Image.W)
	}
}
