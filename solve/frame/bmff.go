package frame

import (
	"encoding/binary"
	"fmt"
)

// Limits on the boxes of an ISO base media file (no source, far above what cameras
// write).
const (
	maxBoxes    = 10_000
	maxBoxDepth = 8
)

// bmff is a raw file in the ISO base media format (ISO/IEC 14496-12): boxes of
// a size, a type of four letters, and content.
type bmff struct {
	s     *source
	left  int // boxes still to be looked at
	exif  exif
	found []span // JPEG pictures
}

// readBMFF reads the largest JPEG picture of such a file: a sample of a track,
// or one in a box of the maker's own. The EXIF directories lie in boxes CMT1
// (main), CMT2 (photo) and CMT4 (GPS).
func readBMFF(f *file, fr *Frame) (facts, error) {
	fr.Format = "raw"
	head, err := f.head(12)
	if err != nil {
		return facts{}, err
	}
	if err := alienBrand(string(head[8:])); err != nil {
		return facts{}, err
	}
	b := &bmff{s: &f.source, left: maxBoxes}
	b.boxes(0, f.size, 0, &track{})
	why := fmt.Errorf("raw data of an unpublished layout: %w", ErrUnsupported)
	best, most := largestJPEG(b.s, b.found)
	if most == 0 {
		return facts{}, fmt.Errorf("%w; nor does the file hold a JPEG picture: convert it to DNG or TIFF", why)
	}
	return facts{exif: &b.exif}, useJPEG(b.s, best, fr, why)
}

// track collects where the first sample of a track lies.
type track struct{ off, size int64 }

// boxes walks the boxes between two offsets.
func (b *bmff) boxes(at, end int64, depth int, t *track) {
	for at+8 <= end && depth < maxBoxDepth {
		if b.left--; b.left < 0 {
			return
		}
		head, err := b.s.bytes(at, min(32, end-at), "box")
		if err != nil {
			return
		}
		size, body := int64(binary.BigEndian.Uint32(head)), at+8
		switch {
		case size == 1 && len(head) >= 16:
			size, body = int64(binary.BigEndian.Uint64(head[8:])), at+16
		case size == 0:
			size = end - at
		}
		if size < body-at || size > end-at {
			return
		}
		b.box(string(head[4:8]), body, at+size, depth, t)
		at += size
	}
}

// box looks at one box.
func (b *bmff) box(kind string, at, end int64, depth int, t *track) {
	switch kind {
	case "moov", "mdia", "minf", "stbl":
		b.boxes(at, end, depth+1, t)
	case "trak":
		var own track
		b.boxes(at, end, depth+1, &own)
		if own.off > 0 && own.size > 0 {
			b.found = append(b.found, span{own.off, own.size})
		}
	case "uuid": // 16 bytes of name, then often boxes or a few bytes and boxes
		b.boxes(at+16, end, depth+1, t)
		b.boxes(at+24, end, depth+1, t)
	case "PRVW", "THMB":
		b.preview(at, end)
	case "CMT1", "CMT2", "CMT4":
		b.block(kind, at, end)
	case "stsz", "co64", "stco":
		b.table(kind, at, end, t)
	}
}

// table reads the size or the offset of the first sample of a track.
func (b *bmff) table(kind string, at, end int64, t *track) {
	h, err := b.s.bytes(at, min(24, end-at), "box")
	if err != nil || len(h) < 12 {
		return
	}
	be := binary.BigEndian
	switch {
	case kind == "stsz":
		t.size = int64(be.Uint32(h[4:]))
		if t.size == 0 && be.Uint32(h[8:]) > 0 && len(h) >= 16 {
			t.size = int64(be.Uint32(h[12:]))
		}
	case be.Uint32(h[4:]) == 0: // no chunks
	case kind == "stco":
		t.off = int64(be.Uint32(h[8:]))
	case len(h) >= 16:
		t.off = int64(min(be.Uint64(h[8:]), 1<<62))
	}
}

// preview finds the JPEG start within the first bytes of a maker's box.
func (b *bmff) preview(at, end int64) {
	h, err := b.s.bytes(at, min(64, end-at), "box")
	if err != nil {
		return
	}
	for i := 0; i+2 < len(h); i++ {
		if h[i] == 0xff && h[i+1] == 0xd8 && h[i+2] == 0xff {
			b.found = append(b.found, span{at + int64(i), end - at - int64(i)})
			return
		}
	}
}

// block reads a box that holds one EXIF directory as a small TIFF file.
func (b *bmff) block(kind string, at, end int64) {
	if end-at > 1<<20 {
		return
	}
	blob, err := b.s.bytes(at, end-at, "EXIF")
	if err != nil {
		return
	}
	x := parseEXIF(memory(blob))
	if x == nil {
		return
	}
	switch kind {
	case "CMT1":
		b.exif.main = x.main
	case "CMT2":
		b.exif.photo = x.main
	case "CMT4":
		b.exif.gps = x.main
	}
}
