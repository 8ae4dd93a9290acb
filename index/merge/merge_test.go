package merge

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"math/rand/v2"
	"slices"
	"testing"
)

var numbers = Format[uint32]{
	Size: 4, Read: binary.LittleEndian.Uint32, Compare: cmp.Compare[uint32],
}

// bytesOf returns a sorted run.
func bytesOf(list []uint32) []byte {
	slices.Sort(list)
	var b []byte
	for _, n := range list {
		b = binary.LittleEndian.AppendUint32(b, n)
	}
	return b
}

// The runs merged are all numbers sorted.
func TestEachAgainstSort(t *testing.T) {
	const seed = 5
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 200 {
		var runs []Run
		var all, got []uint32
		for range rng.IntN(12) {
			list := make([]uint32, rng.IntN(300))
			for i := range list {
				list[i] = rng.Uint32N(500)
			}
			all = append(all, list...)
			runs = append(runs, Run{bytes.NewReader(bytesOf(list)), int64(len(list))})
		}
		err := numbers.Each(context.Background(), runs, func(n uint32) error { got = append(got, n); return nil })
		slices.Sort(all)
		if err != nil || !slices.Equal(got, all) {
			t.Fatalf("seed %d: %d numbers of %d, %v", seed, len(got), len(all), err)
		}
	}
}

func TestEachEndsWithTheFirstError(t *testing.T) {
	b := bytesOf([]uint32{1, 2, 3})
	none := func(uint32) error { return nil }
	for _, short := range []int{1, 4} { // within a record, between two
		run := Run{bytes.NewReader(b[:len(b)-short]), 3}
		if err := numbers.Each(context.Background(), []Run{run}, none); !errors.Is(err, io.ErrUnexpectedEOF) {
			t.Errorf("a run short of %d bytes: %v", short, err)
		}
	}
	stop, n := errors.New("enough"), 0
	err := numbers.Each(context.Background(), []Run{{bytes.NewReader(b), 3}}, func(uint32) error { n++; return stop })
	if err != stop || n != 1 {
		t.Errorf("%d numbers after an error, %v", n, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := numbers.Each(ctx, []Run{{bytes.NewReader(b), 3}}, none); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
}
