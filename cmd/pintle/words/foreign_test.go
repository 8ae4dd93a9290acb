package words

import (
	"math/rand/v2"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestForeign(t *testing.T) {
	for _, c := range [][2]string{
		{"plain é 漢字 ±µ 🙂", "plain é 漢字 ±µ 🙂"},
		{"no\u00a0break\u3000", "no\u00a0break\u3000"},
		{"a\x1b[31mred", `a\x1b[31mred`},
		{"a\nb\rc\td", `a\nb\rc\td`},
		{"bell\a del\x7f c1\u009b", `bell\x07 del\x7f c1\u009b`},
		{"left\u202eright\u2066\u200f", `left\u202eright\u2066\u200f`},
		{"line\u2028end\u2029", `line\u2028end\u2029`},
		{"soft\u00adhyphen\ufeff", `soft\u00adhyphen\ufeff`},
		{"tag\U000e0041", `tag\U000e0041`},
		{"bad\xff\xc3", `bad\xff\xc3`},
		{"told \ufffd", "told \ufffd"},
		{"", ""},
	} {
		got := Foreign(c[0])
		if got != c[1] {
			t.Errorf("%q becomes %q, want %q", c[0], got, c[1])
		}
		if again := Foreign(got); again != got {
			t.Errorf("a second time %q becomes %q", got, again)
		}
	}
}

// Texts of all kinds of signs come out plain and no wider than asked for.
func TestForeignOfAnything(t *testing.T) {
	const seed = 20261128
	random := rand.New(rand.NewPCG(seed, 0))
	signs := []string{"a", "é", "漢", "🙂", "e\u0301", "\x1b[2J", "\n", "\a", "\u202e", "\u009b", "\U000e0041", "\xff", "\xe6\xbc", "\ufffd", " "}
	for range 3000 {
		var b strings.Builder
		for range random.IntN(60) {
			b.WriteString(signs[random.IntN(len(signs))])
		}
		s, most := b.String(), 2+random.IntN(40)
		for _, out := range []string{Foreign(s), Short(s, most), Pad(s, most)} {
			if !utf8.ValidString(out) || strings.ContainsFunc(strings.ReplaceAll(out, "\ufffd", ""), steers) {
				t.Fatalf("seed %d: %q becomes %q", seed, s, out)
			}
		}
		if short, padded := Places(Short(s, most)), Places(Pad(s, most)); short > most || padded != most {
			t.Fatalf("seed %d: %q in %d places takes %d, padded %d", seed, s, most, short, padded)
		}
	}
}

func TestShort(t *testing.T) {
	for _, c := range []struct {
		s    string
		most int
		want string
	}{
		{"light_0001.fits", 15, "light_0001.fits"},
		{"light_0001.fits", 9, "ligh…fits"},
		{"漢字漢字漢字", 7, "漢…字"},
		{strings.Repeat("a", 1<<20), 5, "aa…aa"},
		{strings.Repeat("\n", 100), 6, `\n\…\n`},
	} {
		if got := Short(c.s, c.most); got != c.want {
			t.Errorf("%.20q in %d: %q, want %q", c.s, c.most, got, c.want)
		}
	}
}
