package frame

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// maxStars is the longest star list that is read (no source).
const maxStars = 1_000_000

// maxLine is the longest line of a star list, bytes (no source, chosen on
// 2026-11-28: some thousand columns).
const maxLine = 64 << 10

// farthest is the largest coordinate, in pixels, of a star in a list (no source).
const farthest = 1_000_000

// starListLike reports whether a file's start is lines of plain text with a
// comma or a comment among them.
func starListLike(head []byte) bool {
	head = bytes.TrimPrefix(head, []byte("\xef\xbb\xbf"))
	for _, b := range head {
		if b < ' ' && b != '\t' && b != '\n' && b != '\r' {
			return false
		}
	}
	line, _, _ := bytes.Cut(head, []byte("\n"))
	return bytes.HasPrefix(head, []byte("#")) || bytes.IndexByte(line, ',') >= 0
}

// readStarList reads a frame that was detected elsewhere: comma-separated
// values with a header line that names x, y and flux in any order; other
// columns are ignored. Lines that start with # are comments; those of the form
// "# width=1280, height=960" give the size of the picture, and may hold FITS
// keywords for time, site and optics in the same way. Pixel (0, 0) is the
// centre of the first pixel of the first row.
func readStarList(f *file, fr *Frame) (facts, error) {
	fr.Format = "star list"
	l := &starList{cards: cards{}, in: bufio.NewReader(f.section(0, f.size))}
	if err := l.read(); err != nil {
		return facts{}, err
	}
	fr.Stars = l.stars
	return facts{cards: l.cards}, l.size(fr)
}

type starList struct {
	in    *bufio.Reader
	cards cards
	stars []Star
	col   [3]int // of x, y and flux
	names [3]string
}

func (l *starList) read() error {
	in := &commentFilter{in: l.in, comment: l.comment}
	lines := csv.NewReader(in)
	lines.FieldsPerRecord = -1
	lines.TrimLeadingSpace = true
	lines.ReuseRecord = true
	header, err := lines.Read()
	if errors.Is(err, ErrDamaged) {
		return err
	}
	if err != nil {
		return fmt.Errorf("text file without a line of column names (x,y,flux): %w", ErrFormat)
	}
	if err := l.header(header); err != nil {
		return err
	}
	for {
		in.since = 0
		row, err := lines.Read()
		if err == io.EOF {
			break
		}
		var syntax *csv.ParseError
		if errors.As(err, &syntax) {
			return fmt.Errorf("star list line %d (%v): %w", syntax.Line, syntax.Err, ErrDamaged)
		}
		if err != nil {
			return err
		}
		line, _ := lines.FieldPos(0)
		if len(l.stars) == maxStars {
			return fmt.Errorf("star list of more than %d stars: %w", maxStars, ErrTooLarge)
		}
		s, err := l.star(row)
		if err != nil {
			return fmt.Errorf("star list line %d: %w", line, err)
		}
		l.stars = append(l.stars, s)
	}
	if len(l.stars) == 0 {
		return fmt.Errorf("star list without a star: %w", ErrDamaged)
	}
	return nil
}

// header finds the columns.
func (l *starList) header(row []string) error {
	l.names = [3]string{"x", "y", "flux"}
	for k, name := range l.names {
		l.col[k] = -1
		for i, h := range row {
			if strings.EqualFold(strings.Trim(h, " \t\ufeff"), name) {
				l.col[k] = i
				break
			}
		}
		if l.col[k] < 0 {
			return fmt.Errorf("text file whose first line %.60q does not name the column %s: %w; a star list has x, y and flux", strings.Join(row, ","), name, ErrFormat)
		}
	}
	return nil
}

func (l *starList) star(row []string) (Star, error) {
	var v [3]float64
	for k, c := range l.col {
		if c >= len(row) {
			return Star{}, fmt.Errorf("no %s in %d columns: %w", l.names[k], len(row), ErrDamaged)
		}
		x, err := strconv.ParseFloat(strings.TrimSpace(row[c]), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return Star{}, fmt.Errorf("%s is %.40q, expected a number: %w", l.names[k], row[c], ErrDamaged)
		}
		v[k] = x
	}
	if math.Abs(v[0]) > farthest || math.Abs(v[1]) > farthest {
		return Star{}, fmt.Errorf("place %g, %g is beyond %d pixels: %w", v[0], v[1], farthest, ErrDamaged)
	}
	return Star{v[0], v[1], v[2]}, nil
}

// comment keeps "key=value" pairs.
func (l *starList) comment(line string) {
	for _, pair := range strings.FieldsFunc(line, func(r rune) bool { return r == ',' || r == ';' }) {
		k, v, ok := strings.Cut(pair, "=")
		k = strings.ToUpper(strings.Trim(k, "# \t"))
		if ok && k != "" && len(l.cards) < 100 {
			l.cards[k] = strings.Trim(v, " '\"\t\r")
		}
	}
}

// size sets the picture's size: as stated, else as the stars need it.
func (l *starList) size(fr *Frame) error {
	im := &fr.Image
	right, low, left, top := math.Inf(-1), math.Inf(-1), math.Inf(1), math.Inf(1)
	for _, s := range l.stars {
		right, low = max(right, s.X), max(low, s.Y)
		left, top = min(left, s.X), min(top, s.Y)
	}
	w, ok1 := l.cards.Number("WIDTH")
	h, ok2 := l.cards.Number("HEIGHT")
	if !ok1 || !ok2 {
		im.W, im.H = max(1, int(math.Round(right))+1), max(1, int(math.Round(low))+1)
		fr.note(fmt.Sprintf("the star list does not state width and height: %d x %d is taken from its stars", im.W, im.H))
		return nil
	}
	if w != math.Trunc(w) || h != math.Trunc(h) || w < 1 || h < 1 || w > farthest || h > farthest {
		return fmt.Errorf("star list of width %g and height %g, expected 1 to %d: %w", w, h, farthest, ErrDamaged)
	}
	im.W, im.H = int(w), int(h)
	if left < -1 || top < -1 || right > w || low > h {
		return fmt.Errorf("stars from %.5g, %.5g to %.5g, %.5g lie outside the stated %g x %g pixels: %w", left, top, right, low, w, h, ErrDamaged)
	}
	return nil
}

// commentFilter passes on lines that are not comments, which it hands over.
// Comments become empty lines, so that line numbers stay right.
type commentFilter struct {
	in      *bufio.Reader
	comment func(line string)
	rest    []byte
	partial bool // the last read did not end a line
	since   int  // bytes passed on since a line was taken from here
}

func (c *commentFilter) Read(p []byte) (int, error) {
	for len(c.rest) == 0 {
		line, err := c.in.ReadSlice('\n')
		if err != nil && err != bufio.ErrBufferFull && len(line) == 0 {
			return 0, err
		}
		if !c.partial && bytes.HasPrefix(bytes.TrimPrefix(line, []byte("\xef\xbb\xbf")), []byte("#")) {
			c.comment(string(bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))))
			for err == bufio.ErrBufferFull {
				_, err = c.in.ReadSlice('\n')
			}
			line = []byte("\n")
			err = nil
		}
		c.partial = err == bufio.ErrBufferFull
		c.rest = line
	}
	if len(c.rest) > 1 { // an empty line is none
		if c.since += len(c.rest); c.since > maxLine+c.in.Size() { // read ahead
			return 0, fmt.Errorf("a line of more than %d bytes in a star list: %w", maxLine, ErrDamaged)
		}
	}
	n := copy(p, c.rest)
	c.rest = c.rest[n:]
	return n, nil
}
