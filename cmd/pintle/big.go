package main

import (
	"fmt"
	"strings"

	"pintle/axis"
	"pintle/index/sphere"
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

// big returns a text in large signs.
func big(text string) string {
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

// bigMove returns a move in large signs. For azimuth the arrow is the way the
// axis goes for someone who stands behind the mount and looks along it:
// clockwise from above is to the right.
func bigMove(m axis.Move) string {
	sign := map[axis.Direction]string{axis.Raise: "^", axis.Lower: "v", axis.Clockwise: ">", axis.CounterClockwise: "<"}[m.Direction]
	return big(sign + " " + bigAmount(m.Amount) + "'")
}

// bigAmount writes arcminutes with three digits or so.
func bigAmount(a sphere.Angle) string {
	switch x := a.Arcminutes(); {
	case x < 9.995:
		return fmt.Sprintf("%.2f", x)
	case x < 99.95:
		return fmt.Sprintf("%.1f", x)
	default:
		return fmt.Sprintf("%.0f", x)
	}
}
