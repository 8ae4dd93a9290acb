package frame

import "strings"

// setMosaic names the colour mosaic of a FITS picture.
func setMosaic(c cards, fr *Frame) {
	s, _ := c.str("BAYERPAT")
	s = strings.ToUpper(s)
	switch s {
	case "RGGB", "BGGR", "GRBG", "GBRG":
		fr.Image.Mosaic = s
	}
}
