package fitshead

import (
	"math"
	"testing"
)

// Forms as section 7.3.1 of the standard has them, with the bytes they take in a row.
func TestForms(t *testing.T) {
	for s, want := range map[string]struct {
		f     Form
		bytes int64
	}{
		"J": {Form{1, 'J', 0}, 4}, "10A": {Form{10, 'A', 0}, 10}, "9X": {Form{9, 'X', 0}, 2}, "0D": {Form{0, 'D', 0}, 0},
		"1PB(200)": {Form{1, 'P', 'B'}, 8}, "QI": {Form{1, 'Q', 'I'}, 16}, "3M": {Form{3, 'M', 0}, 48},
	} {
		if f, ok := ParseForm(s); !ok || f != want.f || f.Bytes() != want.bytes {
			t.Errorf("%s: %+v of %d bytes, %v; want %+v of %d", s, f, f.Bytes(), ok, want.f, want.bytes)
		}
	}
	for _, s := range []string{"", "7", "Z", "3z", "-1J", "99999999999J"} {
		if f, ok := ParseForm(s); ok {
			t.Errorf("%q is read as %+v", s, f)
		}
	}
}

func TestNumber(t *testing.T) {
	b := []byte{0xff, 0xfe, 0, 0, 0, 0, 0, 1}
	for kind, want := range map[byte]int64{'B': 255, 'I': -2, 'J': -131072, 'K': -1<<49 + 1} {
		if x, n, whole := Number(kind, b); n != want || x != float64(want) || !whole {
			t.Errorf("%c: %g, %d, %v; want %d", kind, x, n, whole, want)
		}
	}
	if x, _, whole := Number('D', []byte{0x3f, 0xf8, 0, 0, 0, 0, 0, 0}); x != 1.5 || whole {
		t.Errorf("D: %g, want 1.5", x)
	}
	if x, _, whole := Number('E', []byte{0x3f, 0xc0, 0, 0}); x != 1.5 || whole {
		t.Errorf("E: %g, want 1.5", x)
	}
	if x, _, whole := Number('A', b); !math.IsNaN(x) || whole {
		t.Errorf("A: %g, want none", x)
	}
}
