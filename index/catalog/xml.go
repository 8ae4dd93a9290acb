package catalog

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"strings"
)

// Limits of an XML file that is read (no source).
const (
	tokenMost = 1 << 20 // bytes of a tag, text or comment
	depthMost = 64      // of elements in one another
)

// xmlReader splits XML into tokens with bounded memory.
type xmlReader struct {
	dec   *xml.Decoder
	src   *xmlBytes
	depth int
}

// xmlBytes hands bytes to the decoder one by one, so that what follows a token
// can be read without it, and ends when a token becomes too long.
type xmlBytes struct {
	in     *bufio.Reader
	token  int  // bytes since the last token
	latin1 bool // what is read is to be turned into UTF-8
	second int  // the second byte of such a character, 0 when there is none
}

func newXMLReader(in *bufio.Reader) *xmlReader {
	src := &xmlBytes{in: in}
	x := &xmlReader{dec: xml.NewDecoder(src), src: src}
	x.dec.CharsetReader = func(label string, _ io.Reader) (io.Reader, error) {
		switch strings.ToLower(label) {
		case "us-ascii", "ascii":
		case "iso-8859-1", "latin1":
			src.latin1 = true
		default:
			return nil, fmt.Errorf("encoding %.30q, want UTF-8 or ISO-8859-1", label)
		}
		return src, nil
	}
	return x
}

// ReadByte is for the decoder.
func (s *xmlBytes) ReadByte() (byte, error) {
	if s.second != 0 {
		b := byte(s.second)
		s.second = 0
		return b, nil
	}
	if s.token++; s.token > tokenMost {
		return 0, fmt.Errorf("a tag or text of more than %d bytes", tokenMost)
	}
	b, err := s.in.ReadByte()
	if s.latin1 && b >= 0x80 {
		s.second = int(b&0x3f | 0x80)
		b = b>>6 | 0xc0
	}
	return b, err
}

// Read is never called; the decoder asks for it.
func (s *xmlBytes) Read([]byte) (int, error) { return 0, io.ErrUnexpectedEOF }

// next returns the next token, valid until the one after it; io.EOF where the
// outermost element has ended and the file ends.
func (x *xmlReader) next() (xml.Token, error) {
	x.src.token = 0
	t, err := x.dec.RawToken()
	if err == io.EOF && x.depth > 0 {
		err = io.ErrUnexpectedEOF
	}
	if err == io.EOF {
		return nil, err
	}
	if err != nil {
		return nil, x.wrong(err)
	}
	switch t.(type) {
	case xml.StartElement:
		if x.depth++; x.depth > depthMost {
			return nil, x.wrong(fmt.Errorf("elements within one another more than %d deep", depthMost))
		}
	case xml.EndElement:
		if x.depth--; x.depth < 0 {
			return nil, x.wrong(fmt.Errorf("an element ends that has not begun"))
		}
	}
	return t, nil
}

// wrong says where reading ended.
func (x *xmlReader) wrong(err error) error {
	line, _ := x.dec.InputPos()
	if s, ok := err.(*xml.SyntaxError); ok {
		if s.Msg == "unexpected EOF" {
			err = io.ErrUnexpectedEOF
		} else {
			err = fmt.Errorf("%s", s.Msg)
		}
	}
	if err == io.ErrUnexpectedEOF {
		return fmt.Errorf("VOTable ends early, in line %d; copy the file again", line)
	}
	return fmt.Errorf("VOTable, line %d: %w", line, err)
}

// attr returns an attribute of an element, "" when it is not there.
func attr(e *xml.StartElement, name string) string {
	for i := range e.Attr {
		if e.Attr[i].Name.Local == name {
			return strings.TrimSpace(e.Attr[i].Value)
		}
	}
	return ""
}

// base64Text reads the text at the decoder's place up to the next tag, without
// white space.
type base64Text struct{ in *bufio.Reader }

func (b base64Text) Read(p []byte) (n int, err error) {
	for n < len(p) {
		c, err := b.in.ReadByte()
		switch {
		case err == io.EOF:
			return n, io.ErrUnexpectedEOF
		case err != nil:
			return n, err
		case c == '<':
			if err := b.in.UnreadByte(); err != nil {
				return n, err
			}
			if n == 0 {
				return 0, io.EOF
			}
			return n, nil
		case c == ' ' || c == '\t' || c == '\r' || c == '\n':
		default:
			p[n] = c
			n++
		}
	}
	return n, nil
}
