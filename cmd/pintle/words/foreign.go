package words

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Foreign makes text that is not ours fit to be shown: names of files, values
// from files, notes, and errors that hold any of them. What would steer a
// terminal, forge a line or turn the direction of reading (control characters,
// bidirectional and invisible signs, bytes that are no UTF-8) is shown escaped.
// Every face lets such text in by this door alone.
func Foreign(s string) string {
	if !strings.ContainsFunc(s, steers) {
		return s // valid: a bad byte reads as utf8.RuneError, which steers
	}
	var b strings.Builder
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[0])
		case steers(r) && r != utf8.RuneError:
			b.WriteString(escape(r))
		default:
			b.WriteString(s[:n])
		}
		s = s[n:]
	}
	return b.String()
}

// steers is true for a sign that is not shown as itself.
func steers(r rune) bool {
	return r == utf8.RuneError || !unicode.IsPrint(r) && !unicode.Is(unicode.Zs, r)
}

// Plain is true for a sign that is shown as itself.
func Plain(r rune) bool { return !steers(r) }

// escape writes a sign that is not shown as itself.
func escape(r rune) string {
	switch {
	case r == '\n':
		return `\n`
	case r == '\t':
		return `\t`
	case r == '\r':
		return `\r`
	case r < 0x80:
		return fmt.Sprintf(`\x%02x`, r)
	case r < 0x10000:
		return fmt.Sprintf(`\u%04x`, r)
	}
	return fmt.Sprintf(`\U%08x`, r)
}

// Short is Foreign, cut in the middle so that it takes no more than most places
// (signs of East Asian width take two).
func Short(s string, most int) string {
	if len(s) > 8*most { // a value of megabytes is not looked through
		s = s[:4*most] + s[len(s)-4*most:]
	}
	s = Foreign(s)
	if Places(s) <= most {
		return s
	}
	r := []rune(s)
	from, to, head, tail := 0, len(r), 0, 0
	for head += cells(r[from]); head <= most/2; head += cells(r[from]) {
		from++
	}
	for tail += cells(r[to-1]); tail <= (most-1)/2; tail += cells(r[to-1]) {
		to--
	}
	return string(r[:from]) + "…" + string(r[to:])
}

// Places is how many places of a terminal a text takes that is fit to be shown.
func Places(s string) (n int) {
	for _, r := range s {
		n += cells(r)
	}
	return n
}

// cells is how many places one sign takes.
func cells(r rune) int {
	switch {
	case unicode.Is(unicode.Mn, r) || unicode.Is(unicode.Me, r):
		return 0
	case wide(r):
		return 2
	}
	return 1
}

// wide is true for the signs that terminals draw two places wide: the blocks
// that Unicode's East Asian Width (UAX 11) calls wide, roughly, and emoji.
func wide(r rune) bool {
	return r >= 0x1100 && (r <= 0x115f || r >= 0x2e80 && r <= 0xa4cf || r >= 0xac00 && r <= 0xd7a3 ||
		r >= 0xf900 && r <= 0xfaff || r >= 0xfe30 && r <= 0xfe6f || r >= 0xff00 && r <= 0xff60 ||
		r >= 0xffe0 && r <= 0xffe6 || r >= 0x1f300 && r <= 0x1faff || r >= 0x20000 && r <= 0x3fffd)
}

// Pad is Short, filled with spaces to the right to exactly most places.
func Pad(s string, most int) string {
	s = Short(s, most)
	return s + strings.Repeat(" ", max(0, most-Places(s)))
}
