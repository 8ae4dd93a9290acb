package written

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// kind is what a token of a written angle is.
type kind int

const (
	number  kind = iota
	mark         // °, ' and ", or a word for them
	colon        // between numbers
	sign         // + or -
	compass      // N, S, E or W
)

// level is the place of a number or a mark: degrees or hours, minutes, seconds.
type level int

const (
	degrees level = iota
	minutes
	seconds
)

// token is a piece of a written angle.
type token struct {
	kind   kind
	text   string // as written; of a compass token one capital letter
	level  level  // of a mark
	hour   bool   // the mark says hours
	letter bool   // the mark or compass point is written in letters
	upper  bool   // in capitals
	south  bool   // a lone s or S: south or seconds
	gap    bool   // a space stands before it
}

// word is what a word in an angle means.
type word struct {
	text  string
	level level
	hour  bool
	point byte // compass point, 0 for a mark
}

// words are tried from the longest to the shortest. Plurals of short forms are
// left out on purpose: "31degs" could end with an s for south.
var words = []word{
	{"arcminutes", minutes, false, 0}, {"arcseconds", seconds, false, 0},
	{"arcminute", minutes, false, 0}, {"arcsecond", seconds, false, 0},
	{"degrees", degrees, false, 0}, {"minutes", minutes, false, 0}, {"seconds", seconds, false, 0},
	{"degree", degrees, false, 0}, {"minute", minutes, false, 0}, {"second", seconds, false, 0},
	{"arcmin", minutes, false, 0}, {"arcsec", seconds, false, 0},
	{"hours", degrees, true, 0}, {"north", 0, false, 'N'}, {"south", 0, false, 'S'},
	{"hour", degrees, true, 0}, {"east", 0, false, 'E'}, {"west", 0, false, 'W'},
	{"deg", degrees, false, 0}, {"min", minutes, false, 0}, {"sec", seconds, false, 0},
	{"hr", degrees, true, 0},
	{"d", degrees, false, 0}, {"h", degrees, true, 0}, {"m", minutes, false, 0},
	{"n", 0, false, 'N'}, {"s", 0, false, 'S'}, {"e", 0, false, 'E'}, {"w", 0, false, 'W'},
}

// Signs that people and their programs write for the marks.
const (
	degreeSigns = "°º˚∘"
	minuteSigns = "'′’‘`´ʹʼ"
	secondSigns = "\"″”“„ʺ˝"
	minusSigns  = "-−‐‑‒–﹣"
)

// scan cuts s into tokens; why is not empty when it holds something else.
func scan(s string) (out []token, why string) {
	gap := false
	s = strings.Map(narrow, s)
	for s != "" {
		r, n := utf8.DecodeRuneInString(s)
		t := token{gap: gap}
		gap = false
		switch {
		case unicode.IsSpace(r):
			gap, s = true, s[n:]
			continue
		case r >= '0' && r <= '9' || r == '.' || r == ',':
			n = len(s) - len(strings.TrimLeft(s, "0123456789.,"))
			t.kind, t.text = number, s[:n]
		case r == ':':
			t.kind = colon
		case r == '+':
			t.kind, t.text = sign, "+"
		case strings.ContainsRune(minusSigns, r):
			t.kind, t.text = sign, "-"
		case strings.ContainsRune(degreeSigns, r):
			t.kind, t.level = mark, degrees
		case strings.ContainsRune(minuteSigns, r):
			t.kind, t.level = mark, minutes
			if r, m := utf8.DecodeRuneInString(s[n:]); strings.ContainsRune(minuteSigns, r) && m > 0 {
				t.level, n = seconds, n+m // two of them make one mark of seconds
			}
		case strings.ContainsRune(secondSigns, r):
			t.kind, t.level = mark, seconds
		case unicode.IsLetter(r):
			n = len(s) - len(strings.TrimLeftFunc(s, unicode.IsLetter))
			run, why := scanWords(s[:n], t.gap)
			if why != "" {
				return nil, why
			}
			out, s = append(out, run...), withoutStop(s[n:])
			continue
		default:
			return nil, "is no angle: it holds " + quote(string(r))
		}
		out, s = append(out, t), s[n:]
	}
	return out, ""
}

// narrow returns the sign of ASCII that a full-width one stands for.
func narrow(r rune) rune {
	if r >= '！' && r <= '～' {
		return r - '！' + '!'
	}
	return r
}

// withoutStop takes off the full stop of an abbreviation, as in "31.4 S." and
// "31 deg. 24 min. S"; one before a digit belongs to the number.
func withoutStop(s string) string {
	if rest, ok := strings.CutPrefix(s, "."); ok && (rest == "" || rest[0] < '0' || rest[0] > '9') {
		return rest
	}
	return s
}

// scanWords cuts a run of letters into words: "mS" is minutes and south.
func scanWords(run string, gap bool) (out []token, why string) {
	for rest := run; rest != ""; gap = false {
		w, ok := firstWord(rest)
		if !ok {
			return nil, "is no angle: it holds " + quote(run)
		}
		text := rest[:len(w.text)]
		t := token{kind: mark, text: text, level: w.level, hour: w.hour, letter: true, upper: text == strings.ToUpper(text), gap: gap}
		if w.point != 0 {
			t.kind, t.text, t.south = compass, string(w.point), len(text) == 1 && w.point == 'S'
		}
		plural := w.point == 0 && strings.HasSuffix(w.text, "s") && t.upper != (text[len(text)-1] == 'S')
		if plural || len(out) > 0 && plainPlural(out[len(out)-1], t) {
			return nil, "can be read two ways: the last s of " + quote(run) + " may be a plural or south; put S for south first"
		}
		out, rest = append(out, t), rest[len(text):]
	}
	return out, ""
}

// plainPlural reports whether an s behind a word, in the same case, may be its
// plural: "degs", "MINS", "ss". Behind the single letters d, h and m it cannot.
func plainPlural(word, s token) bool {
	return s.south && s.upper == word.upper && (word.south || word.kind == mark && len(word.text) > 1)
}

func firstWord(s string) (word, bool) {
	for _, w := range words {
		if len(s) >= len(w.text) && strings.EqualFold(s[:len(w.text)], w.text) {
			return w, true
		}
	}
	return word{}, false
}
