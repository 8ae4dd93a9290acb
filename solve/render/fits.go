package render

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"pintle/solve/frame"
)

// Card is one line of a FITS header: a keyword of at most 8 characters, a
// value (string, bool, int or float64) and a comment.
type Card struct {
	Key     string
	Value   any
	Comment string
}

const block = 2880 // bytes, FITS standard 4.0 section 3.1

// WriteFITS writes an 8 or 16 bit picture as a FITS file with one primary
// image, first row first; 16 bit pixels with BZERO 32768 (FITS standard 4.0
// section 5.2.5). The cards follow the mandatory ones; END is added.
func WriteFITS(w io.Writer, im *frame.Image, cards []Card) error {
	bits := 16
	if im.U8 != nil {
		bits = 8
	} else if im.U16 == nil {
		return fmt.Errorf("fits: only 8 and 16 bit pictures can be written")
	}
	head := []Card{
		{"SIMPLE", true, ""},
		{"BITPIX", bits, ""},
		{"NAXIS", 2, ""},
		{"NAXIS1", im.W, ""},
		{"NAXIS2", im.H, ""},
	}
	if bits == 16 {
		head = append(head, Card{"BZERO", 32768, "pixels are unsigned"}, Card{"BSCALE", 1, ""})
	}
	var text strings.Builder
	for _, c := range append(head, cards...) {
		s, err := c.String()
		if err != nil {
			return err
		}
		text.WriteString(s)
	}
	fmt.Fprintf(&text, "%-80s", "END")
	pad(&text, text.Len(), ' ')

	out := bufio.NewWriterSize(w, 1<<16)
	out.WriteString(text.String())
	if bits == 8 {
		out.Write(im.U8)
		pad(out, len(im.U8), 0)
		return out.Flush()
	}
	var b [2]byte
	for _, v := range im.U16 {
		binary.BigEndian.PutUint16(b[:], v^0x8000) // minus 32768, as two's complement
		out.Write(b[:])
	}
	pad(out, 2*len(im.U16), 0)
	return out.Flush()
}

// pad fills up to a whole block.
func pad(w io.ByteWriter, n int, with byte) {
	for ; n%block != 0; n++ {
		w.WriteByte(with)
	}
}

// String returns the card as its 80 characters.
func (c Card) String() (string, error) {
	var v string
	switch x := c.Value.(type) {
	case string:
		v = fmt.Sprintf("'%-8s'", strings.ReplaceAll(x, "'", "''"))
	case bool:
		v = fmt.Sprintf("%20s", map[bool]string{true: "T", false: "F"}[x])
	case int:
		v = fmt.Sprintf("%20d", x)
	case float64:
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return "", fmt.Errorf("fits: card %s has the value %v", c.Key, x)
		}
		v = strconv.FormatFloat(x, 'G', -1, 64)
		if !strings.ContainsAny(v, ".E") {
			v += ".0"
		}
		v = fmt.Sprintf("%20s", v)
	default:
		return "", fmt.Errorf("fits: card %s has a value of type %T", c.Key, c.Value)
	}
	s := fmt.Sprintf("%-8s= %s", c.Key, v)
	if c.Comment != "" {
		s += " / " + c.Comment
	}
	if len(c.Key) > 8 || len(s) > 80 {
		return "", fmt.Errorf("fits: card %q has %d characters, more than 80, or a key of more than 8", s, len(s))
	}
	return fmt.Sprintf("%-80s", s), nil
}
