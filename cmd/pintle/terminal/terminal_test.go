package terminal

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"pintle/cmd/pintle/advice"
)

func none(string) string { return "" }

// Whatever is written, and however it is cut into writes, no control character
// comes out but the end of a line, a tab, and with colour our own signs.
func TestNothingRawPasses(t *testing.T) {
	const raw = "a\x1b[2J\x1b[1mbold\x1b[0m\x1b]0;t\a \u202e\u009b é漢 \xff\xc3"
	for _, colour := range []bool{false, true} {
		for cut := 1; cut <= len(raw); cut++ {
			var b bytes.Buffer
			o := &outlet{w: &b, colour: colour}
			for rest := []byte(raw); len(rest) > 0; {
				n := min(cut, len(rest))
				if k, err := o.Write(rest[:n]); k != n || err != nil {
					t.Fatal(k, err)
				}
				rest = rest[n:]
			}
			if err := o.flush(); err != nil {
				t.Fatal(err)
			}
			out := b.String()
			if colour && cut == len(raw) && !strings.Contains(out, "\x1b[1mbold\x1b[0m") {
				t.Errorf("our own signs are gone: %q", out)
			}
			if colour {
				out = strings.NewReplacer("\x1b[1m", "", "\x1b[0m", "").Replace(out)
			}
			if strings.ContainsAny(out, "\x1b\a\u202e\u009b") || !strings.Contains(out, "é漢") || !strings.Contains(out, `\xff\xc3`) {
				t.Errorf("colour %v, cut %d: %q", colour, cut, out)
			}
		}
	}
}

// Text within a line cannot end it.
func TestNoForgedLines(t *testing.T) {
	var out, errs bytes.Buffer
	term := New(&out, &errs, none)
	term.line("frame %s: %v, %s", "a\nforged", errors.New("b\nforged"), term.Bold("c\nforged"))
	term.Fail(advice.With(errors.New("bad\nforged"), "this\nforged"))
	for _, s := range []string{out.String(), errs.String()} {
		if strings.Contains(s, "\nforged") {
			t.Errorf("%q", s)
		}
	}
}

// A JSON text means the same with its signs written by their numbers.
func TestJSONKeepsItsMeaning(t *testing.T) {
	const s = "a\x7f\u202e\u009b\U000e0041 é漢🙂\n"
	var out bytes.Buffer
	if err := New(&out, &out, none).JSON([]string{s}); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(out.String(), "\x7f\u202e\u009b\U000e0041") || strings.Count(out.String(), "\n") != 1 {
		t.Errorf("%q", out.String())
	}
	var back []string
	if err := json.Unmarshal(out.Bytes(), &back); err != nil || back[0] != s {
		t.Errorf("%v: %q, want %q", err, back, s)
	}
}

type full struct{ room int }

var errFull = errors.New("no space left")

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, errFull
	}
	return len(p), nil
}

// The first error of writing is kept, whoever looked at what he wrote.
func TestLostIsKept(t *testing.T) {
	term := New(&full{room: 10}, &bytes.Buffer{}, none)
	term.line("short")
	if err := term.Lost(); err != nil {
		t.Error(err)
	}
	term.line("longer than the room")
	term.line("x")
	if err := term.Lost(); !errors.Is(err, errFull) || advice.Of(err) == "" {
		t.Errorf("%v, try: %s", err, advice.Of(err))
	}
}
