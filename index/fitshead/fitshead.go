// Package fitshead reads the headers of FITS files (standard 4.0, section 4), for
// frames and for catalogues. A FITS library parses the cards; what it would read
// wrongly or trust too much is put right before it sees it.
package fitshead

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/siravan/fits"
)

// Sizes of a FITS file, in bytes, and the longest header that is read, in blocks.
const (
	BlockSize = 2880
	CardSize  = 80
	MaxBlocks = 1024
)

// ErrDamaged is a header that is none, or that has no end.
var ErrDamaged = errors.New("damaged FITS header")

// Header is what a header says, keyword to value: string, int64, float64 or
// bool. A value that is none of these is kept as the text that stands there.
// Keywords without a value are absent; of several cards of a keyword the last
// one counts.
type Header map[string]any

// Read reads a header block by block to the one with the END card. next returns
// the next BlockSize bytes; its errors are returned as they are.
func Read(next func() ([]byte, error)) (Header, error) {
	p := parser{own: Header{}}
	for range MaxBlocks {
		b, err := next()
		if err != nil {
			return nil, err
		}
		if p.block(b) {
			return p.parse()
		}
	}
	return nil, fmt.Errorf("%w: more than %d blocks without END", ErrDamaged, MaxBlocks)
}

// Ends reports whether a block holds the END card.
func Ends(block []byte) bool {
	for at := 0; at+CardSize <= len(block); at += CardSize {
		if isEnd(block[at : at+CardSize]) {
			return true
		}
	}
	return false
}

func isEnd(card []byte) bool { return string(bytes.TrimRight(card, " ")) == "END" }

// parser collects a header for the library.
type parser struct {
	tidy []byte // whole blocks, in the part of FITS that the library reads rightly
	own  Header // the values that are not its business
}

// block takes a block and reports whether it is the last one.
func (p *parser) block(b []byte) (end bool) {
	out := bytes.Repeat([]byte{' '}, BlockSize)
	for at := 0; at+CardSize <= min(len(b), BlockSize) && !end; at += CardSize {
		card := b[at : at+CardSize]
		if end = isEnd(card); end {
			copy(out[at:], "END")
		} else {
			copy(out[at:at+CardSize], p.card(card))
		}
	}
	p.tidy = append(p.tidy, out...)
	return end
}

// card returns a card as the library needs it, blank when it is not to see it. It
// loses strings without a comment behind them, cuts integers to 32 bits, reads
// 1e3 as 0, skips numbers that start with a point, panics where NAXIS promises
// more than there is, and drops what it does not understand.
func (p *parser) card(card []byte) string {
	key := strings.TrimSpace(string(card[:8]))
	if string(card[8:10]) != "= " || key == "" {
		return ""
	}
	delete(p.own, key)
	value := strings.TrimSpace(string(card[10:]))
	if strings.HasPrefix(value, "'") && key != "NAXIS" {
		return layout(key, quoted(value))
	}
	value, _, _ = strings.Cut(value, "/")
	value = strings.TrimSpace(value)
	switch n, err := strconv.ParseInt(value, 10, 64); {
	case value == "":
		return ""
	case (value == "T" || value == "F") && key != "NAXIS":
		return layout(key, value)
	case err == nil && (key == "NAXIS" || n != int64(int32(n))):
		p.own[key] = n
		return ""
	case err == nil:
		return layout(key, strconv.FormatInt(n, 10))
	}
	if x, ok := float(value); ok && key != "NAXIS" {
		return layout(key, strconv.FormatFloat(x, 'E', -1, 64))
	}
	p.own[key] = value
	return ""
}

func layout(key, value string) string { return fmt.Sprintf("%-8s= %s", key, value) }

// quoted returns the string literal at the start of v, closed, with the
// separator behind it that the library waits for.
func quoted(v string) string {
	const longest = CardSize - 10 - 3 // room for the closing quote and " /"
	i := 1
	for i < len(v) {
		if v[i] == '\'' {
			if i+1 < len(v) && v[i+1] == '\'' {
				i += 2
				continue
			}
			break
		}
		i++
	}
	v = strings.TrimRight(v[:min(i, len(v))], " ")
	if len(v) > longest {
		v = v[:longest]
		if strings.Count(v[1:], "'")%2 == 1 { // cut inside a doubled quote
			v = v[:longest-1]
		}
	}
	return v + "' /"
}

// float reads a finite number in the notation of FITS, whose exponent may be
// marked by a D.
func float(s string) (float64, bool) {
	if strings.ContainsAny(s, "xXpP_") {
		return 0, false
	}
	x, err := strconv.ParseFloat(strings.NewReplacer("D", "E", "d", "E").Replace(s), 64)
	return x, err == nil && !math.IsNaN(x) && !math.IsInf(x, 0)
}

// parse hands whole, tidied blocks to the library, which prints, panics and
// trusts when fed anything else.
func (p *parser) parse() (h Header, err error) {
	defer func() {
		if r := recover(); r != nil {
			h, err = nil, fmt.Errorf("%w (%v)", ErrDamaged, r)
		}
	}()
	unit, err := fits.NewReader(bytes.NewReader(p.tidy)).NewHeader()
	if err != nil {
		return nil, fmt.Errorf("%w (%v)", ErrDamaged, err)
	}
	h = Header{}
	for k, v := range unit.Keys {
		switch v := v.(type) {
		case int:
			h[k] = int64(v)
		case string, float64, bool:
			h[k] = v
		}
	}
	for k, v := range p.own {
		h[k] = v
	}
	return h, nil
}

// Text returns a keyword's value as trimmed text, numbers printed; ok is false
// when there is none or it is blank.
func (h Header) Text(key string) (s string, ok bool) {
	switch v := h[key].(type) {
	case string:
		v = strings.TrimSpace(v)
		return v, v != ""
	case int64:
		return strconv.FormatInt(v, 10), true
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64), true
	}
	return "", false
}

// Whole returns a keyword's value as a whole number.
func (h Header) Whole(key string) (int64, bool) {
	n, ok := h[key].(int64)
	return n, ok
}

// Number returns a keyword's value as a finite number, also when it was written
// as a string.
func (h Header) Number(key string) (float64, bool) {
	switch v := h[key].(type) {
	case int64:
		return float64(v), true
	case float64:
		return v, true
	case string:
		return float(strings.TrimSpace(v))
	}
	return 0, false
}

// True reports whether a keyword's value is the logical T.
func (h Header) True(key string) bool {
	v, _ := h[key].(bool)
	return v
}

// Positive returns the first of the keywords that holds a number above zero.
func (h Header) Positive(keys ...string) (v float64, key string, ok bool) {
	for _, k := range keys {
		if v, ok := h.Number(k); ok && v > 0 {
			return v, k, true
		}
	}
	return 0, "", false
}

// Shown is a keyword's value for an error.
func (h Header) Shown(key string) string {
	v, ok := h[key]
	if s, text := v.(string); text {
		return fmt.Sprintf("%.30q", s)
	}
	if !ok {
		return "missing"
	}
	return fmt.Sprint(v)
}
