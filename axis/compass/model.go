package compass

import (
	"bufio"
	_ "embed"
	"fmt"
	"strings"
	"sync"
)

//go:embed WMM2025.COF
var wmm2025 string

// degree is the highest degree and order of the model.
const degree = 12

// First and Last are the Julian years between which the model is valid.
const (
	First = 2025.0
	Last  = 2030.0
)

// coeff is one Gauss coefficient pair in nT, Schmidt semi-normalised, and its
// change in nT per year.
type coeff struct{ g, h, gDot, hDot float64 }

// model holds the coefficients by degree and order.
type model struct {
	epoch float64
	c     [degree + 1][degree + 1]coeff
}

var current = sync.OnceValue(func() *model {
	m, err := parse(wmm2025)
	if err != nil {
		panic("impossible: embedded magnetic model: " + err.Error())
	}
	return m
})

// parse reads a coefficient file: a header "epoch name date", a line
// "n m g h gdot hdot" for each pair, closed by lines of nines.
func parse(text string) (*model, error) {
	sc := bufio.NewScanner(strings.NewReader(text))
	m := new(model)
	if !sc.Scan() {
		return nil, fmt.Errorf("no header")
	}
	if _, err := fmt.Sscan(sc.Text(), &m.epoch); err != nil {
		return nil, fmt.Errorf("header %q: %w", sc.Text(), err)
	}
	pairs := 0
	for sc.Scan() && !strings.HasPrefix(sc.Text(), "9999") {
		var n, k int
		var c coeff
		if _, err := fmt.Sscan(sc.Text(), &n, &k, &c.g, &c.h, &c.gDot, &c.hDot); err != nil {
			return nil, fmt.Errorf("line %q: %w", sc.Text(), err)
		}
		if n < 1 || n > degree || k < 0 || k > n {
			return nil, fmt.Errorf("degree %d order %d outside 1 to %d", n, k, degree)
		}
		m.c[n][k] = c
		pairs++
	}
	if want := degree * (degree + 3) / 2; pairs != want {
		return nil, fmt.Errorf("%d coefficient lines, want %d", pairs, want)
	}
	return m, nil
}
