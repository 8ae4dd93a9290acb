package frame

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/siravan/fits"
)

// cards is a FITS header, keyword to value: string, int, float64, bool or nil.
type cards map[string]any

// str returns a keyword's value as trimmed text; numbers are printed.
func (c cards) str(key string) (string, bool) {
	switch v := c[key].(type) {
	case string:
		v = strings.TrimSpace(v)
		return v, v != ""
	case int:
		return strconv.Itoa(v), true
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64), true
	}
	return "", false
}

// num returns a keyword's value as a finite number, also when it was written
// as a string.
func (c cards) num(key string) (float64, bool) {
	switch v := c[key].(type) {
	case int:
		return float64(v), true
	case float64:
		return v, true
	case string:
		x, err := strconv.ParseFloat(strings.TrimSpace(v), 64)
		return x, err == nil && !math.IsNaN(x) && !math.IsInf(x, 0)
	}
	return 0, false
}

// positive returns the first of the keywords that holds a number above zero.
func (c cards) positive(keys ...string) (float64, string, bool) {
	for _, k := range keys {
		if v, ok := c.num(k); ok && v > 0 {
			return v, k, true
		}
	}
	return 0, "", false
}

// Limits of a FITS header that is read.
const (
	blockSize = 2880
	cardSize  = 80
	maxBlocks = 1024
	maxAxes   = 16
)

// readCards parses the header that starts at off and returns it with the
// offset of the data that follow.
func readCards(s *source, off int64) (cards, int64, error) {
	var head []byte
	for n := 0; ; n++ {
		if n == maxBlocks {
			return nil, 0, fmt.Errorf("FITS header of more than %d blocks without END: %w", maxBlocks, ErrDamaged)
		}
		b, err := s.bytes(off, blockSize, "FITS header")
		if err != nil {
			return nil, 0, err
		}
		off += blockSize
		block, end, err := tidyBlock(b)
		if err != nil {
			return nil, 0, err
		}
		head = append(head, block...)
		if end {
			break
		}
	}
	c, err := parseCards(head)
	return c, off, err
}

// parseCards hands whole, tidied header blocks to the FITS library, which
// prints, panics and trusts when fed anything else.
func parseCards(head []byte) (c cards, err error) {
	defer func() {
		if p := recover(); p != nil {
			c, err = nil, fmt.Errorf("FITS header (%v): %w", p, ErrDamaged)
		}
	}()
	unit, err := fits.NewReader(bytes.NewReader(head)).NewHeader()
	if err != nil {
		return nil, fmt.Errorf("FITS header (%v): %w", err, ErrDamaged)
	}
	return cards(unit.Keys), nil
}

// tidyBlock rewrites a header block into the subset of FITS that the library
// reads rightly, and reports whether it holds the END card.
func tidyBlock(b []byte) (out []byte, end bool, err error) {
	out = bytes.Repeat([]byte{' '}, blockSize)
	for at := 0; at < blockSize; at += cardSize {
		card := b[at : at+cardSize]
		if string(bytes.TrimRight(card, " ")) == "END" {
			copy(out[at:], "END")
			return out, true, nil
		}
		tidy, err := tidyCard(card)
		if err != nil {
			return nil, false, err
		}
		copy(out[at:at+cardSize], tidy)
	}
	return out, false, nil
}

// tidyCard returns a card as the library needs it. It loses strings without a
// comment behind them, clamps integers to 32 bits, reads 1e3 as 0 and skips
// numbers that start with a point. Cards without a value become blank.
func tidyCard(card []byte) (string, error) {
	if string(card[8:10]) != "= " {
		return "", nil
	}
	key := strings.TrimSpace(string(card[:8]))
	value := strings.TrimSpace(string(card[10:]))
	if key == "" || value == "" {
		return "", nil
	}
	switch {
	case value[0] == '\'':
		value = quoted(value)
	case value[0] == 'T' || value[0] == 'F':
		value = value[:1]
	default:
		value = number(value)
	}
	if key == "NAXIS" {
		if n, err := strconv.Atoi(value); err != nil || n < 0 || n > maxAxes {
			return "", fmt.Errorf("NAXIS = %s, expected 0 to %d: %w", value, maxAxes, ErrDamaged)
		}
	}
	if value == "" {
		return "", nil
	}
	return fmt.Sprintf("%-8s= %s", key, value), nil
}

// quoted returns the string literal at the start of v, closed, with the
// separator behind it that the library waits for.
func quoted(v string) string {
	const longest = cardSize - 10 - 3 // room for the closing quote and " /"
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

// number returns the number at the start of v as a 32-bit integer or as a
// float with a point and E, or "" when there is none.
func number(v string) string {
	v, _, _ = strings.Cut(v, "/")
	v = strings.TrimSpace(v)
	if n, err := strconv.ParseInt(v, 10, 32); err == nil {
		return strconv.FormatInt(n, 10)
	}
	v = strings.NewReplacer("D", "E", "d", "E").Replace(v)
	x, err := strconv.ParseFloat(v, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || strings.ContainsAny(v, "xX_") {
		return ""
	}
	return strconv.FormatFloat(x, 'E', -1, 64)
}
