package frame

import (
	"fmt"
	"math"
)

// Entries of a TIFF directory that describe a picture (TIFF 6.0; DNG 1.7 from
// tagCFADim on).
const (
	tagSubfileType  = 0x00fe
	tagWidth        = 0x0100
	tagHeight       = 0x0101
	tagBits         = 0x0102
	tagCompression  = 0x0103
	tagPhotometric  = 0x0106
	tagFillOrder    = 0x010a
	tagStripOffsets = 0x0111
	tagSamples      = 0x0115
	tagRowsPerStrip = 0x0116
	tagStripCounts  = 0x0117
	tagPlanar       = 0x011c
	tagPredictor    = 0x013d
	tagTileWidth    = 0x0142
	tagTileHeight   = 0x0143
	tagTileOffsets  = 0x0144
	tagTileCounts   = 0x0145
	tagSubIFDs      = 0x014a
	tagSampleFormat = 0x0153
	tagJPEGOffset   = 0x0201
	tagXMP          = 0x02bc
	tagJPEGLength   = 0x0202
	tagCFADim       = 0x828d
	tagCFAPattern   = 0x828e
	tagDNGVersion   = 0xc612
	tagCFALayout    = 0xc617
	tagLinearTable  = 0xc618
	tagWhiteLevel   = 0xc61d
	tagActiveArea   = 0xc68d
)

// Values of the compression and the photometric entry.
const (
	packNone     = 1
	packLZW      = 5
	packOldJPEG  = 6
	packJPEG     = 7
	packDeflate  = 8
	packDeflate2 = 32946
	packBits     = 32773

	whiteIsZero  = 0
	blackIsZero  = 1
	photoRGB     = 2
	photoPalette = 3
	photoCFA     = 32803
	photoLinear  = 34892
)

// Values of the sample format entry.
const (
	formatUint  = 1
	formatInt   = 2
	formatFloat = 3
)

// raster is a picture in strips or tiles; a strip is a tile as wide as the
// picture.
type raster struct {
	*directory
	w, h        int64
	bits        int64 // of a sample
	samples     int64 // of a pixel
	format      int64
	photometric int64
	packing     int64
	predictor   int64
	planar      bool // each colour in tiles of its own
	tileW       int64
	tileH       int64
	strips      bool
	across      int64
	down        int64
	offsets     []int64
	counts      []int64
	fileBytes   int64 // of all tiles together
	bad         error // why the strips or tiles cannot be found
}

// unpackMost is the most bytes that each packing can make of one. For LZW it
// is the longest string that 4094 codes of at least 9 bits can build up.
var unpackMost = map[int64]int64{packNone: 1, packLZW: 1400, packDeflate: inflateMost, packDeflate2: inflateMost, packBits: 64}

// raster reads what a directory says of its picture. Only its size is checked;
// see supported.
func (d *directory) raster() (*raster, error) {
	r := &raster{
		directory: d,
		w:         d.integer(tagWidth, 0), h: d.integer(tagHeight, 0),
		samples: d.integer(tagSamples, 1), format: d.integer(tagSampleFormat, formatUint),
		photometric: d.integer(tagPhotometric, -1), packing: d.integer(tagCompression, packNone),
		predictor: d.integer(tagPredictor, 1), planar: d.integer(tagPlanar, 1) == 2,
	}
	if err := room(r.w, r.h, 0, 0); err != nil {
		return nil, err
	}
	if r.samples < 1 || r.samples > 16 {
		return nil, fmt.Errorf("TIFF with %d samples a pixel: %w", r.samples, ErrUnsupported)
	}
	for i, b := range d.nums(tagBits, r.samples) {
		if i == 0 {
			r.bits = int64(b)
		} else if int64(b) != r.bits {
			return nil, fmt.Errorf("TIFF with samples of %d and %g bits: %w", r.bits, b, ErrUnsupported)
		}
	}
	if r.bits == 0 {
		r.bits = 1
	}
	r.planar = r.planar && r.samples > 1
	r.bad = r.layout()
	return r, nil
}

// layout reads where the strips or tiles lie.
func (r *raster) layout() error {
	offsets, counts := uint16(tagTileOffsets), uint16(tagTileCounts)
	r.tileW, r.tileH = r.integer(tagTileWidth, 0), r.integer(tagTileHeight, 0)
	if r.tileW == 0 {
		r.strips = true
		offsets, counts = tagStripOffsets, tagStripCounts
		r.tileW, r.tileH = r.w, r.integer(tagRowsPerStrip, r.h)
		r.tileH = min(r.tileH, r.h)
	}
	if r.tileW < 1 || r.tileH < 1 || r.tileW > r.w+1024 || r.tileH > r.h+1024 {
		return fmt.Errorf("TIFF picture of %d x %d in tiles of %d x %d: %w", r.w, r.h, r.tileW, r.tileH, ErrDamaged)
	}
	r.across, r.down = (r.w+r.tileW-1)/r.tileW, (r.h+r.tileH-1)/r.tileH
	n := r.tiles()
	if n > maxTiles {
		return fmt.Errorf("TIFF picture of %d x %d in %d strips or tiles, the limit is %d: %w", r.w, r.h, n, maxTiles, ErrTooLarge)
	}
	r.offsets, r.counts = r.offsetsOf(offsets, n), r.offsetsOf(counts, n)
	if int64(len(r.offsets)) < n {
		return fmt.Errorf("TIFF picture of %d x %d needs %d strips or tiles, %d are there: %w", r.w, r.h, n, len(r.offsets), ErrDamaged)
	}
	if int64(len(r.counts)) < n { // some writers leave them out
		if r.packing != packNone && n > 1 {
			return fmt.Errorf("TIFF strips or tiles without sizes: %w", ErrDamaged)
		}
		r.counts = make([]int64, n)
		for i := range r.counts {
			r.counts[i] = max(0, r.c.size-r.offsets[i])
		}
	}
	for i := range r.counts {
		if r.packing == packNone && r.strips {
			r.counts[i] = max(r.counts[i], r.tileRows(int64(i)/r.across%r.down)*r.rowBytes())
		}
		if err := r.c.check(r.offsets[i], r.counts[i], "TIFF strip or tile"); err != nil {
			return err
		}
		r.fileBytes += r.counts[i]
	}
	return nil
}

// offsetsOf returns up to n values of an entry of whole numbers.
func (r *raster) offsetsOf(tag uint16, n int64) []int64 {
	f, ok := r.fields[tag]
	if !ok || f.typ == tASCII {
		return nil
	}
	width := typeSize[f.typ]
	b, err := r.c.bytes(f.off, min(f.count, n)*width, "TIFF offsets")
	if err != nil {
		return nil
	}
	out := make([]int64, min(f.count, n))
	for i := range out {
		if v := r.c.value(f.typ, b[int64(i)*width:]); v >= 0 && v < math.MaxInt32*1024 {
			out[i] = int64(v)
		} else {
			out[i] = -1
		}
	}
	return out
}

// tiles returns how many strips or tiles there are, of all planes.
func (r *raster) tiles() int64 {
	n := r.across * r.down
	if r.planar {
		n *= r.samples
	}
	return n
}

// tileRows returns how many rows of the tiles in row i of tiles are stored.
func (r *raster) tileRows(i int64) int64 {
	if r.strips {
		return min(r.tileH, r.h-i*r.tileH)
	}
	return r.tileH
}

// perRow returns the samples in a row of a tile.
func (r *raster) perRow() int64 {
	if r.planar {
		return r.tileW
	}
	return r.tileW * r.samples
}

// rowBytes returns the bytes of a row of a tile.
func (r *raster) rowBytes() int64 { return (r.perRow()*r.bits + 7) / 8 }

// supported reports why the picture's pixels cannot be read here.
func (r *raster) supported() error {
	if r.bad != nil {
		return r.bad
	}
	no := func(format string, a ...any) error {
		return fmt.Errorf("TIFF with "+format+": %w", append(a, ErrUnsupported)...)
	}
	switch r.photometric {
	case whiteIsZero, blackIsZero, photoLinear:
	case photoRGB:
		if r.samples < 3 {
			return no("RGB of %d samples a pixel", r.samples)
		}
	case photoCFA:
		if r.samples != 1 {
			return no("a mosaic of %d samples a pixel", r.samples)
		}
	default:
		return no("photometric interpretation %d", r.photometric)
	}
	switch {
	case r.format == formatUint && r.bits >= 8 && r.bits <= 16:
	case (r.format == formatUint || r.format == formatInt) && (r.bits == 8 || r.bits == 16 || r.bits == 32):
	case r.format == formatFloat && (r.bits == 16 || r.bits == 32 || r.bits == 64):
	default:
		return no("samples of format %d, %d bits", r.format, r.bits)
	}
	switch r.packing {
	case packNone, packLZW, packDeflate, packDeflate2, packBits:
	case packJPEG:
		if r.photometric != photoCFA && r.photometric != photoLinear || r.planar {
			return no("JPEG tiles")
		}
	default:
		return no("compression %d", r.packing)
	}
	switch {
	case r.packing == packJPEG || r.predictor == 1:
	case r.predictor == 2 && (r.bits == 8 || r.bits == 16 || r.bits == 32):
	case r.predictor == 3 && r.format == formatFloat:
	default:
		return no("predictor %d on %d bits", r.predictor, r.bits)
	}
	if r.integer(tagFillOrder, 1) != 1 && r.bits%8 != 0 {
		return no("reversed bits")
	}
	return r.fits()
}

// fits checks the claimed pixels against the bytes that are there.
func (r *raster) fits() error {
	if r.packing == packJPEG { // each sample takes at least one bit
		return room(r.w, r.h, r.fileBytes, 8)
	}
	need := times(r.tiles(), r.rowBytes()*r.tileH)
	if r.strips {
		need = times(r.h*r.tiles()/(r.across*r.down), r.rowBytes())
	}
	most := min(r.fileBytes, r.c.size) * unpackMost[r.packing]
	if need < 0 || need > most {
		return fmt.Errorf("TIFF picture of %d x %d pixels, %d samples of %d bits, cannot fit in %d bytes: %w", r.w, r.h, r.samples, r.bits, r.fileBytes, ErrTooLarge)
	}
	return nil
}

// thumbnail reports whether the directory holds a reduced copy.
func (d *directory) thumbnail() bool { return d.integer(tagSubfileType, 0)&1 != 0 }
