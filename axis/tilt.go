package axis

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"pintle/index/lsq"
)

// tiltFor returns the frames' own scatter about one rotation that makes their
// misfits likeliest, given that the mount was fitted to the same frames
// (restricted maximum likelihood of a variance component: Patterson & Thompson
// 1971), 0 when there is none. It is found where |P e|^2 falls to the trace of
// P, with P the weights freed of what the mount's parameters take up: misfits
// that frames cannot help showing, such as the poor field orientation of a narrow
// field, do not pass for scatter. The model is taken as linear about g.
func (a attitudes) tiltFor(g glsFit) float64 {
	e := mat.NewVecDense(3*len(a.camFromLocal), nil)
	a.misfit(g.m, e)
	t := a.design(g.m)
	excess := func(tilt float64) float64 {
		w, ok := a.weights(tilt)
		if !ok {
			return -1
		}
		normal, _ := normalOf(t, w, e)
		var k lsq.Normal
		if !k.Factorize(normal) {
			return -1
		}
		var wt, wtc, p mat.Dense
		wt.Mul(w, t)
		wtc.Mul(&wt, k.Inverse())
		p.Mul(&wtc, wt.T())
		p.Sub(w, &p)
		var pe mat.VecDense
		pe.MulVec(&p, e)
		return mat.Dot(&pe, &pe) - mat.Trace(&p)
	}
	if excess(0) <= 0 {
		return 0
	}
	lo, hi := 1e-9, 1e-7 // 0.0002 and 0.02 arcsec
	for excess(hi) > 0 && hi < 1 {
		lo, hi = hi, 4*hi
	}
	for hi > 1.01*lo {
		mid := math.Sqrt(lo * hi)
		if excess(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}
