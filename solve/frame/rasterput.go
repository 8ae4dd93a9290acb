package frame

// put writes n pixels that start at pixel from of a row of samples: as they are,
// or mixed (R + 2 G + B) / 4.
func (t *tileRead) put(at, n, from int, s [3]samples) {
	colour := t.samples >= 3 && t.photometric != photoCFA
	step := int(t.samples)
	g, b := s[0], s[0]
	gAt, bAt := 1, 2
	if t.planar {
		step, g, b, gAt, bAt = 1, s[1], s[2], 0, 0
	}
	from *= step
	im := t.im
	switch {
	case im.U8 != nil && !colour:
		putPlain(im.U8[at:at+n], s[0].u8[from:], step, t.photometric == whiteIsZero, 0xff)
	case im.U8 != nil:
		putMixed(im.U8[at:at+n], s[0].u8[from:], g.u8[from+gAt:], b.u8[from+bAt:], step)
	case im.U16 != nil:
		t.putWords(im.U16[at:at+n], from, step, gAt, bAt, s[0], g, b, colour)
	default:
		for i := range n {
			k := from + i*step
			v := s[0].at(k)
			if colour {
				v = 0.25*v + 0.5*g.at(k+gAt) + 0.25*b.at(k+bAt)
			}
			if t.photometric == whiteIsZero {
				v = -v
			}
			im.F32[at+i] = v
		}
	}
}

// putWords writes pixels of 9 to 16 bits, or of 8 bits with a curve.
func (t *tileRead) putWords(dst []uint16, from, step, gAt, bAt int, r, g, b samples, colour bool) {
	if t.curve == nil && r.u16 != nil {
		if colour {
			putMixed(dst, r.u16[from:], g.u16[from+gAt:], b.u16[from+bAt:], step)
		} else {
			putPlain(dst, r.u16[from:], step, t.photometric == whiteIsZero, 1<<t.bits-1)
		}
		return
	}
	for i := range dst {
		k := from + i*step
		v := t.straight(r, k)
		if colour {
			v = (v + 2*t.straight(g, k+gAt) + t.straight(b, k+bAt) + 2) / 4
		}
		dst[i] = uint16(v)
	}
}

// straight returns a sample after the curve.
func (t *tileRead) straight(s samples, i int) uint32 {
	v := 0
	if s.u8 != nil {
		v = int(s.u8[i])
	} else {
		v = int(s.u16[i])
	}
	if len(t.curve) == 0 {
		return uint32(v)
	}
	return uint32(t.curve[min(v, len(t.curve)-1)])
}

func putPlain[T uint8 | uint16](dst, src []T, step int, invert bool, white int) {
	if step == 1 && !invert {
		copy(dst, src)
		return
	}
	for i := range dst {
		v := src[i*step]
		if invert {
			v = T(white) - v
		}
		dst[i] = v
	}
}

func putMixed[T uint8 | uint16](dst, r, g, b []T, step int) {
	for i := range dst {
		k := i * step
		dst[i] = T((uint(r[k]) + 2*uint(g[k]) + uint(b[k]) + 2) / 4)
	}
}
