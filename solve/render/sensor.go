package render

import (
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"pintle/solve/frame"
)

// rows calls f once for every row, from several goroutines.
func (s *Scene) rows(f func(y int)) {
	workers := runtime.GOMAXPROCS(0)
	var wg sync.WaitGroup
	for k := range workers {
		wg.Go(func() {
			for y := k; y < s.H; y += workers {
				f(y)
			}
		})
	}
	wg.Wait()
}

// rng returns the random numbers of one row or one purpose: the picture does
// not depend on which goroutine draws which row.
func (s *Scene) rng(stream int) *rand.Rand {
	return rand.New(rand.NewPCG(s.Seed, uint64(stream)*0x9e3779b97f4a7c15+1))
}

// expose replaces the expected electrons by those that a real exposure counts:
// photon noise, full pixels and their overflow.
func (s *Scene) expose(light []float32) {
	if !s.Sensor.NoNoise {
		s.rows(func(y int) {
			rng := s.rng(y)
			row := light[y*s.W : (y+1)*s.W]
			for x, e := range row {
				row[x] = float32(poisson(rng, float64(e)))
			}
		})
	}
	if s.Sensor.FullWell > 0 {
		if s.Sensor.Bloom {
			s.bloom(light)
		}
		full := float32(s.Sensor.FullWell)
		for i, e := range light {
			light[i] = min(e, full)
		}
	}
}

// poisson draws a count of mean m: exact below 30, above that a normal deviate
// with the mean, variance and skewness of the count.
func poisson(rng *rand.Rand, m float64) float64 {
	if !(m > 0) {
		return 0
	}
	if m >= 30 {
		z := rng.NormFloat64()
		return math.Max(0, math.Floor(m+math.Sqrt(m)*z+(z*z-1)/6+0.5))
	}
	limit, p := math.Exp(-m), rng.Float64()
	n := 0.0
	for p > limit {
		p *= rng.Float64()
		n++
	}
	return n
}

// bloom lets what full pixels cannot hold run to both sides along the column.
func (s *Scene) bloom(light []float32) {
	full := float32(s.Sensor.FullWell)
	for x := range s.W {
		for y := range s.H {
			over := light[y*s.W+x] - full
			if over <= 0 {
				continue
			}
			light[y*s.W+x] = full
			for _, dir := range []int{-1, 1} {
				rest := over / 2
				for j := y + dir; j >= 0 && j < s.H && rest > 0; j += dir {
					room := full - light[j*s.W+x]
					if room <= 0 {
						continue
					}
					take := min(room, rest)
					light[j*s.W+x] += take
					rest -= take
				}
			}
		}
	}
}

// digitise adds read noise and bias and rounds to the picture's numbers.
func (s *Scene) digitise(light []float32) *frame.Image {
	im := &frame.Image{W: s.W, H: s.H, Mosaic: s.Sensor.Mosaic}
	bits := s.Sensor.Bits
	if bits == 0 {
		bits = 16
	}
	top := float64(int(1)<<bits - 1)
	im.Saturation = float32(top)
	gain := s.gain()
	if f := s.Sensor.FullWell; f > 0 {
		// Read noise scatters full pixels about this value.
		im.Saturation = float32(math.Min(top, s.Sensor.Bias+(f-3*s.Sensor.Read)/gain))
	}
	if bits <= 8 {
		im.U8 = make([]uint8, s.W*s.H)
	} else {
		im.U16 = make([]uint16, s.W*s.H)
	}
	s.rows(func(y int) {
		rng := s.rng(s.H + y)
		for x := range s.W {
			at := y*s.W + x
			e := float64(light[at])
			if s.Sensor.Read > 0 && !s.Sensor.NoNoise {
				e += s.Sensor.Read * rng.NormFloat64()
			}
			v := math.Max(0, math.Min(top, math.Floor(e/gain+s.Sensor.Bias+0.5)))
			if im.U8 != nil {
				im.U8[at] = uint8(v)
			} else {
				im.U16[at] = uint16(v)
			}
		}
	})
	return im
}

func (s *Scene) gain() float64 {
	if s.Sensor.Gain == 0 {
		return 1
	}
	return s.Sensor.Gain
}

// spoil puts hot and dead pixels and columns into the picture.
func (s *Scene) spoil(im *frame.Image) {
	if s.W*s.H == 0 {
		return
	}
	rng := s.rng(2*s.H + 1)
	hot := s.Defects.HotElectrons
	if hot == 0 {
		hot = 3000
	}
	hot /= s.gain()
	for range s.Defects.Hot {
		add(im, rng.IntN(s.W*s.H), hot*(0.3+rng.ExpFloat64()))
	}
	for range s.Defects.Dead {
		add(im, rng.IntN(s.W*s.H), math.Inf(-1))
	}
	for range s.Defects.HotColumns {
		x, v := rng.IntN(s.W), hot/10*(0.5+rng.Float64())
		for y := rng.IntN(s.H); y < s.H; y++ {
			add(im, y*s.W+x, v)
		}
	}
	for range s.Defects.DeadColumns {
		x := rng.IntN(s.W)
		for y := rng.IntN(s.H); y < s.H; y++ {
			add(im, y*s.W+x, math.Inf(-1))
		}
	}
}

// add adds v to a pixel, within the picture's range; -Inf gives 0.
func add(im *frame.Image, at int, v float64) {
	if im.U8 != nil {
		im.U8[at] = uint8(math.Max(0, math.Min(float64(im.U8[at])+v, 255)))
		return
	}
	im.U16[at] = uint16(math.Max(0, math.Min(float64(im.U16[at])+v, 65535)))
}
