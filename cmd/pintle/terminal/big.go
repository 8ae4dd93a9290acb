package terminal

import (
	"strings"

	"pintle/axis"
	"pintle/cmd/pintle/words"
)

// Large signs for reading the moves at arm's length in the dark: five rows of
// dots.
var bigSigns = map[rune][5]string{
	'0':  {"###", "# #", "# #", "# #", "###"},
	'1':  {" # ", "## ", " # ", " # ", "###"},
	'2':  {"###", "  #", "###", "#  ", "###"},
	'3':  {"###", "  #", "###", "  #", "###"},
	'4':  {"# #", "# #", "###", "  #", "  #"},
	'5':  {"###", "#  ", "###", "  #", "###"},
	'6':  {"###", "#  ", "###", "# #", "###"},
	'7':  {"###", "  #", " # ", " # ", " # "},
	'8':  {"###", "# #", "###", "# #", "###"},
	'9':  {"###", "# #", "###", "  #", "###"},
	'.':  {" ", " ", " ", " ", "#"},
	'\'': {"#", "#", " ", " ", " "},
	' ':  {" ", " ", " ", " ", " "},
	'▲':  {"  #  ", " ### ", "#####", "  #  ", "  #  "},
	'▼':  {"  #  ", "  #  ", "#####", " ### ", "  #  "},
	'▶':  {"  #  ", "  ## ", "#####", "  ## ", "  #  "},
	'◀':  {"  #  ", " ##  ", "#####", " ##  ", "  #  "},
}

// bigRows is the height of a sign in dots.
const bigRows = 5

// dot is the size of one dot of a large sign, columns and rows.
type dot struct{ wide, high int }

// usualDot suits a terminal of 80 columns.
var usualDot = dot{2, 1}

// dots returns the largest dot for signs no wider than columns and no higher
// than rows. Without room it is zero.
func dots(columns, rows int) dot {
	d := dot{2 * (rows / bigRows), rows / bigRows}
	if d.high > 6 {
		d = dot{12, 6}
	}
	for d.wide > 0 && wide("▲ 88.8'", d) > columns {
		d = d.smaller()
	}
	return d
}

// smaller is the next smaller size.
func (d dot) smaller() dot {
	switch {
	case d.high > 1:
		return dot{2 * (d.high - 1), d.high - 1}
	case d.wide > 1:
		return dot{1, 1}
	}
	return dot{}
}

// wide is how many columns a text takes.
func wide(text string, d dot) (n int) {
	for _, r := range text {
		n += (len(bigSigns[r][0]) + 1) * d.wide
	}
	return n
}

// big returns the rows of a text in large signs.
func big(text string, d dot) (out []string) {
	for k := range bigRows {
		var b strings.Builder
		for _, r := range text {
			for _, s := range bigSigns[r][k] {
				sign := " "
				if s == '#' {
					sign = "█"
				}
				b.WriteString(strings.Repeat(sign, d.wide))
			}
			b.WriteString(strings.Repeat(" ", d.wide))
		}
		for range d.high {
			out = append(out, strings.TrimRight(b.String(), " "))
		}
	}
	return out
}

// bigMove is a move for large signs.
func bigMove(m axis.Move) string { return words.Sign(m.Direction) + " " + words.Arcminutes(m.Amount) }
