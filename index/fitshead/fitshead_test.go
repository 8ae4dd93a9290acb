package fitshead

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
)

// blocks gives the cards, with END behind them, block by block.
func blocks(cards ...string) func() ([]byte, error) {
	s := ""
	for _, c := range append(cards, "END") {
		s += (c + strings.Repeat(" ", CardSize))[:CardSize]
	}
	return cut(s + strings.Repeat(" ", (BlockSize-len(s)%BlockSize)%BlockSize))
}

func cut(s string) func() ([]byte, error) {
	return func() ([]byte, error) {
		if len(s) < BlockSize {
			return nil, io.EOF
		}
		b := []byte(s[:BlockSize])
		s = s[BlockSize:]
		return b, nil
	}
}

// TestValues: the kinds of values of the FITS standard 4.0, section 4.2, and what
// the library alone reads wrongly.
func TestValues(t *testing.T) {
	many := make([]string, 40) // over a block's end
	for i := range many {
		many[i] = fmt.Sprintf("%-8s= %d", fmt.Sprint("KEY", i), i)
	}
	h, err := Read(blocks(append(many, "NAXIS   = 999", "PCOUNT  = 3000000000", "BIG     = 9223372036854775807", "BIGGER  = 9223372036854775808",
		"SMALL   = -2147483648", "TWICE   = 3000000000", "TWICE   = 5", "THRICE  = 5", "THRICE  = 'x'", "THRICE  = 3000000000",
		"REAL    = .5D1 / comment", "TEXT    = 'it''s' / it's", "YES     = T", "NO      = F / no", "ODD     = 12abc", "NUMTEXT = '7.5'", "HISTORY = ", "PLUS    = +7")...))
	if err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]any{
		"KEY39": int64(39), "NAXIS": int64(999), "PCOUNT": int64(3_000_000_000), "BIG": int64(math.MaxInt64), "BIGGER": math.Ldexp(1, 63),
		"SMALL": int64(math.MinInt32), "TWICE": int64(5), "THRICE": int64(3_000_000_000), "REAL": 5.0, "TEXT": "it's", "YES": true, "NO": false,
		"ODD": "12abc", "NUMTEXT": "7.5", "HISTORY": nil, "PLUS": int64(7), "END": nil,
	} {
		if h[key] != want {
			t.Errorf("%s = %v (%T), want %v (%T)", key, h[key], h[key], want, want)
		}
	}
	if v, ok := h.Number("NUMTEXT"); !ok || v != 7.5 {
		t.Errorf("NUMTEXT as a number: %v, %v", v, ok)
	}
	if _, ok := h.Number("ODD"); ok || h.Shown("ODD") != `"12abc"` || h.Shown("GONE") != "missing" || !h.True("YES") || h.True("NO") {
		t.Errorf("ODD %s, GONE %s, YES %v, NO %v", h.Shown("ODD"), h.Shown("GONE"), h.True("YES"), h.True("NO"))
	}
	if v, key, ok := h.Positive("SMALL", "GONE", "PLUS"); !ok || key != "PLUS" || v != 7 {
		t.Errorf("first positive: %v of %s", v, key)
	}
}

func TestHeaderWithoutEnd(t *testing.T) {
	if _, err := Read(cut(strings.Repeat(" ", BlockSize*(MaxBlocks+1)))); !errors.Is(err, ErrDamaged) {
		t.Errorf("a header without END: %v", err)
	}
	if _, err := Read(cut(strings.Repeat(" ", BlockSize*3))); err != io.EOF {
		t.Errorf("a file that ends: %v, want what the reader said", err)
	}
}

func FuzzHeader(f *testing.F) {
	f.Add("SIMPLE  = T")
	f.Add("NAXIS   = 9999999999")
	f.Add("NAXIS   = '2'")
	f.Add("NAXIS   = T")
	f.Add("NAXIS   = 2.0")
	f.Add("X       = 'it''s / ")
	f.Add("X       = (1.5,-2)")
	f.Fuzz(func(t *testing.T, card string) {
		h, err := Read(blocks("SIMPLE  = T", card, card+"/"))
		if err != nil {
			t.Fatalf("%q: %v", card, err)
		}
		for k := range h {
			h.Text(k)
			if v, ok := h.Number(k); ok && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("%q: %s = %v", card, k, v)
			}
		}
	})
}
