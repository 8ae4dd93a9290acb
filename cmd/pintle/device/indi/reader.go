package indi

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"html"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// What comes from the network is hostile input. Limits of what is taken in;
// no source, chosen far above what drivers send.
const (
	maxTag   = 16 << 10 // bytes of a tag with its attributes
	maxAttrs = 32
	maxText  = 64 << 10 // bytes of text in an element that is no BLOB
	maxItems = 4096     // elements in a vector
	maxBlob  = 1 << 30  // bytes of a BLOB
	maxGap   = 1 << 20  // bytes between messages
)

// message is one element of the top level with its children.
type message struct {
	tag   string
	attr  attrs
	text  string
	items []item
}

// item is a child of a message. The content of a BLOB is not kept.
type item struct {
	tag  string
	attr attrs
	text string
}

// attrs are the attributes of a tag, in order.
type attrs []struct{ name, value string }

func (a attrs) get(name string) string {
	for _, x := range a {
		if x.name == name {
			return x.value
		}
	}
	return ""
}

// reader takes a stream of INDI elements apart. It is no XML parser: INDI has
// two levels of elements, attributes and text, and nothing else. BLOBs are
// decoded as they come in and go to what blob returns; a nil writer drops them.
// What blob's writer refuses is dropped too, so that the stream stays drained;
// done tells how a BLOB ended.
type reader struct {
	in   *bufio.Reader
	blob func(vector, element attrs) io.Writer
	done func(vector, element attrs, n int64, err error)

	pending, decoded []byte
}

func newReader(r io.Reader) *reader { return &reader{in: bufio.NewReaderSize(r, 64<<10)} }

var errMarkup = errors.New("not INDI")

// next returns the next message. After an error the stream is of no more use.
func (r *reader) next() (*message, error) {
	t, err := r.open(maxGap)
	if err != nil {
		return nil, err
	}
	if t.closing {
		return nil, fmt.Errorf("%w: </%s> without its beginning", errMarkup, t.name)
	}
	m := &message{tag: t.name, attr: t.attr}
	if t.empty {
		return m, nil
	}
	for {
		text, t, err := r.textThenTag()
		if err != nil {
			return nil, unexpected(err)
		}
		m.text += text
		switch {
		case len(m.text) > maxText:
			return nil, fmt.Errorf("%w: more than %d bytes of text in <%s>", errMarkup, maxText, m.tag)
		case t.closing && t.name == m.tag:
			return m, nil
		case t.closing:
			return nil, fmt.Errorf("%w: </%s> ends <%s>", errMarkup, t.name, m.tag)
		case len(m.items) >= maxItems:
			return nil, fmt.Errorf("%w: more than %d elements in <%s>", errMarkup, maxItems, m.tag)
		}
		it, err := r.item(m, t)
		if err != nil {
			return nil, unexpected(err)
		}
		m.items = append(m.items, it)
	}
}

// unexpected makes the end of the stream within a message an error.
func unexpected(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// item reads a child up to its end.
func (r *reader) item(m *message, t tag) (item, error) {
	it := item{tag: t.name, attr: t.attr}
	if t.empty {
		return it, nil
	}
	if t.name == "oneBLOB" {
		if err := r.readBlob(m.attr, t.attr); err != nil {
			return it, err
		}
	}
	text, end, err := r.textThenTag()
	if err != nil {
		return it, err
	}
	if !end.closing || end.name != t.name {
		return it, fmt.Errorf("%w: <%s> within <%s>", errMarkup, end.name, t.name)
	}
	it.text = text
	return it, nil
}

// tag is what stands between < and >.
type tag struct {
	name           string
	attr           attrs
	closing, empty bool
}

// open skips to the next tag that is an element; skip bounds the bytes before.
func (r *reader) open(skip int) (tag, error) {
	for n := 0; n < skip; {
		b, err := r.in.ReadSlice('<')
		n += len(b)
		if err == bufio.ErrBufferFull {
			continue
		}
		if err != nil {
			return tag{}, err
		}
		t, ok, err := r.tag()
		if err != nil || ok {
			return t, err
		}
	}
	return tag{}, fmt.Errorf("%w: no element in %d bytes", errMarkup, skip)
}

// textThenTag reads text and the tag behind it; comments are dropped.
func (r *reader) textThenTag() (string, tag, error) {
	var text []byte
	for {
		b, err := r.in.ReadSlice('<')
		if len(text)+len(b) > maxText {
			return "", tag{}, fmt.Errorf("%w: more than %d bytes of text", errMarkup, maxText)
		}
		text = append(text, b...)
		if err == bufio.ErrBufferFull {
			continue
		}
		if err != nil {
			return "", tag{}, err
		}
		text = text[:len(text)-1]
		t, ok, err := r.tag()
		if err != nil || ok {
			return plain(bytes.TrimSpace(text)), t, err
		}
	}
}

// tag reads what follows a "<"; ok is false for comments and declarations.
func (r *reader) tag() (t tag, ok bool, err error) {
	var b []byte
	quote := byte(0)
	for {
		c, err := r.in.ReadByte()
		if err != nil {
			return t, false, unexpected(err)
		}
		switch {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			if len(b) > 0 && b[0] != '!' {
				quote = c
			}
		}
		if c == '>' && quote == 0 {
			if bytes.HasPrefix(b, []byte("!--")) && (len(b) < 5 || !bytes.HasSuffix(b, []byte("--"))) {
				b = append(b, c)
				continue
			}
			break
		}
		if b = append(b, c); len(b) > maxTag {
			return t, false, fmt.Errorf("%w: a tag of more than %d bytes", errMarkup, maxTag)
		}
	}
	if len(b) > 0 && (b[0] == '?' || b[0] == '!') {
		return t, false, nil
	}
	t, err = parseTag(b)
	return t, err == nil, err
}

// parseTag takes a tag apart.
func parseTag(b []byte) (t tag, err error) {
	if len(b) > 0 && b[0] == '/' {
		t.closing, b = true, b[1:]
	} else if len(b) > 0 && b[len(b)-1] == '/' {
		t.empty, b = true, b[:len(b)-1]
	}
	t.name, b = word(b)
	if t.name == "" {
		return t, fmt.Errorf("%w: a tag without a name", errMarkup)
	}
	for {
		b = bytes.TrimSpace(b)
		if len(b) == 0 {
			return t, nil
		}
		var name string
		name, b = word(b)
		b = bytes.TrimSpace(b)
		if name == "" || len(b) < 3 || b[0] != '=' {
			return t, fmt.Errorf("%w: bad attributes of <%s>", errMarkup, t.name)
		}
		b = bytes.TrimSpace(b[1:])
		if len(b) < 2 || b[0] != '"' && b[0] != '\'' {
			return t, fmt.Errorf("%w: attribute %s of <%s> without quotes", errMarkup, name, t.name)
		}
		end := bytes.IndexByte(b[1:], b[0])
		if end < 0 || len(t.attr) >= maxAttrs {
			return t, fmt.Errorf("%w: bad or too many attributes of <%s>", errMarkup, t.name)
		}
		t.attr = append(t.attr, struct{ name, value string }{name, plain(b[1 : 1+end])})
		b = b[end+2:]
	}
}

// word splits a name off the front.
func word(b []byte) (string, []byte) {
	i := 0
	for i < len(b) && (b[i] >= 'a' && b[i] <= 'z' || b[i] >= 'A' && b[i] <= 'Z' || b[i] >= '0' && b[i] <= '9' || strings.IndexByte("_-.:", b[i]) >= 0) {
		i++
	}
	return string(b[:i]), b[i:]
}

// plain returns text with its entities resolved and without anything that would
// act on a terminal.
func plain(b []byte) string {
	s := string(b)
	if strings.IndexByte(s, '&') >= 0 {
		s = html.UnescapeString(s) // knows more names than XML: no harm
	}
	for i := range len(s) {
		if s[i] < ' ' || s[i] >= 0x7f {
			return strings.Map(printable, s)
		}
	}
	return s
}

func printable(c rune) rune {
	switch {
	case c == '\n' || c == '\t' || c == '\r':
		return ' '
	case c == utf8.RuneError || !unicode.IsPrint(c):
		return '?'
	}
	return c
}
