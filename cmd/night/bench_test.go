package night

import "testing"

// guide is a night with a small guide camera.
func guide(tb testing.TB) *Night {
	tb.Helper()
	for seed := uint64(1); ; seed++ {
		if s := Random(seed, false); s.Camera.W == 1280 {
			n, err := New(s)
			if err != nil {
				tb.Fatal(err)
			}
			return n
		}
	}
}

func BenchmarkRender1280x960(b *testing.B) {
	n := guide(b)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		n.Render(i % n.Len())
	}
}

func BenchmarkStars(b *testing.B) {
	n := guide(b)
	for i := 0; b.Loop(); i++ {
		n.Stars(i % n.Len())
	}
}
