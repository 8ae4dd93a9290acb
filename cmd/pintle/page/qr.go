package page

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// QR returns a link as a QR code for a terminal: two rows of squares a line, the
// code dark on a light ground of its own.
func QR(link string) (string, error) {
	c, err := qr.Encode(link, qr.L)
	if err != nil {
		return "", fmt.Errorf("QR code: %w", err)
	}
	const quiet = 2
	var b strings.Builder
	for y := -quiet; y < c.Size+quiet; y += 2 {
		b.WriteString("\x1b[30;107m") // black on white
		for x := -quiet; x < c.Size+quiet; x++ {
			switch {
			case c.Black(x, y) && c.Black(x, y+1):
				b.WriteString("█")
			case c.Black(x, y):
				b.WriteString("▀")
			case c.Black(x, y+1):
				b.WriteString("▄")
			default:
				b.WriteString(" ")
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String(), nil
}

// Code is an address and its QR code, a row of 0 and 1 (dark) for each line.
type Code struct {
	Link string   `json:"link"`
	Rows []string `json:"rows"`
}

// codeOf returns the code of an address.
func codeOf(link string) (Code, error) {
	c, err := qr.Encode(link, qr.L)
	if err != nil {
		return Code{}, fmt.Errorf("QR code: %w", err)
	}
	out := Code{Link: link}
	for y := range c.Size {
		row := make([]byte, c.Size)
		for x := range row {
			row[x] = '0'
			if c.Black(x, y) {
				row[x] = '1'
			}
		}
		out.Rows = append(out.Rows, string(row))
	}
	return out, nil
}
