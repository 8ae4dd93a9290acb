package frame

import (
	"fmt"
	"strings"
)

// hdu is one header of a FITS file and where its data lie.
type hdu struct {
	cards  cards
	bitpix int
	axes   []int64
	off    int64 // of the data
	size   int64 // of the data, without padding
	all    cards // with those of the primary header; set for the chosen one
}

// maxHDUs bounds the walk through a file (no source).
const maxHDUs = 1000

// smallest is the side below which a picture is taken for a thumbnail or an
// empty placeholder (no source).
const smallest = 16

func readFITS(f *file, fr *Frame) (facts, error) {
	fr.Format = "FITS"
	units, err := readHDUs(&f.source)
	if err != nil && len(units) == 0 {
		return facts{}, err
	}
	u := chooseHDU(units)
	if u == nil {
		if err != nil {
			return facts{}, err
		}
		return facts{}, fmt.Errorf("FITS file without a picture of at least %d x %d pixels in %d headers: %w", smallest, smallest, len(units), ErrFormat)
	}
	if name, ok := u.cards.Text("EXTNAME"); ok && u != &units[0] {
		fr.Format = "FITS extension " + name
	}
	u.all = inherit(u.cards, units[0].cards)
	what := facts{cards: u.all}
	if u.compressed() {
		return what, readTiled(&f.source, u, fr)
	}
	return what, readPlanes(&f.source, u, fr)
}

// readHDUs walks through all headers of a file. A header that cannot be read
// ends the walk; what was found before it is returned with the error.
func readHDUs(s *source) ([]hdu, error) {
	var units []hdu
	for off := int64(0); off < s.size && len(units) < maxHDUs; {
		c, data, err := readCards(s, off)
		if err != nil {
			return units, err
		}
		if _, ok := c["XTENSION"]; len(units) > 0 && !ok {
			break // special records or padding behind the last unit
		}
		u, err := newHDU(c, data)
		if err != nil {
			return units, err
		}
		units = append(units, u)
		off = data + (u.size+blockSize-1)/blockSize*blockSize
	}
	return units, nil
}

// newHDU works out the size of the data of a header.
func newHDU(c cards, data int64) (hdu, error) {
	u := hdu{cards: c, off: data}
	bits, ok := c.Whole("BITPIX")
	switch bits {
	case 8, 16, 32, 64, -32, -64:
	default:
		ok = false
	}
	if !ok {
		return u, fmt.Errorf("BITPIX = %v, expected 8, 16, 32, 64, -32 or -64: %w", c.Shown("BITPIX"), ErrDamaged)
	}
	u.bitpix = int(bits)
	n, ok := c.Whole("NAXIS")
	if !ok || n < 0 || n > maxAxes {
		return u, fmt.Errorf("NAXIS = %s, expected 0 to %d: %w", c.Shown("NAXIS"), maxAxes, ErrDamaged)
	}
	for i := range n {
		key := fmt.Sprint("NAXIS", i+1)
		v, ok := c.Whole(key)
		if !ok || v < 0 {
			return u, fmt.Errorf("%s = %s, expected a size: %w", key, c.Shown(key), ErrDamaged)
		}
		u.axes = append(u.axes, v)
	}
	return u, u.measure()
}

// measure works out the bytes of the data: those of the array, and of the
// PCOUNT numbers behind it, GCOUNT times.
func (u *hdu) measure() error {
	count := int64(1)
	for _, v := range u.axes {
		if count = times(count, v); count < 0 {
			return fmt.Errorf("FITS axes %v: %w", u.axes, ErrTooLarge)
		}
	}
	if len(u.axes) == 0 {
		count = 0
	}
	if _, stated := u.cards["PCOUNT"]; stated {
		pad, ok := u.cards.Whole("PCOUNT")
		if !ok || pad < 0 || pad > mostBytes {
			return fmt.Errorf("PCOUNT = %s, expected 0 to %d: %w", u.cards.Shown("PCOUNT"), int64(mostBytes), ErrDamaged)
		}
		count += pad
	}
	if groups, ok := u.cards.Whole("GCOUNT"); ok && groups > 1 {
		count = times(count, groups)
	}
	if u.size = times(count, int64(max(u.bitpix, -u.bitpix)/8)); u.size < 0 || count < 0 {
		return fmt.Errorf("FITS axes %v, PCOUNT %s: %w", u.axes, u.cards.Shown("PCOUNT"), ErrTooLarge)
	}
	return nil
}

// mostBytes is more than any file has.
const mostBytes = 1 << 50

// times returns a*b, or -1 when that is no plausible number of bytes.
func times(a, b int64) int64 {
	if a < 0 || b < 0 || a > 0 && b > mostBytes/a {
		return -1
	}
	return a * b
}

func (u *hdu) compressed() bool {
	return u.cards.True("ZIMAGE")
}

// shape returns the axes of the picture in u, which for a compressed picture
// are those before compression. Trailing axes of length one are dropped.
func (u *hdu) shape() []int64 {
	axes := u.axes
	if u.compressed() {
		n, _ := u.cards.Whole("ZNAXIS")
		axes = nil
		for i := range min(n, maxAxes) {
			v, _ := u.cards.Whole(fmt.Sprint("ZNAXIS", i+1))
			axes = append(axes, v)
		}
	} else if x, ok := u.cards.Text("XTENSION"); ok && x != "IMAGE" {
		return nil
	}
	for len(axes) > 2 && axes[len(axes)-1] == 1 {
		axes = axes[:len(axes)-1]
	}
	return axes
}

// picture returns width, height and the number of pixels of one plane, zero
// when u holds no picture.
func (u *hdu) picture() (w, h, n int64) {
	a := u.shape()
	if len(a) < 2 {
		return 0, 0, 0
	}
	w, h = a[0], a[1]
	if interleaved(a) {
		w, h = a[1], a[2]
	}
	if w < smallest || h < smallest {
		return 0, 0, 0
	}
	return w, h, max(times(w, h), 0)
}

// planes returns how many planes of an array are used: the three of a colour
// picture, or the first one.
func (u *hdu) planes() int64 {
	if a := u.shape(); interleaved(a) || len(a) == 3 && a[2] == 3 {
		return 3
	}
	return 1
}

// interleaved reports whether the colours of a pixel are stored together.
func interleaved(a []int64) bool { return len(a) == 3 && a[0] == 3 && a[2] > 3 }

// chooseHDU returns the first picture with at least half the pixels of the
// largest. Among several, one named as a mean goes first, and maxima, spreads,
// weights and masks last.
func chooseHDU(units []hdu) *hdu {
	var most int64
	for i := range units {
		_, _, n := units[i].picture()
		most = max(most, n)
	}
	var best *hdu
	for i := range units {
		u := &units[i]
		if _, _, n := u.picture(); n == 0 || n < most/2 {
			continue
		}
		if best == nil || u.rank() > best.rank() {
			best = u
		}
	}
	return best
}

// rank orders pictures of one file by what EXTNAME says they hold.
func (u *hdu) rank() int {
	name, _ := u.cards.Text("EXTNAME")
	name = strings.ToUpper(name)
	has := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(name, w) {
				return true
			}
		}
		return false
	}
	switch {
	case has("AVE", "AVG", "MEAN"):
		return 2
	case has("MAX", "MIN", "STD", "VAR", "RMS", "ERR", "UNC", "MASK", "DQ", "WEIGHT", "WHT"):
		return 0
	}
	return 1
}

// inherit returns the cards of an extension over those of the primary header.
func inherit(c, primary cards) cards {
	all := cards{}
	for k, v := range primary {
		all[k] = v
	}
	for k, v := range c {
		all[k] = v
	}
	return all
}
