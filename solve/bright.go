package solve

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/stars"
)

// brightStars keeps the bright stars of the whole sky, for wide frames.
type brightStars struct {
	mu    sync.Mutex
	epoch float64
	all   []stars.Dot // bright ones first
	skies map[int]*brightSky
}

// faintestBright is the V magnitude to which the stars are kept: some 9000, as faint
// as the eye sees them (common practice, no source).
const faintestBright = 6.5

// load reads the stars of a list at an epoch.
func (b *brightStars) load(list *stars.List, epoch float64) {
	if b.all != nil && b.epoch == epoch {
		return
	}
	b.all, b.epoch, b.skies = nil, epoch, map[int]*brightSky{}
	list.Each(faintestBright, epoch, func(s stars.Star) bool {
		b.all = append(b.all, stars.Dot{Vec: s.Pos.Vec(), V: s.V, ID: s.ID})
		return true
	})
	slices.SortFunc(b.all, func(a, c stars.Dot) int { return cmp.Compare(a.V, c.V) })
}

// inView appends the n brightest stars that a pose draws near the frame.
func (b *brightStars) inView(dst []stars.Dot, p *pose, n int) []stars.Dot {
	axis := p.camFromSky.Inv().Apply(r3.Vec{Z: 1})
	least := math.Cos(min(math.Pi, float64(p.lens.Diagonal())/2*1.1))
	for i := range b.all {
		if r3.Dot(b.all[i].Vec, axis) > least {
			if dst = append(dst, b.all[i]); len(dst) == n {
				break
			}
		}
	}
	return dst
}

// brightSky is the brightest stars of the sky to some depth, and their
// neighbours.
type brightSky struct {
	stars []brightStar
	pairs []starPair
}

type brightStar struct {
	v   r3.Vec
	mag float64
}

// starPair is two near neighbours, the brighter first, and the stars around them.
type starPair struct {
	a, b   int
	angle  float32 // between them, radians
	around []besideStar
}

// besideStar is a star beside a pair: its cell in a table, and how much fainter than
// the mean of the pair it is.
type besideStar struct {
	star, cell int32
	faint      float32
}

const (
	// starsDeeper is how many stars of the sky belong to a frame for each of its
	// points: as many points may be false as true, most stars missing or behind
	// trees.
	starsDeeper = 1.8
	// Pairs are made of the nearest starPairs stars, and starsAround looked at.
	starPairs   = 8
	starsAround = 14
	mostBright  = 3500
	// (All: no source; TestSolvesWideLenses and TestBrightestWhereverTheSkyIsPoor
	// hold them.)
)

// around returns the stars of the sky for frames that reach half off axis.
func (b *brightStars) around(r *run, points int, half float64) *brightSky {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.load(r.solver.Library.List, r.opt.Epoch)
	// A frame of 3 to 4 is about 0.65 of the cap around it.
	share := 0.65 * (1 - math.Cos(half)) / 2
	n := min(mostBright, len(b.all), int(starsDeeper*float64(points)/share))
	// The next of a series, so that frames share them.
	n = min(mostBright, len(b.all), int(math.Pow(1.3, math.Ceil(math.Log(float64(n))/math.Log(1.3)))))
	if s := b.skies[n]; s != nil {
		return s
	}
	s := makeBrightSky(b.all[:n])
	b.skies[n] = s
	return s
}

func makeBrightSky(list []stars.Dot) *brightSky {
	s := &brightSky{}
	for _, d := range list {
		s.stars = append(s.stars, brightStar{d.Vec, float64(d.V)})
	}
	near := make([][]int32, len(list))
	for i := range s.stars {
		near[i] = s.nearest(i, starsAround)
	}
	for i := range s.stars {
		for _, j := range near[i][:min(starPairs, len(near[i]))] {
			// Bright stars come first, so a is the brighter one.
			a, b := i, int(j)
			if a > b {
				if slices.Contains(near[b][:min(starPairs, len(near[b]))], int32(a)) {
					continue
				}
				a, b = b, a
			}
			s.pairs = append(s.pairs, s.pair(a, b, near))
		}
	}
	return s
}

// nearest lists the n nearest neighbours of a star that are not too far away,
// nearest first.
func (s *brightSky) nearest(i, n int) []int32 {
	var list []int32
	var dots []float64
	least := 0.3
	for j := range s.stars {
		d := r3.Dot(s.stars[i].v, s.stars[j].v)
		if d <= least || i == j {
			continue
		}
		k := len(list)
		list, dots = append(list, 0), append(dots, 0)
		for ; k > 0 && dots[k-1] < d; k-- {
			list[k], dots[k] = list[k-1], dots[k-1]
		}
		list[k], dots[k] = int32(j), d
		if len(list) > n {
			list, dots = list[:n], dots[:n]
			least = dots[n-1]
		}
	}
	return list
}

// pair returns a pair with the stars around it.
func (s *brightSky) pair(a, b int, near [][]int32) starPair {
	p := starPair{a: a, b: b, angle: float32(math.Acos(min(1, r3.Dot(s.stars[a].v, s.stars[b].v))))}
	base := makeBase(s.stars[a].v, s.stars[b].v)
	mean := (s.stars[a].mag + s.stars[b].mag) / 2
	add := func(k int32) {
		if int(k) == a || int(k) == b {
			return
		}
		for i := range p.around {
			if p.around[i].star == k {
				return
			}
		}
		if x, y, ok := base.place(s.stars[k].v); ok {
			p.around = append(p.around, besideStar{k, int32(wideCellOf(x, y)), float32(s.stars[k].mag - mean)})
		}
	}
	for _, k := range near[a] {
		add(k)
	}
	for _, k := range near[b] {
		add(k)
	}
	return p
}
