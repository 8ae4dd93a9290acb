package shoot

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"
)

const (
	cardLen   = 80
	blockLen  = 2880
	maxHeader = 64 * blockLen
)

// clockWriter passes a file on and sets the time in the header of a FITS file
// right when it is missing or too far from ours. It holds nothing but that
// header. Other files pass as they are.
type clockWriter struct {
	to     io.Writer
	start  time.Time
	head   []byte
	passed bool // the header is through, or there is none

	apart     time.Duration
	corrected bool
}

func newClockWriter(to io.Writer, start time.Time) *clockWriter {
	return &clockWriter{to: to, start: start}
}

func (c *clockWriter) Write(b []byte) (int, error) {
	if c.passed {
		return c.to.Write(b)
	}
	c.head = append(c.head, b...)
	switch end := headerEnd(c.head); {
	case end > 0:
		c.head = c.correct(c.head, end)
		return len(b), c.flush()
	case len(c.head) > maxHeader || !maybeFITS(c.head):
		return len(b), c.flush()
	}
	return len(b), nil
}

// flush writes what is held.
func (c *clockWriter) flush() error {
	c.passed = true
	if len(c.head) == 0 {
		return nil
	}
	_, err := c.to.Write(c.head)
	c.head = nil
	return err
}

func maybeFITS(b []byte) bool {
	const magic = "SIMPLE  ="
	n := min(len(b), len(magic))
	return string(b[:n]) == magic[:n]
}

// headerEnd returns the length of the whole first header, 0 when it is not
// complete or this is no FITS file.
func headerEnd(b []byte) int {
	if !maybeFITS(b) {
		return 0
	}
	for at := 0; at+cardLen <= len(b); at += cardLen {
		if string(b[at:at+8]) == "END     " {
			n := (at + cardLen + blockLen - 1) / blockLen * blockLen
			if n > len(b) {
				return 0
			}
			return n
		}
	}
	return 0
}

// correct returns the file's beginning with the time set right if need be. Only
// the start of the exposure is kept then: other times of the camera's clock
// become comments.
func (c *clockWriter) correct(b []byte, end int) []byte {
	var cards [][]byte
	written := time.Time{}
	for at := 0; at < end; at += cardLen {
		card := b[at : at+cardLen]
		if key(card) == "END" {
			break
		}
		if key(card) == "DATE-OBS" {
			written = cardTime(card)
		}
		cards = append(cards, card)
	}
	if !written.IsZero() {
		c.apart = written.Sub(c.start)
		if c.apart.Abs() <= clockApart {
			return b
		}
	}
	c.corrected = true
	return append(header(cards, c.start), b[end:]...)
}

// header writes cards with the time of start.
func header(cards [][]byte, start time.Time) []byte {
	var out bytes.Buffer
	put := func(s string) { fmt.Fprintf(&out, "%-80.80s", s) }
	for _, card := range cards {
		switch key(card) {
		case "DATE-OBS", "DATE-BEG", "DATE-AVG", "DATE-END", "TIME-OBS", "UT", "UTC", "MJD-OBS", "MJD-BEG", "MJD-AVG", "MJD-END", "TIMESYS":
			put("COMMENT by the camera's clock: " + string(bytes.TrimSpace(card)))
		default:
			out.Write(card)
		}
	}
	put(fmt.Sprintf("DATE-OBS= '%s' / UTC, start, computer's clock", start.UTC().Format("2006-01-02T15:04:05.000")))
	put("END")
	for out.Len()%blockLen != 0 {
		out.WriteByte(' ')
	}
	return out.Bytes()
}

func key(card []byte) string { return strings.TrimRight(string(card[:8]), " ") }

// cardTime returns the time that a card holds, or the zero time.
func cardTime(card []byte) time.Time {
	parts := strings.SplitN(string(card), "'", 3)
	if len(parts) < 3 {
		return time.Time{}
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04:05Z07:00"} {
		if t, err := time.Parse(layout, strings.TrimSpace(parts[1])); err == nil {
			return t
		}
	}
	return time.Time{}
}
