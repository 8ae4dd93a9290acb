// Rows of pixels, eight at a time, with AVX2. See rows.go for what the functions do:
// each gives the same bits as the loop there, with its sums in the same order.

#include "textflag.h"

DATA four<>+0(SB)/4, $0x40800000    // 4
GLOBL four<>(SB), RODATA|NOPTR, $4
DATA six<>+0(SB)/4, $0x40c00000     // 6
GLOBL six<>(SB), RODATA|NOPTR, $4
DATA eighth<>+0(SB)/4, $0x41000000  // 8
GLOBL eighth<>(SB), RODATA|NOPTR, $4
DATA quarter<>+0(SB)/4, $0x3e800000 // 1/4
GLOBL quarter<>(SB), RODATA|NOPTR, $4
DATA norm<>+0(SB)/4, $0x3b800000    // 1/256
GLOBL norm<>(SB), RODATA|NOPTR, $4

// 0 to 7
DATA count<>+0(SB)/4, $0x00000000
DATA count<>+4(SB)/4, $0x3f800000
DATA count<>+8(SB)/4, $0x40000000
DATA count<>+12(SB)/4, $0x40400000
DATA count<>+16(SB)/4, $0x40800000
DATA count<>+20(SB)/4, $0x40a00000
DATA count<>+24(SB)/4, $0x40c00000
DATA count<>+28(SB)/4, $0x40e00000
GLOBL count<>(SB), RODATA|NOPTR, $32

// func widenWords8(dst *float32, src *uint16, n int)
TEXT ·widenWords8(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ n+16(FP), CX

words:
	VPMOVZXWD (SI), Y0
	VCVTDQ2PS Y0, Y0
	VMOVUPS   Y0, (DI)
	ADDQ      $16, SI
	ADDQ      $32, DI
	SUBQ      $8, CX
	JNZ       words
	VZEROUPPER
	RET

// func widenBytes8(dst *float32, src *uint8, n int)
TEXT ·widenBytes8(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ n+16(FP), CX

bytes:
	VPMOVZXBD (SI), Y0
	VCVTDQ2PS Y0, Y0
	VMOVUPS   Y0, (DI)
	ADDQ      $8, SI
	ADDQ      $32, DI
	SUBQ      $8, CX
	JNZ       bytes
	VZEROUPPER
	RET

// func within8(row *float32, n int, lo, hi float32) bool
TEXT ·within8(SB), NOSPLIT, $0-25
	MOVQ         row+0(FP), SI
	MOVQ         n+8(FP), CX
	VBROADCASTSS lo+16(FP), Y4
	VBROADCASTSS hi+20(FP), Y5
	VXORPS       Y6, Y6, Y6

range:
	VMOVUPS (SI), Y0
	VCMPPS  $0x19, Y4, Y0, Y1 // not at least lo
	VCMPPS  $0x16, Y5, Y0, Y2 // not at most hi
	VORPS   Y1, Y6, Y6
	VORPS   Y2, Y6, Y6
	ADDQ    $32, SI
	SUBQ    $8, CX
	JNZ     range
	VMOVMSKPS Y6, AX
	TESTL   AX, AX
	SETEQ   ret+24(FP)
	VZEROUPPER
	RET

// func halve8(dst, row *float32, n int)
TEXT ·halve8(SB), NOSPLIT, $0-24
	MOVQ         dst+0(FP), DI
	MOVQ         row+8(FP), SI
	MOVQ         n+16(FP), CX
	VBROADCASTSS quarter<>(SB), Y8

pairs:
	VMOVUPS (SI), Y0
	VMOVUPS 32(SI), Y1
	VHADDPS Y1, Y0, Y0
	VPERMPD $0xd8, Y0, Y0
	VMULPS  Y8, Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $64, SI
	ADDQ    $32, DI
	SUBQ    $8, CX
	JNZ     pairs
	VZEROUPPER
	RET

// func addHalf8(dst, row *float32, n int)
TEXT ·addHalf8(SB), NOSPLIT, $0-24
	MOVQ         dst+0(FP), DI
	MOVQ         row+8(FP), SI
	MOVQ         n+16(FP), CX
	VBROADCASTSS quarter<>(SB), Y8

more:
	VMOVUPS (SI), Y0
	VMOVUPS 32(SI), Y1
	VHADDPS Y1, Y0, Y0
	VPERMPD $0xd8, Y0, Y0
	VMULPS  Y8, Y0, Y0
	VADDPS  (DI), Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $64, SI
	ADDQ    $32, DI
	SUBQ    $8, CX
	JNZ     more
	VZEROUPPER
	RET

// func smooth8(dst, row *float32, n int)
TEXT ·smooth8(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ row+8(FP), SI
	MOVQ n+16(FP), CX

sums:
	VMOVUPS (SI), Y0
	VMOVUPS 4(SI), Y1
	VMOVUPS 8(SI), Y2
	VMOVUPS 12(SI), Y3
	VMOVUPS 16(SI), Y4
	VADDPS  Y1, Y0, Y0
	VADDPS  Y2, Y1, Y1
	VADDPS  Y3, Y2, Y2
	VADDPS  Y4, Y3, Y3
	VADDPS  Y1, Y0, Y0
	VADDPS  Y2, Y1, Y1
	VADDPS  Y3, Y2, Y2
	VADDPS  Y1, Y0, Y0
	VADDPS  Y2, Y1, Y1
	VADDPS  Y1, Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DI
	SUBQ    $8, CX
	JNZ     sums
	VZEROUPPER
	RET

// func part8(out, a, b, c, d, e *float32, n int, t, dt float32, above *uint8)
TEXT ·part8(SB), NOSPLIT, $0-72
	MOVQ         out+0(FP), DI
	MOVQ         a+8(FP), R8
	MOVQ         b+16(FP), R9
	MOVQ         c+24(FP), R10
	MOVQ         d+32(FP), R11
	MOVQ         e+40(FP), R12
	MOVQ         n+48(FP), CX
	VBROADCASTSS t+56(FP), Y13
	VBROADCASTSS dt+60(FP), Y12
	MOVQ         above+64(FP), DX
	VBROADCASTSS four<>(SB), Y8
	VBROADCASTSS six<>(SB), Y9
	VBROADCASTSS norm<>(SB), Y10
	VMOVUPS      count<>(SB), Y11
	VBROADCASTSS eighth<>(SB), Y14
	XORQ         BX, BX

columns:
	VMOVUPS   (R8)(BX*4), Y0
	VADDPS    (R12)(BX*4), Y0, Y0
	VMOVUPS   (R9)(BX*4), Y1
	VADDPS    (R11)(BX*4), Y1, Y1
	VMULPS    Y8, Y1, Y1
	VADDPS    Y1, Y0, Y0
	VMULPS    (R10)(BX*4), Y9, Y2
	VADDPS    Y2, Y0, Y0
	VMULPS    Y10, Y0, Y0
	VMOVUPS   Y0, (DI)(BX*4)
	VMULPS    Y12, Y11, Y3        // the threshold
	VADDPS    Y13, Y3, Y3
	VCMPPS    $0x1e, Y3, Y0, Y4   // above it
	VMOVMSKPS Y4, AX
	MOVB      AX, (DX)
	VADDPS    Y14, Y11, Y11
	INCQ      DX
	ADDQ      $8, BX
	CMPQ      BX, CX
	JLT       columns
	VZEROUPPER
	RET
