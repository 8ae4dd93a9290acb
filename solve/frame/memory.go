package frame

import "unsafe"

// Pixels returns n zero values for a picture or a plane made from one. Where
// the system offers large pages (Linux) they are asked for: the first touch of
// fresh memory in small pages costs several times what filling it does.
func Pixels[T uint8 | uint16 | int16 | uint32 | int32 | float32](n int) []T {
	s := make([]T, n)
	if n > 0 {
		var zero T
		largePages(unsafe.Slice((*byte)(unsafe.Pointer(&s[0])), n*int(unsafe.Sizeof(zero))))
	}
	return s
}
