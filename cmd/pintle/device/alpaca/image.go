package alpaca

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
)

// Limits of a picture. No source; far above any camera.
const (
	maxPixels = 400_000_000
	maxBytes  = 2<<30 - 1
	headBytes = 44
)

// picture holds an image as it came: x is the first axis and y changes faster,
// as does the colour, if any, within y.
type picture struct {
	w, h, planes int
	at           func(i int) float64
}

// pixel returns a value by column and row.
func (p *picture) pixel(x, y, plane int) float64 { return p.at((x*p.h+y)*p.planes + plane) }

// Types of elements on the wire (the ImageBytes standard).
const (
	int16Type  = 1
	int32Type  = 2
	doubleType = 3
	singleType = 4
	uint64Type = 5
	byteType   = 6
	int64Type  = 7
	uint16Type = 8
	uint32Type = 9
)

// element is how one type is read.
type element struct {
	size int
	read func(b []byte) float64
}

var elements = map[uint32]element{
	int16Type:  {2, func(b []byte) float64 { return float64(int16(binary.LittleEndian.Uint16(b))) }},
	int32Type:  {4, func(b []byte) float64 { return float64(int32(binary.LittleEndian.Uint32(b))) }},
	doubleType: {8, func(b []byte) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b)) }},
	singleType: {4, func(b []byte) float64 { return float64(math.Float32frombits(binary.LittleEndian.Uint32(b))) }},
	uint64Type: {8, func(b []byte) float64 { return float64(binary.LittleEndian.Uint64(b)) }},
	byteType:   {1, func(b []byte) float64 { return float64(b[0]) }},
	int64Type:  {8, func(b []byte) float64 { return float64(int64(binary.LittleEndian.Uint64(b))) }},
	uint16Type: {2, func(b []byte) float64 { return float64(binary.LittleEndian.Uint16(b)) }},
	uint32Type: {4, func(b []byte) float64 { return float64(binary.LittleEndian.Uint32(b)) }},
}

// readBytes reads ImageBytes: a header of 44 little-endian bytes, the data behind
// it. An error of the device arrives in the header, its text as data.
func readBytes(r io.Reader) (*picture, error) {
	head := make([]byte, headBytes)
	if _, err := io.ReadFull(r, head); err != nil {
		return nil, fmt.Errorf("the picture has no header: %w", err)
	}
	word := func(i int) uint32 { return binary.LittleEndian.Uint32(head[4*i:]) }
	version, number, start, kind, rank := word(0), word(1), word(4), word(6), word(7)
	if version != 1 || start < headBytes || start > 1<<20 {
		return nil, fmt.Errorf("the picture's header is of version %d with data from byte %d; 1 and 44 are known", version, start)
	}
	if _, err := io.CopyN(io.Discard, r, int64(start)-headBytes); err != nil {
		return nil, fmt.Errorf("the picture ends in its header: %w", err)
	}
	if number != 0 {
		text, _ := io.ReadAll(io.LimitReader(r, 1000))
		return nil, &Error{int(number), clean(string(text), 200)}
	}
	p := &picture{w: int(word(8)), h: int(word(9)), planes: 1}
	if rank == 3 {
		p.planes = int(word(10))
	}
	el, ok := elements[kind]
	if rank != 2 && rank != 3 || !ok {
		return nil, fmt.Errorf("a picture of %d dimensions and elements of type %d is not known", rank, kind)
	}
	if err := p.check(); err != nil {
		return nil, err
	}
	n := int64(p.w) * int64(p.h) * int64(p.planes) * int64(el.size)
	if n > maxBytes {
		return nil, fmt.Errorf("a picture of %d bytes is above the limit of %d", n, maxBytes)
	}
	data, err := readGrowing(r, int(n))
	if err != nil {
		return nil, err
	}
	p.at = func(i int) float64 { return el.read(data[i*el.size:]) }
	return p, nil
}

// readGrowing reads n bytes, taking memory only as they come.
func readGrowing(r io.Reader, n int) ([]byte, error) {
	data := make([]byte, 0, min(n, 64<<20))
	for len(data) < n {
		if len(data) == cap(data) {
			grown := make([]byte, len(data), min(n, 2*cap(data)))
			copy(grown, data)
			data = grown
		}
		k, err := io.ReadFull(r, data[len(data):cap(data)])
		data = data[:len(data)+k]
		if err != nil {
			return nil, fmt.Errorf("%d of %d bytes of the picture came: %w", len(data), n, err)
		}
	}
	return data, nil
}

func (p *picture) check() error {
	switch {
	case p.w < 1 || p.h < 1 || p.w > 1<<20 || p.h > 1<<20 || int64(p.w)*int64(p.h) > maxPixels:
		return fmt.Errorf("a picture of %d x %d pixels is outside 1 to %d", p.w, p.h, maxPixels)
	case p.planes != 1 && p.planes != 3:
		return fmt.Errorf("a picture of %d planes; 1 and 3 are known", p.planes)
	}
	return nil
}

// readJSON reads the picture as nested arrays, for servers that know nothing
// better.
func readJSON(r io.Reader) (*picture, error) {
	var a struct {
		Type, Rank   int
		Value        json.RawMessage
		ErrorNumber  int
		ErrorMessage string
	}
	if err := json.NewDecoder(io.LimitReader(r, maxBytes)).Decode(&a); err != nil {
		return nil, fmt.Errorf("the picture is no JSON: %w", err)
	}
	if a.ErrorNumber != 0 {
		return nil, &Error{a.ErrorNumber, clean(a.ErrorMessage, 200)}
	}
	var list [][][]float64
	switch a.Rank {
	case 2:
		var two [][]float64
		if err := json.Unmarshal(a.Value, &two); err != nil {
			return nil, fmt.Errorf("the picture is no array of two dimensions: %w", err)
		}
		list = make([][][]float64, 0, len(two))
		for _, column := range two {
			list = append(list, [][]float64{column})
		}
		return flat(list, true)
	case 3:
		if err := json.Unmarshal(a.Value, &list); err != nil {
			return nil, fmt.Errorf("the picture is no array of three dimensions: %w", err)
		}
		return flat(list, false)
	}
	return nil, fmt.Errorf("a picture of %d dimensions is not known", a.Rank)
}

// flat makes a picture of columns; of one plane a column is one list of rows.
func flat(list [][][]float64, mono bool) (*picture, error) {
	p := &picture{w: len(list), planes: 1}
	if p.w > 0 && mono {
		p.h = len(list[0][0])
	} else if p.w > 0 {
		if p.h = len(list[0]); p.h > 0 {
			p.planes = len(list[0][0])
		}
	}
	if err := p.check(); err != nil {
		return nil, err
	}
	var v []float64
	for _, column := range list {
		for _, part := range column {
			v = append(v, part...)
		}
	}
	if len(v) != p.w*p.h*p.planes {
		return nil, fmt.Errorf("the picture has %d values, not %d x %d x %d", len(v), p.w, p.h, p.planes)
	}
	p.at = func(i int) float64 { return v[i] }
	return p, nil
}
