package frame

// exif is what an EXIF block says (CIPA DC-008, "Exif 2.32"); any of the
// directories may be nil.
type exif struct {
	main, photo, gps *directory
}

// Entries of the main, the photo and the GPS directory.
const (
	tagMake         = 0x010f
	tagModel        = 0x0110
	tagDateTime     = 0x0132
	tagExifIFD      = 0x8769
	tagGPSIFD       = 0x8825
	tagExposureTime = 0x829a
	tagDateOriginal = 0x9003
	tagDateDigital  = 0x9004
	tagOffset       = 0x9010
	tagOffOriginal  = 0x9011
	tagOffDigital   = 0x9012
	tagSubSec       = 0x9290
	tagSubOriginal  = 0x9291
	tagSubDigital   = 0x9292
	tagFocalLength  = 0x920a
	tagPixelWidth   = 0xa002
	tagPixelHeight  = 0xa003
	tagPlaneXRes    = 0xa20e
	tagPlaneUnit    = 0xa210
	tagFocal35      = 0xa405
	tagGPSLatRef    = 1
	tagGPSLat       = 2
	tagGPSLonRef    = 3
	tagGPSLon       = 4
	tagGPSAltRef    = 5
	tagGPSAlt       = 6
)

// parseEXIF reads the EXIF directories of a TIFF container, nil when there are
// none that can be read: they are not worth failing for.
func parseEXIF(s *source) *exif {
	c, err := openContainer(s)
	if err != nil {
		return nil
	}
	main, err := c.read(c.first)
	if err != nil {
		return nil
	}
	return exifOf(main)
}

func exifOf(main *directory) *exif {
	return &exif{main: main, photo: main.sub(tagExifIFD), gps: main.sub(tagGPSIFD)}
}

// num and text look in the photo directory first, then in the main one, where
// some raw files keep them.
func (x *exif) num(tag uint16) (float64, bool) {
	if x == nil {
		return 0, false
	}
	if x.photo != nil {
		if v, ok := x.photo.num(tag); ok {
			return v, ok
		}
	}
	if x.main == nil {
		return 0, false
	}
	return x.main.num(tag)
}

func (x *exif) text(tag uint16) string {
	if x == nil {
		return ""
	}
	if x.photo != nil {
		if s := x.photo.text(tag); s != "" {
			return s
		}
	}
	if x.main == nil {
		return ""
	}
	return x.main.text(tag)
}
