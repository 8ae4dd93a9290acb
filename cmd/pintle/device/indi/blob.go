package indi

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"strconv"
)

// readBlob decodes base64 up to the next "<", which stays unread. Bad data is
// told to done and skipped; only a broken stream is an error.
func (r *reader) readBlob(vector, element attrs) error {
	w := &blobWriter{limit: maxBlob}
	if n, err := strconv.ParseInt(element.get("size"), 10, 64); err == nil && n >= 0 {
		w.limit, w.stated = n, true
	}
	if w.limit > maxBlob {
		w.err = fmt.Errorf("a file of %d bytes is above the limit of %d", w.limit, maxBlob)
	} else if r.blob != nil {
		w.to = r.blob(vector, element)
	}
	err := r.decode(w)
	if err == nil && w.err == nil && w.stated && w.n != w.limit {
		w.err = fmt.Errorf("%d of %d bytes of the file came", w.n, w.limit)
	}
	if r.done != nil {
		e := w.err
		if err != nil {
			e = unexpected(err)
		}
		r.done(vector, element, w.n, e)
	}
	return err
}

func (r *reader) decode(w *blobWriter) error {
	r.pending = r.pending[:0]
	for {
		if _, err := r.in.Peek(1); err != nil {
			return err
		}
		b, _ := r.in.Peek(r.in.Buffered())
		end := bytes.IndexByte(b, '<')
		if end >= 0 {
			b = b[:end]
		}
		if w.err == nil && w.to != nil {
			r.pending = squeeze(r.pending, b)
			r.quads(w, end >= 0)
		} else if w.to == nil && w.err == nil {
			w.stated = false // nobody counts
		}
		r.in.Discard(len(b))
		if end >= 0 {
			return nil
		}
	}
}

// quads decodes the whole groups of four in pending; the rest waits, or is
// decoded as it is at the end.
func (r *reader) quads(w *blobWriter, end bool) {
	whole := len(r.pending) / 4 * 4
	code := base64.StdEncoding
	if end && whole != len(r.pending) {
		whole, code = len(r.pending), base64.RawStdEncoding
	}
	if need := code.DecodedLen(whole); cap(r.decoded) < need {
		r.decoded = make([]byte, need)
	}
	n, err := code.Decode(r.decoded[:cap(r.decoded)], r.pending[:whole])
	if err != nil {
		w.err = fmt.Errorf("the file is garbled: %w", err)
		return
	}
	w.write(r.decoded[:n])
	r.pending = append(r.pending[:0], r.pending[whole:]...)
}

// squeeze appends src without line ends and the blanks beside them.
func squeeze(dst, src []byte) []byte {
	for len(src) > 0 {
		line := src
		if i := bytes.IndexByte(src, '\n'); i >= 0 {
			line, src = src[:i], src[i+1:]
		} else {
			src = nil
		}
		dst = append(dst, bytes.Trim(line, " \t\r")...)
	}
	return dst
}

// blobWriter counts, keeps the first error and drops everything after it.
type blobWriter struct {
	to     io.Writer
	n      int64
	limit  int64
	stated bool
	err    error
}

func (w *blobWriter) write(b []byte) {
	if w.err != nil || len(b) == 0 {
		return
	}
	if w.n+int64(len(b)) > w.limit {
		w.err = fmt.Errorf("more than the %d bytes that the file was to have", w.limit)
		return
	}
	n, err := w.to.Write(b)
	w.n += int64(n)
	w.err = err
}
