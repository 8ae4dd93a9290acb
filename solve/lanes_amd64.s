// Stars of a sweep, several at a time, with AVX2. See lanes.go for what the functions
// do: each gives the same bits as the loop there, with its sums in the same order.

#include "textflag.h"

DATA one<>+0(SB)/8, $0x3ff0000000000000 // 1
GLOBL one<>(SB), RODATA|NOPTR, $8
DATA low<>+0(SB)/4, $0x0000001f         // the lowest five bits
GLOBL low<>(SB), RODATA|NOPTR, $4
DATA lanes<>+0(SB)/8, $0x0706050403020100 // the numbers of eight, in bytes
GLOBL lanes<>(SB), RODATA|NOPTR, $8
DATA unlike<>+0(SB)/4, $13 // starUnlike
GLOBL unlike<>(SB), RODATA|NOPTR, $4

// func pairs8(l *pairLimits, x, y *float32, n int, out *uint32)
TEXT ·pairs8(SB), NOSPLIT, $0-40
	MOVQ         l+0(FP), DX
	MOVQ         x+8(FP), SI
	MOVQ         y+16(FP), DI
	MOVQ         n+24(FP), R11
	MOVQ         out+32(FP), R8
	VBROADCASTSS 0(DX), Y8
	VBROADCASTSS 4(DX), Y9
	VBROADCASTSS 8(DX), Y10
	VBROADCASTSS 12(DX), Y11
	VPCMPEQD     Y12, Y12, Y12
	VPSRLD       $1, Y12, Y12 // all but the sign
	XORQ         BX, BX

second:
	CMPQ         BX, R11
	JGE          ended
	VBROADCASTSS (SI)(BX*4), Y0
	VBROADCASTSS (DI)(BX*4), Y1
	XORL         AX, AX
	XORQ         CX, CX

first:
	CMPQ      CX, BX
	JGE       told
	VMOVUPS   (SI)(CX*4), Y2
	VMOVUPS   (DI)(CX*4), Y3
	VADDPS    Y0, Y2, Y4
	VADDPS    Y1, Y3, Y5
	VSUBPS    Y2, Y0, Y2
	VSUBPS    Y3, Y1, Y3
	VMULPS    Y2, Y2, Y2
	VMULPS    Y3, Y3, Y3
	VADDPS    Y3, Y2, Y2
	VSUBPS    Y8, Y2, Y2
	VANDPS    Y12, Y2, Y2
	VSUBPS    Y2, Y9, Y2
	VANDPS    Y12, Y4, Y4
	VSUBPS    Y4, Y10, Y4
	VANDPS    Y12, Y5, Y5
	VSUBPS    Y5, Y11, Y5
	VORPS     Y4, Y2, Y2
	VORPS     Y5, Y2, Y2
	VMOVMSKPS Y2, R10         // set where something is negative
	XORL      $0xff, R10
	SHLL      CX, R10
	ORL       R10, AX
	ADDQ      $8, CX
	JMP       first

told:
	MOVQ BX, CX
	MOVL $1, R10
	SHLL CX, R10
	DECL R10
	ANDL R10, AX       // those before b
	MOVL AX, (R8)(BX*4)
	INCQ BX
	JMP  second

ended:
	VZEROUPPER
	RET

// func hits8(t *turn, x, y *float32, v *uint32, mean uint32, n int, filled *uint32, out *strike, packs *packing) int
TEXT ·hits8(SB), NOSPLIT, $0-80
	MOVQ         t+0(FP), DX
	MOVQ         x+8(FP), SI
	MOVQ         y+16(FP), DI
	MOVQ         v+24(FP), R8
	MOVL         mean+32(FP), R9
	MOVQ         n+40(FP), R11
	MOVQ         filled+48(FP), R12
	MOVQ         out+56(FP), R10
	MOVQ         packs+64(FP), R13
	VBROADCASTSS 0(DX), Y8
	VBROADCASTSS 4(DX), Y9
	VBROADCASTSS 8(DX), Y10
	VBROADCASTSS 12(DX), Y11
	VPBROADCASTD low<>(SB), Y12
	VMOVD        R9, X13
	VPBROADCASTD X13, Y13
	VPMOVZXBD    lanes<>(SB), Y14
	XORQ         CX, CX
	XORQ         BX, BX

eight:
	CMPQ         CX, R11
	JGE          all
	VMOVUPS      (SI)(CX*4), Y0
	VMOVUPS      (DI)(CX*4), Y1
	VMULPS       Y8, Y0, Y2
	VMULPS       Y9, Y1, Y3
	VADDPS       Y3, Y2, Y2
	VADDPS       Y10, Y2, Y2
	VMULPS       Y8, Y1, Y3
	VMULPS       Y9, Y0, Y0
	VSUBPS       Y0, Y3, Y3
	VADDPS       Y11, Y3, Y3
	VCVTTPS2DQ   Y2, Y2
	VCVTTPS2DQ   Y3, Y3
	VPOR         Y3, Y2, Y4
	VPSRLD       $8, Y4, Y4
	VPXOR        Y0, Y0, Y0
	VPCMPEQD     Y0, Y4, Y4         // within the table
	VPSLLD       $8, Y2, Y2
	VPADDD       Y3, Y2, Y2
	VPAND        Y4, Y2, Y2
	VPSRLD       $5, Y2, Y5
	VPCMPEQD     Y6, Y6, Y6
	VPGATHERDD   Y6, (R12)(Y5*4), Y7
	VPAND        Y12, Y2, Y5
	VPSRLVD      Y5, Y7, Y7
	VPSLLD       $31, Y7, Y7
	MOVQ         R11, AX
	SUBQ         CX, AX
	VMOVD        AX, X4
	VPBROADCASTD X4, Y4
	VPCMPGTD     Y14, Y4, Y4        // of the n
	VPAND        Y4, Y7, Y7
	VMOVMSKPS    Y7, AX

	// Cell and star by turns, two fours of each.
	VMOVDQU     (R8)(CX*4), Y0
	VPSUBW      Y13, Y0, Y0
	VPUNPCKLDQ  Y0, Y2, Y3
	VPUNPCKHDQ  Y0, Y2, Y4
	VINSERTI128 $1, X4, Y3, Y5
	VPERM2I128  $0x31, Y4, Y3, Y6

	MOVL    AX, DX
	ANDL    $15, DX
	SHRL    $4, AX
	POPCNTL DX, R9
	SHLL    $5, DX
	VMOVDQU (R13)(DX*1), Y0
	VPERMD  Y5, Y0, Y5
	VMOVDQU Y5, (R10)(BX*8)
	ADDQ    R9, BX
	POPCNTL AX, R9
	SHLL    $5, AX
	VMOVDQU (R13)(AX*1), Y0
	VPERMD  Y6, Y0, Y6
	VMOVDQU Y6, (R10)(BX*8)
	ADDQ    R9, BX
	ADDQ    $8, CX
	JMP     eight

all:
	MOVQ BX, ret+72(FP)
	VZEROUPPER
	RET

// func strike4(hits *strike, n int, last *strike, first *int32, spots *spot, list *strike, packs *packing) int
TEXT ·strike4(SB), NOSPLIT, $0-64
	MOVQ         hits+0(FP), SI
	MOVQ         n+8(FP), CX
	MOVQ         last+16(FP), DI
	MOVQ         first+24(FP), R9
	MOVQ         spots+32(FP), R10
	MOVQ         list+40(FP), R8
	MOVQ         packs+48(FP), R13
	VPMOVZXBD    lanes<>(SB), X12
	VPBROADCASTD unlike<>(SB), X13
	XORQ         BX, BX

next:
	// Of the hit that comes 24 later fetch where its spots are, of that 8 later these.
	LEAQ         192(SI), AX
	CMPQ         AX, DI
	CMOVQHI      DI, AX
	MOVWLZX      (AX), AX
	PREFETCHT0   (R9)(AX*4)
	LEAQ         64(SI), AX
	CMPQ         AX, DI
	CMOVQHI      DI, AX
	MOVWLZX      (AX), AX
	MOVL         (R9)(AX*4), DX
	PREFETCHT0   (R10)(DX*4)

	MOVQ         (SI), AX
	MOVL         AX, DX
	MOVL         4(R9)(DX*4), R11
	MOVL         (R9)(DX*4), DX
	SUBL         DX, R11
	LEAQ         (R10)(DX*4), R12
	SHRQ         $32, AX
	VMOVD        AX, X1
	VPBROADCASTD X1, X1
	VPSLLD       $16, X1, X2
	VPSRAD       $16, X2, X2     // how much fainter the star is

four:
	VMOVDQU      (R12), X0
	VPSLLD       $24, X0, X3
	VPSRAD       $24, X3, X3
	VPSUBD       X2, X3, X3
	VPABSD       X3, X3
	VPCMPGTD     X13, X3, X3     // unlike
	VMOVD        R11, X4
	VPBROADCASTD X4, X4
	VPCMPGTD     X12, X4, X4     // of this cell
	VPANDN       X4, X3, X3
	VMOVMSKPS    X3, AX
	VPUNPCKLDQ   X1, X0, X5
	VPUNPCKHDQ   X1, X0, X6
	VINSERTI128  $1, X6, Y5, Y5
	POPCNTL      AX, DX
	SHLL         $5, AX
	VMOVDQU      (R13)(AX*1), Y6
	VPERMD       Y5, Y6, Y5
	VMOVDQU      Y5, (R8)(BX*8)
	ADDQ         DX, BX
	ADDQ         $16, R12
	SUBL         $4, R11
	JGT          four
	ADDQ         $8, SI
	DECQ         CX
	JNZ          next
	MOVQ         BX, ret+56(FP)
	VZEROUPPER
	RET

// func draw4(d *drawing, dots *index.Dot, n int, x, y *float32, seen *uint8)
TEXT ·draw4(SB), NOSPLIT, $0-48
	MOVQ         d+0(FP), DX
	MOVQ         dots+8(FP), SI
	MOVQ         n+16(FP), CX
	MOVQ         x+24(FP), R8
	MOVQ         y+32(FP), R9
	MOVQ         seen+40(FP), R10
	VBROADCASTSD 0(DX), Y7
	VBROADCASTSD 8(DX), Y8
	VBROADCASTSD 16(DX), Y9
	VBROADCASTSD 24(DX), Y10
	VBROADCASTSD 32(DX), Y11
	VBROADCASTSD 40(DX), Y12
	VBROADCASTSD 48(DX), Y13
	VBROADCASTSD 56(DX), Y14
	VBROADCASTSD 64(DX), Y15

four:
	// Four stars of four numbers become four of each number.
	VMOVUPS    0(SI), X0
	VMOVUPS    16(SI), X1
	VMOVUPS    32(SI), X2
	VMOVUPS    48(SI), X3
	VUNPCKLPS  X1, X0, X4
	VUNPCKLPS  X3, X2, X5
	VUNPCKHPS  X1, X0, X6
	VUNPCKHPS  X3, X2, X3
	VUNPCKLPD  X5, X4, X0
	VUNPCKHPD  X5, X4, X1
	VUNPCKLPD  X3, X6, X2
	VCVTPS2PD  X0, Y0
	VCVTPS2PD  X1, Y1
	VCVTPS2PD  X2, Y2

	// The height above the plane through the centre, and one over it.
	VMULPD       Y13, Y0, Y3
	VMULPD       Y14, Y1, Y4
	VADDPD       Y4, Y3, Y3
	VMULPD       Y15, Y2, Y4
	VADDPD       Y4, Y3, Y3
	VBROADCASTSD 96(DX), Y4
	VCMPPD       $0x1e, Y4, Y3, Y4 // above the least height
	VMOVMSKPD    Y4, AX
	VBROADCASTSD one<>(SB), Y4
	VDIVPD       Y3, Y4, Y3

	VMULPD       Y7, Y0, Y4
	VMULPD       Y8, Y1, Y5
	VADDPD       Y5, Y4, Y4
	VMULPD       Y9, Y2, Y5
	VADDPD       Y5, Y4, Y4
	VMULPD       Y3, Y4, Y4
	VBROADCASTSD 72(DX), Y5
	VADDPD       Y5, Y4, Y4
	VCVTPD2PSY   Y4, X4
	VMOVUPS      X4, (R8)

	VMULPD       Y10, Y0, Y5
	VMULPD       Y11, Y1, Y6
	VADDPD       Y6, Y5, Y5
	VMULPD       Y12, Y2, Y6
	VADDPD       Y6, Y5, Y5
	VMULPD       Y3, Y5, Y5
	VBROADCASTSD 80(DX), Y6
	VADDPD       Y6, Y5, Y5
	VCVTPD2PSY   Y5, X5
	VMOVUPS      X5, (R9)

	// Within width and height, without the sign.
	VPCMPEQD     X6, X6, X6
	VPSRLD       $1, X6, X6
	VANDPS       X6, X4, X4
	VANDPS       X6, X5, X5
	VBROADCASTSS 88(DX), X6
	VCMPPS       $0x11, X6, X4, X4
	VBROADCASTSS 92(DX), X6
	VCMPPS       $0x11, X6, X5, X5
	VANDPS       X5, X4, X4
	VMOVMSKPS    X4, BX
	ANDL         BX, AX
	MOVB         AX, (R10)

	ADDQ $64, SI
	ADDQ $16, R8
	ADDQ $16, R9
	INCQ R10
	SUBQ $4, CX
	JNZ  four
	VZEROUPPER
	RET
