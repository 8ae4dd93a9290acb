package alpaca

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"math"
	"net"
	"slices"
	"testing"
	"time"
)

// imageBytes writes a picture by the standard: a header of 44 bytes, then data.
func imageBytes(number, kind, rank, w, h, planes uint32, data []byte) []byte {
	var b bytes.Buffer
	binary.Write(&b, binary.LittleEndian, []uint32{1, number, 1, 1, 44, 2, kind, rank, w, h, planes})
	b.Write(data)
	return b.Bytes()
}

func le(v any) []byte {
	var b bytes.Buffer
	binary.Write(&b, binary.LittleEndian, v)
	return b.Bytes()
}

// Three columns of two rows, as the standard orders them: x is the first axis,
// y changes fastest. The value of a pixel is 10 x + y.
func TestImageBytes(t *testing.T) {
	for kind, data := range map[uint32][]byte{
		int16Type:  le([]int16{0, 1, 10, 11, 20, 21}),
		int32Type:  le([]int32{0, 1, 10, 11, 20, 21}),
		doubleType: le([]float64{0, 1, 10, 11, 20, 21}),
		singleType: le([]float32{0, 1, 10, 11, 20, 21}),
		uint64Type: le([]uint64{0, 1, 10, 11, 20, 21}),
		byteType:   {0, 1, 10, 11, 20, 21},
		int64Type:  le([]int64{0, 1, 10, 11, 20, 21}),
		uint16Type: le([]uint16{0, 1, 10, 11, 20, 21}),
		uint32Type: le([]uint32{0, 1, 10, 11, 20, 21}),
	} {
		p, err := readBytes(bytes.NewReader(imageBytes(0, kind, 2, 3, 2, 0, data)))
		if err != nil {
			t.Fatalf("type %d: %v", kind, err)
		}
		checkPixels(t, p)
	}
	p, err := readJSON(bytes.NewReader([]byte(`{"Type":2,"Rank":2,"Value":[[0,1],[10,11],[20,21]],"ErrorNumber":0,"ErrorMessage":""}`)))
	if err != nil {
		t.Fatal(err)
	}
	checkPixels(t, p)
	colour, err := readJSON(bytes.NewReader([]byte(`{"Type":2,"Rank":3,"Value":[[[1,2,3],[4,5,6]]],"ErrorNumber":0}`)))
	if err != nil || colour.w != 1 || colour.h != 2 || colour.pixel(0, 1, 2) != 6 {
		t.Errorf("%+v, %v", colour, err)
	}
}

func checkPixels(t *testing.T, p *picture) {
	t.Helper()
	for x := range 3 {
		for y := range 2 {
			if p.w != 3 || p.h != 2 || p.pixel(x, y, 0) != float64(10*x+y) {
				t.Errorf("%d x %d, pixel %d, %d is %g", p.w, p.h, x, y, p.pixel(x, y, 0))
			}
		}
	}
}

func TestBadPictures(t *testing.T) {
	six := []byte{0, 1, 10, 11, 20, 21}
	for name, b := range map[string][]byte{
		"empty":          nil,
		"short":          imageBytes(0, byteType, 2, 3, 2, 0, six[:5]),
		"no such type":   imageBytes(0, 77, 2, 3, 2, 0, six),
		"one dimension":  imageBytes(0, byteType, 1, 6, 0, 0, six),
		"no pixels":      imageBytes(0, byteType, 2, 0, 2, 0, six),
		"too many":       imageBytes(0, byteType, 2, 1<<20, 1<<20, 0, six),
		"beyond an int":  imageBytes(0, doubleType, 3, math.MaxUint32, math.MaxUint32, 3, six),
		"a claim":        imageBytes(0, uint16Type, 2, 20000, 20000, 0, six),
		"planes":         imageBytes(0, byteType, 3, 1, 3, 2, six),
		"data nowhere":   append(le([]uint32{1, 0, 1, 1, 1 << 30}), make([]byte, 100)...),
		"another header": append(le([]uint32{9, 0, 1, 1, 44}), make([]byte, 100)...),
	} {
		if p, err := readBytes(bytes.NewReader(b)); err == nil {
			t.Errorf("%s: %d x %d", name, p.w, p.h)
		}
	}
	for _, s := range []string{"", "{}", `{"Rank":2,"Value":[[1,2],[3]]}`, `{"Rank":2,"Value":[]}`, `{"Rank":3,"Value":[[]]}`, `{"Rank":2,"Value":"x"}`, `{"Rank":2,"Value":[[],[]]}`} {
		if p, err := readJSON(bytes.NewReader([]byte(s))); err == nil {
			t.Errorf("%s: %d x %d", s, p.w, p.h)
		}
	}
	// An error of the device arrives in the header.
	_, err := readBytes(bytes.NewReader(imageBytes(invalidNow, 0, 0, 0, 0, 0, []byte("no \x1bpicture"))))
	var e *Error
	if !errors.As(err, &e) || e.Number != invalidNow || e.Message != "no ?picture" {
		t.Error(err)
	}
}

func FuzzPictures(f *testing.F) {
	f.Add(imageBytes(0, uint16Type, 2, 3, 2, 0, le([]uint16{0, 1, 10, 11, 20, 21})))
	f.Add([]byte(`{"Type":2,"Rank":2,"Value":[[0,1],[10,11],[20,21]]}`))
	f.Add([]byte(`{"Type":2,"Rank":3,"Value":[[[1,2,3],[4,5,6]]]}`))
	f.Add([]byte(`{"AlpacaPort":11111}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, read := range []func([]byte) (*picture, error){
			func(b []byte) (*picture, error) { return readBytes(bytes.NewReader(b)) },
			func(b []byte) (*picture, error) { return readJSON(bytes.NewReader(b)) },
		} {
			if p, err := read(b); err == nil {
				if p.w*p.h*p.planes > len(b) {
					t.Errorf("%d x %d x %d of %d bytes", p.w, p.h, p.planes, len(b))
				}
				p.pixel(p.w-1, p.h-1, p.planes-1)
			}
		}
		answer(b)
	})
}

// The offset is that of the pattern on the sensor.
func TestMosaic(t *testing.T) {
	for want, at := range map[string][2]int{"RGGB": {0, 0}, "GRBG": {1, 0}, "GBRG": {0, 1}, "BGGR": {1, 1}} {
		if got := mosaic(at[0], at[1]); got != want {
			t.Errorf("offset %v: %s, want %s", at, got, want)
		}
	}
}

// Discovery on loopback: servers that answer, twice, and some that answer
// nonsense.
func TestDiscover(t *testing.T) {
	var to []*net.UDPAddr
	heard := make(chan string, 4)
	for _, reply := range []string{`{"AlpacaPort": 11111}`, `{"AlpacaPort": 99999}`, "hello", `{"alpacaport":4567}`} {
		c, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		to = append(to, c.LocalAddr().(*net.UDPAddr))
		go func() {
			buf := make([]byte, 100)
			n, from, err := c.ReadFromUDP(buf)
			if err != nil {
				return
			}
			heard <- string(buf[:n])
			c.WriteToUDP([]byte(reply), from)
			c.WriteToUDP([]byte(reply), from)
		}()
	}
	got, err := discover(context.Background(), 500*time.Millisecond, to)
	if want := []string{"127.0.0.1:11111", "127.0.0.1:4567"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("%v, %v, want %v", got, err, want)
	}
	if s := <-heard; s != "alpacadiscovery1" {
		t.Errorf("asked %q", s)
	}
}
