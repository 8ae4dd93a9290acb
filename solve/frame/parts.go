package frame

import (
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
	"unsafe"
)

// partSize is the least number of items that is worth a goroutine.
const partSize = 1 << 18

// parts returns how many pieces n items are worked on in.
func parts(n int) int {
	return max(1, min(runtime.GOMAXPROCS(0), n/partSize))
}

// inParts calls work for equal pieces of 0..n-1 at once, and returns the
// errors or panics of all joined. Pieces start at multiples of 8.
func inParts(n int, work func(part, lo, hi int) error) error {
	k := parts(n)
	if k == 1 {
		return work(0, 0, n)
	}
	errs := make([]error, k)
	var wg sync.WaitGroup
	step := (n/k + 8) &^ 7
	for p := range k {
		wg.Add(1)
		go func() {
			defer wg.Done()
			defer catch(&errs[p])
			errs[p] = work(p, min(n, p*step), min(n, (p+1)*step))
		}()
	}
	wg.Wait()
	return errors.Join(errs...)
}

// each calls work for 0..n-1, in parallel when the work is for a picture of at
// least 2 partSize pixels, and stops at the first error or panic.
func each(n, pixels int, work func(i int) error) error {
	k := min(n, parts(pixels))
	if k <= 1 {
		for i := range n {
			if err := work(i); err != nil {
				return err
			}
		}
		return nil
	}
	var next atomic.Int64
	errs := make([]error, k)
	var wg sync.WaitGroup
	for p := range k {
		wg.Add(1)
		go func() {
			defer wg.Done()
			defer catch(&errs[p])
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				if errs[p] = work(i); errs[p] != nil {
					next.Store(int64(n))
					return
				}
			}
		}()
	}
	wg.Wait()
	return errors.Join(errs...)
}

// wordsOf returns b as 16-bit words in the same memory, or nil when it does
// not start at an even address.
func wordsOf(b []byte) []uint16 {
	if len(b) < 2 || uintptr(unsafe.Pointer(&b[0]))&1 != 0 {
		return nil
	}
	return unsafe.Slice((*uint16)(unsafe.Pointer(&b[0])), len(b)/2)
}

// hostLittle reports whether this machine stores the low byte first.
var hostLittle = bytesOf([]uint16{1})[0] == 1

// swapWords turns big-endian words in place into numbers, flips the bits in
// flip, and reports whether any has its highest bit set afterwards.
func swapWords(w []uint16, flip uint16) bool {
	var all uint64 // a bit that any has
	f := uint64(flip) * 0x0001000100010001
	i := 0
	for i < len(w) && uintptr(unsafe.Pointer(&w[i]))&7 != 0 {
		w[i] = swapWord(w[i]) ^ flip
		all |= uint64(w[i])
		i++
	}
	if n := (len(w) - i) / 4; n > 0 {
		q := unsafe.Slice((*uint64)(unsafe.Pointer(&w[i])), n)
		if hostLittle {
			for j, v := range q {
				v = (v<<8&0xff00ff00ff00ff00 | v>>8&0x00ff00ff00ff00ff) ^ f
				all |= v
				q[j] = v
			}
		} else {
			for j := range q {
				q[j] ^= f
				all |= q[j]
			}
		}
		i += 4 * n
	}
	for ; i < len(w); i++ {
		w[i] = swapWord(w[i]) ^ flip
		all |= uint64(w[i])
	}
	return all&0x8000800080008000 != 0
}

func swapWord(v uint16) uint16 {
	if hostLittle {
		return v<<8 | v>>8
	}
	return v
}
