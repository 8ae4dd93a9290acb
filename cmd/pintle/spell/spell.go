// Package spell finds what a mistyped word was meant to be.
package spell

import "strings"

// Edits counts the letters (bytes) to insert, delete or change to make b of a:
// Levenshtein's distance, row by row.
func Edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}

// Nearest returns the word of list most like s, without regard to capitals,
// or "" when none is like it in at least half its letters. Where one word is
// the beginning of the other that counts as half a slip.
func Nearest(s string, list []string) string {
	s = strings.ToLower(s)
	best, word := 2+2*(len(s)/2), ""
	for _, w := range list {
		l := strings.ToLower(w)
		d := 2 * Edits(s, l)
		if d > 0 && len(s) >= 3 && len(l) >= 3 && (strings.HasPrefix(l, s) || strings.HasPrefix(s, l)) {
			d = 1
		}
		if d < best {
			best, word = d, w
		}
	}
	return word
}
