package terminal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"unicode/utf16"

	"pintle/cmd/pintle/words"
)

// JSON prints one object on one line. Signs that would steer a terminal are
// written by their numbers (RFC 8259, section 7).
func (t *Terminal) JSON(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	_, err = t.Out.Write(append(numbered(b), '\n'))
	return err
}

func numbered(b []byte) []byte {
	var out bytes.Buffer
	for _, r := range string(b) { // valid UTF-8: Marshal sees to it
		switch {
		case words.Plain(r):
			out.WriteRune(r)
		case r < 0x10000:
			fmt.Fprintf(&out, `\u%04x`, r)
		default:
			hi, lo := utf16.EncodeRune(r)
			fmt.Fprintf(&out, `\u%04x\u%04x`, hi, lo)
		}
	}
	return out.Bytes()
}

// ref makes a value that may be absent.
func ref[T any](v T) *T { return &v }
