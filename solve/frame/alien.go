package frame

import (
	"bytes"
	"fmt"
	"strings"
)

// What to do with files that are recognised but hold no photograph that is read.
const (
	adviceVideo    = "take single photographs, or save single frames of it as PNG or TIFF with the time of each"
	advicePicture  = "set the camera to raw or JPEG, or save it as TIFF, PNG or JPEG"
	adviceArchive  = "unpack it first"
	adviceDocument = "give the photographs themselves"
)

// aliens are the starts of such files, with the place of the start in the file.
var aliens = []struct {
	at           int
	magic        string
	what, advice string
}{
	{4, "moov", "a video", adviceVideo}, {4, "mdat", "a video", adviceVideo}, {4, "wide", "a video", adviceVideo},
	{8, "AVI ", "a video (AVI)", adviceVideo}, {0, "\x1a\x45\xdf\xa3", "a video (Matroska)", adviceVideo},
	{0, "\x00\x00\x01\xba", "a video (MPEG)", adviceVideo}, {0, "\x00\x00\x01\xb3", "a video (MPEG)", adviceVideo},
	{8, "WEBP", "a WebP picture", advicePicture}, {0, "GIF8", "a GIF picture", advicePicture}, {0, "BM", "a BMP picture", advicePicture},
	{4, "jP  \r\n", "a JPEG 2000 picture", advicePicture}, {4, "JXL \r\n", "a JPEG XL picture", advicePicture}, {0, "\xff\x0a", "a JPEG XL picture", advicePicture},
	{0, "PK\x03\x04", "an archive (zip)", adviceArchive}, {0, "7z\xbc\xaf\x27\x1c", "an archive (7z)", adviceArchive},
	{0, "BZh", "a file packed with bzip2", adviceArchive}, {0, "\xfd7zXZ", "a file packed with xz", adviceArchive}, {0, "\x28\xb5\x2f\xfd", "a file packed with zstd", adviceArchive},
	{0, "%PDF", "a document", adviceDocument},
}

// alien returns why a file of a known kind that is not read is refused, nil for
// all others.
func alien(head []byte) error {
	for _, a := range aliens {
		if len(head) > a.at && bytes.HasPrefix(head[a.at:], []byte(a.magic)) {
			return refuse(a.what, a.advice)
		}
	}
	return nil
}

// refuse words a refusal: pictures are not supported, the rest are no pictures.
func refuse(what, advice string) error {
	kind := ErrUnsupported
	if advice == adviceVideo || advice == adviceArchive || advice == adviceDocument {
		kind = ErrFormat
	}
	return fmt.Errorf("%s: %w; %s", what, kind, advice)
}

// Brands of files in the ISO base media format (ISO/IEC 14496-12; those of HEIF
// from ISO/IEC 23008-12), the first letters of them.
var (
	heifBrands  = []string{"hei", "hev", "mif1", "msf1", "avif", "avis"}
	videoBrands = []string{"qt", "iso", "mp4", "avc", "hvc", "M4V", "m4v", "3g", "dash", "MSNV", "f4v", "mmp4"}
)

// alienBrand returns why a file of a brand is refused, nil for the brands in
// which raw data or JPEG pictures may be found.
func alienBrand(brand string) error {
	starts := func(list []string) bool {
		for _, b := range list {
			if strings.HasPrefix(brand, b) {
				return true
			}
		}
		return false
	}
	switch {
	case starts(heifBrands):
		return refuse("a picture in the HEIF format (HEIC, AVIF)", advicePicture)
	case starts(videoBrands):
		return refuse("a video (MP4, MOV)", adviceVideo)
	}
	return nil
}

// panoramic reports whether XMP data say that a picture is wrapped around a
// sphere (the property ProjectionType, as attribute or as element).
func panoramic(xmp []byte) bool {
	_, rest, found := bytes.Cut(xmp, []byte("ProjectionType"))
	return found && bytes.Contains(rest[:min(40, len(rest))], []byte("equirectangular"))
}

// errPanorama refuses a panorama of the whole sphere.
func errPanorama() error {
	return refuse("a panorama of the whole sphere, 360 by 180 degrees", "give single photographs, or a part of it as a lens would show it")
}
