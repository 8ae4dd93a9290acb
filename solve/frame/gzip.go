package frame

import (
	"bytes"
	"fmt"
	"io"

	"github.com/klauspost/compress/gzip"

	"pintle/index/fitshead"
)

// inflateMost is the most bytes that deflate can make of one (RFC 1951: 258
// bytes from two codes of one bit each, four times a byte).
const inflateMost = 1032

// readGzip reads a FITS file packed with gzip: as much of it as holds the
// picture is unpacked into memory, and its pixels are taken from there.
func readGzip(f *file, fr *Frame) (facts, error) {
	z, err := gzip.NewReader(f.section(0, f.size))
	if err != nil {
		return facts{}, damaged("gzip", err)
	}
	u := &unpacker{in: z, most: f.size * inflateMost, work: f.work}
	if err := u.picture(); err != nil {
		return facts{}, err
	}
	whole := &file{source: source{r: bytes.NewReader(u.out), size: int64(len(u.out)), mem: u.out, work: f.work}}
	what, err := readFITS(whole, fr)
	fr.Format += ", gzip"
	return what, err
}

// unpacker unpacks a stream as far as it is asked to.
type unpacker struct {
	in   io.Reader
	out  []byte
	most int64 // bytes that the packed file can hold
	next int64 // where the next unit begins
	work *work
}

// picture unpacks up to the end of the picture in the primary unit, or
// everything when there is none.
func (u *unpacker) picture() error {
	if err := u.need(blockSize); err != nil {
		return err
	}
	if !bytes.HasPrefix(u.out, []byte(magicFITS)) {
		return fmt.Errorf("gzip file that starts with %q: %w; only FITS is read from gzip files", u.out[:8], ErrFormat)
	}
	most := int64(roomMost) // bytes that may be unpacked
	for first := true; ; first = false {
		h, err := u.unit(u.next)
		if err == io.EOF && !first {
			return nil
		}
		if err != nil {
			return err
		}
		plane, stored, err := u.afford(&h)
		if err != nil {
			return err
		}
		end := h.off + h.size
		if first && plane > 0 && stored < h.size { // more planes than are used
			return u.need(h.off + stored)
		}
		most = max(most, roomMost+3*plane)
		if end > most && !(first && plane > 0) {
			return fmt.Errorf("gzip file of several pictures that unpacks to more than %d MB: %w; unpack it first", most>>20, ErrTooLarge)
		}
		if err := u.need(end); err != nil {
			return err
		}
		if first && plane > 0 {
			return u.finish()
		}
		u.next = (end + blockSize - 1) / blockSize * blockSize
		if err := u.need(u.next); err != nil {
			return nil // no padding: the last unit
		}
	}
}

// afford refuses a picture that takes too much memory. It returns the bytes in
// which its pixels are kept, 0 when the unit holds none, and those in the file.
func (u *unpacker) afford(h *hdu) (plane, stored int64, err error) {
	w, ht, n := h.picture()
	if n == 0 || h.compressed() {
		return 4 * n, h.size, nil
	}
	if err := room(w, ht, 0, 0); err != nil {
		return 0, 0, err
	}
	st, err := storedOf(h.cards, h.bitpix)
	if err != nil {
		return 0, 0, err
	}
	planes := h.planes()
	stored = n * planes * st.bytes()
	return n * st.kept(planes), stored, u.work.plane(w, ht, st.kept(planes), stored)
}

// unit unpacks the header that begins at start. It returns io.EOF where the
// file ends.
func (u *unpacker) unit(start int64) (hdu, error) {
	for n := int64(1); ; n++ {
		if err := u.need(start + n*blockSize); err != nil {
			if n == 1 && start > 0 {
				return hdu{}, io.EOF
			}
			return hdu{}, err
		}
		block := u.out[start+(n-1)*blockSize:]
		if fitshead.Ends(block[:blockSize]) || n > fitshead.MaxBlocks {
			break // without an end readCards says so
		}
	}
	c, data, err := readCards(memory(u.out), start)
	if err != nil {
		return hdu{}, err
	}
	return newHDU(c, data)
}

// need unpacks until n bytes are there.
func (u *unpacker) need(n int64) error {
	have := int64(len(u.out))
	if n <= have {
		return nil
	}
	if n > u.most {
		return fmt.Errorf("FITS file of %d bytes cannot be packed in %d: %w", n, u.most/inflateMost, ErrTooLarge)
	}
	if n > int64(cap(u.out)) {
		grown := Pixels[uint8](int(max(n, min(2*have, 1<<20))))[:have]
		copy(grown, u.out)
		u.out = grown
	}
	if err := u.work.spend(n - have); err != nil {
		return err
	}
	m, err := io.ReadFull(u.in, u.out[have:n])
	u.out = u.out[:have+int64(m)]
	if err != nil {
		return fmt.Errorf("gzip: %d bytes are claimed, %d unpacked (%v): %w; copy the file again", n, have+int64(m), err, ErrDamaged)
	}
	return nil
}

// finish reads the padding behind the picture, so that the checksum at the end
// of the packed file is looked at when the picture is all it holds.
func (u *unpacker) finish() error {
	if _, err := io.CopyN(io.Discard, u.in, 2*blockSize); err != nil && err != io.EOF {
		return fmt.Errorf("%w; copy the file again", damaged("gzip", err))
	}
	return nil
}
