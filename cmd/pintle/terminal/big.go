package terminal

import (
	"strings"

	"pintle/axis"
	"pintle/cmd/pintle/words"
)

// Large signs for reading the moves at arm's length in the dark: five rows, a
// dot two columns wide.
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
	'^':  {"  #  ", " ### ", "#####", "  #  ", "  #  "},
	'v':  {"  #  ", "  #  ", "#####", " ### ", "  #  "},
	'>':  {"  #  ", "  ## ", "#####", "  ## ", "  #  "},
	'<':  {"  #  ", " ##  ", "#####", " ##  ", "  #  "},
}

// Big returns a text in large signs.
func Big(text string) string {
	var b strings.Builder
	for row := range 5 {
		b.WriteString("   ")
		for _, r := range text {
			for _, dot := range bigSigns[r][row] {
				if dot == '#' {
					b.WriteString("██")
				} else {
					b.WriteString("  ")
				}
			}
			b.WriteString("  ")
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// BigMove returns a move in large signs. For azimuth the arrow is the way the
// axis goes for someone who stands behind the mount and looks along it:
// clockwise from above is to the right.
func BigMove(m axis.Move) string {
	sign := map[axis.Direction]string{axis.Raise: "^", axis.Lower: "v", axis.Clockwise: ">", axis.CounterClockwise: "<"}[m.Direction]
	return Big(sign + " " + words.Arcminutes(m.Amount))
}
