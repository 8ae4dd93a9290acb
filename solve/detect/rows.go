package detect

// The loops below go over every pixel of a picture, and most of the time of finding
// stars is spent in them. Where the processor can (rows_amd64.s), eight pixels are
// worked on at a time, with the same bits as a result.

// eight is how many pixels are worked on at a time.
const eight = 8

// widenWords turns 16 bit pixels into floats.
func widenWords(dst []float32, src []uint16) {
	n := vectorWords(dst, src)
	dst, src = dst[n:len(src)], src[n:]
	for i, v := range src {
		dst[i] = float32(v)
	}
}

// widenBytes turns 8 bit pixels into floats.
func widenBytes(dst []float32, src []uint8) {
	n := vectorBytes(dst, src)
	dst, src = dst[n:len(src)], src[n:]
	for i, v := range src {
		dst[i] = float32(v)
	}
}

// allWithin reports whether all values are numbers from lo to hi.
func allWithin(row []float32, lo, hi float32) bool {
	n, ok := vectorWithin(row, lo, hi)
	for _, v := range row[n:] {
		ok = ok && v >= lo && v <= hi
	}
	return ok
}

// halve sets dst to a quarter of the sums of neighbouring pairs.
func halve(row, dst []float32) {
	dst = dst[:len(row)/2]
	for i := vectorHalve(dst, row); i < len(dst); i++ {
		dst[i] = 0.25 * (row[2*i] + row[2*i+1])
	}
}

// addHalf adds to dst a quarter of the sums of neighbouring pairs.
func addHalf(row, dst []float32) {
	dst = dst[:len(row)/2]
	for i := vectorAddHalf(dst, row); i < len(dst); i++ {
		dst[i] += 0.25 * (row[2*i] + row[2*i+1])
	}
}

// smoothX filters a row by 1 4 6 4 1, not normalised; the ends are repeated.
func smoothX(row, dst []float32) {
	n := len(row)
	clamp := func(i int) float32 { return row[min(max(i, 0), n-1)] }
	for _, i := range [4]int{0, 1, n - 2, n - 1} {
		dst[i] = clamp(i-2) + clamp(i+2) + 4*(clamp(i-1)+clamp(i+1)) + 6*clamp(i)
	}
	from := vectorSmooth(dst, row)
	if from >= n-4 {
		return
	}
	row, dst = row[from:], dst[from:]
	// Four sums of neighbours in a row make the binomial kernel.
	a := row[3]
	b := row[2] + a
	s := row[1] + row[2]
	c := s + b
	d := row[0] + row[1] + s + c
	for i := 4; i < len(row); i++ {
		v := row[i]
		a, v = v, v+a
		b, v = v, v+b
		c, v = v, v+c
		dst[i-2] = d + v
		d = v
	}
}

// smoothPart filters the columns x0 <= x < x1 by 1 4 6 4 1 across five rows and
// appends those above the threshold t + dt (x - x0).
func smoothPart(r *[5][]float32, out []float32, x0, x1 int, t, dt float32, hits []int32) []int32 {
	if x1 <= x0 {
		return hits
	}
	out = out[x0:x1]
	n := len(out)
	a, b, c, d, e := r[0][x0:][:n], r[1][x0:][:n], r[2][x0:][:n], r[3][x0:][:n], r[4][x0:][:n]
	from, hits := vectorPart(out, a, b, c, d, e, t, dt, x0, hits)
	for i := from; i < n; i++ {
		v := (1.0 / 256) * (a[i] + e[i] + 4*(b[i]+d[i]) + 6*c[i])
		out[i] = v
		if v > t+float32(i)*dt {
			hits = append(hits, int32(x0+i))
		}
	}
	return hits
}
