package terminal

import "testing"

// Large arrows point the way: the tip of an arrow is where its head is narrow, above for
// up and on the right for right.
func TestLargeArrowsPointTheWay(t *testing.T) {
	dots := func(r rune, row int) (n int, middle float64) {
		for x, c := range bigSigns[r][row] {
			if c == '#' {
				n++
				middle += float64(x)
			}
		}
		return n, middle / float64(n)
	}
	for r, head := range map[rune]int{'▲': 1, '▼': bigRows - 2} { // the row between tip and broadest row
		n, _ := dots(r, head)
		if away, _ := dots(r, bigRows-1-head); n != 3 || away != 1 {
			t.Errorf("%c: %d dots on the side it points to, %d on the other", r, n, away)
		}
	}
	for r, right := range map[rune]bool{'▶': true, '◀': false} {
		for _, row := range []int{1, bigRows - 2} {
			if _, middle := dots(r, row); (middle > 2) != right {
				t.Errorf("%c, row %d: its head lies around column %g", r, row, middle)
			}
		}
	}
}
