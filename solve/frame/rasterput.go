package frame

// stride is a run of pixels in rows of samples: pixel i is sample i*step of r, or is
// mixed (R + 2 G + B) / 4 where there is colour.
type stride struct {
	r, g, b samples
	step    int
	colour  bool
}

// stride returns the pixels from one on. s has a row of the samples of all channels, or
// of a planar file one of each channel.
func (t *tileRead) stride(from int, s [3]samples) stride {
	p := stride{step: int(t.samples), colour: t.samples >= 3 && t.photometric != photoCFA}
	if t.planar {
		p.step = 1
	}
	from *= p.step
	p.r = s[0].from(from)
	switch {
	case p.colour && t.planar:
		p.g, p.b = s[1].from(from), s[2].from(from)
	case p.colour:
		p.g, p.b = s[0].from(from+1), s[0].from(from+2)
	}
	return p
}

// put writes n pixels, from the one given of a row of samples, to the picture's at on.
func (t *tileRead) put(at, n, from int, s [3]samples) {
	p := t.stride(from, s)
	im := t.im
	switch {
	case im.U8 != nil && !p.colour:
		putPlain(im.U8[at:at+n], p.r.u8, p.step, t.photometric == whiteIsZero, 0xff)
	case im.U8 != nil:
		putMixed(im.U8[at:at+n], p.r.u8, p.g.u8, p.b.u8, p.step)
	case im.U16 != nil:
		t.putWords(im.U16[at:at+n], p)
	default:
		t.putFloats(im.F32[at:at+n], p)
	}
}

// putFloats writes pixels of any bits as they are.
func (t *tileRead) putFloats(dst []float32, p stride) {
	for i := range dst {
		k := i * p.step
		v := p.r.at(k)
		if p.colour {
			v = 0.25*v + 0.5*p.g.at(k) + 0.25*p.b.at(k)
		}
		if t.photometric == whiteIsZero {
			v = -v
		}
		dst[i] = v
	}
}

// putWords writes pixels of 9 to 16 bits, or of 8 bits with a curve.
func (t *tileRead) putWords(dst []uint16, p stride) {
	if t.curve == nil && p.r.u16 != nil {
		if p.colour {
			putMixed(dst, p.r.u16, p.g.u16, p.b.u16, p.step)
		} else {
			putPlain(dst, p.r.u16, p.step, t.photometric == whiteIsZero, 1<<t.bits-1)
		}
		return
	}
	for i := range dst {
		k := i * p.step
		v := t.straight(p.r, k)
		if p.colour {
			v = (v + 2*t.straight(p.g, k) + t.straight(p.b, k) + 2) / 4
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
