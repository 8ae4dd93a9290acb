package axis

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// mixed is a mount's model made linear about a fit, together with what else turns
// the frames: the turns of all frames against the fit are
//
//	e = T x + Z z + scatter + errors of the stars
//
// with x the mount's parameters, of which nothing is known before, z turns whose
// sizes are believed to be so and so, and one size of scatter for every frame and
// axis of the camera. (Linear mixed model: Henderson 1975, Biometrics 31, 423.)
//
// All is turned to directions in which the stars' errors are independent, where
// scatter only adds to the variances.
type mixed struct {
	columns [][]float64 // of T, then of Z; the two of the axis come first
	flat    int         // columns of T
	e       []float64
	noise   []float64 // variances of the stars' errors
}

// independent is the directions in which errors of attitudes are independent, and
// their variances there.
type independent struct {
	directions mat.Dense
	variances  []float64
}

// independent returns the attitudes' own, found once.
func (a *attitudes) independent() (*independent, bool) {
	if a.apart != nil && a.apart.variances != nil {
		return a.apart, true
	}
	var eig mat.EigenSym
	if !eig.Factorize(a.cov, true) {
		return nil, false
	}
	x := a.apart
	if x == nil {
		x = &independent{}
	}
	eig.VectorsTo(&x.directions)
	x.variances = eig.Values(nil)
	least := 1e-12 * x.variances[len(x.variances)-1] // rounding leaves that of an exact zero
	for i, v := range x.variances {
		x.variances[i] = math.Max(v, least)
	}
	return x, true
}

// rms returns the root mean square of the turns against the fit, radians.
func (m *mixed) rms() float64 { return math.Sqrt(dot(m.e, m.e) / float64(len(m.e))) }

// mix prepares the model about the fit g. What g's event has turned is put back,
// so that the event may be among z.
func (a attitudes) mix(g *glsFit, z [][]float64) (m mixed, ok bool) {
	apart, ok := a.independent()
	if !ok {
		return m, false
	}
	u := &apart.directions
	m.noise, m.flat = apart.variances, g.m.eventParam()
	n := len(m.noise)
	turned := func(v []float64) []float64 {
		var out mat.VecDense
		out.MulVec(u.T(), mat.NewVecDense(n, v))
		return out.RawVector().Data
	}
	e, t := mat.NewVecDense(n, nil), a.design(g.m)
	a.misfit(g.m, e)
	for p := m.flat; p < g.m.params(); p++ {
		e.AddScaledVec(e, g.m.event.v[p-m.flat], t.ColView(p))
	}
	m.e = turned(e.RawVector().Data)
	for p := range m.flat {
		m.columns = append(m.columns, turned(mat.Col(nil, p, t)))
	}
	for _, c := range z {
		m.columns = append(m.columns, turned(c))
	}
	return m, true
}

// reduced is a system of normal equations with some unknowns integrated away: the
// axis comes first, what else may be known follows.
type reduced struct {
	normal [][]float64 // lower triangle
	g      []float64
	log    float64 // of the likelihood, but for what normal and g still hold
}

// at returns the normal equations of the axis and z when the scatter has the
// standard deviation s, radians, the mount's other parameters integrated away.
func (m *mixed) at(s float64) (r reduced, ok bool) {
	w, we := make([]float64, len(m.e)), make([]float64, len(m.e))
	for i, v := range m.noise {
		w[i] = 1 / (v + s*s)
		we[i] = w[i] * m.e[i]
		r.log += 0.5 * (math.Log(w[i]) - we[i]*m.e[i])
	}
	order := append([][]float64(nil), m.columns[2:m.flat]...)
	order = append(append(order, m.columns[:2]...), m.columns[m.flat:]...)
	wx := make([]float64, len(w))
	for i, x := range order {
		for k := range wx {
			wx[k] = w[k] * x[k]
		}
		row := make([]float64, i+1)
		for j := range row {
			row[j] = dot(wx, order[j])
		}
		r.normal, r.g = append(r.normal, row), append(r.g, dot(we, x))
	}
	return r, r.drop(m.flat - 2)
}

// drop integrates the first k unknowns away.
func (r *reduced) drop(k int) bool {
	for p := range k {
		d := r.normal[p][p]
		if !(d > 0) {
			return false
		}
		r.log += 0.5 * (r.g[p]*r.g[p]/d - math.Log(d))
		for i := p + 1; i < len(r.g); i++ {
			f := r.normal[i][p] / d
			if f == 0 {
				continue
			}
			r.g[i] -= f * r.g[p]
			for j := p + 1; j <= i; j++ {
				r.normal[i][j] -= f * r.normal[j][p]
			}
		}
	}
	r.g = r.g[k:]
	r.normal = r.normal[k:]
	for i := range r.normal {
		r.normal[i] = r.normal[i][k:]
	}
	return true
}

// without returns the system after the first k unknowns behind the axis were
// integrated away, each believed to be zero within size.
func (r *reduced) without(k int, size float64) (out reduced, ok bool) {
	index := make([]int, 0, len(r.g))
	for i := range k {
		index = append(index, 2+i)
	}
	index = append(index, 0, 1)
	for i := 2 + k; i < len(r.g); i++ {
		index = append(index, i)
	}
	out.log = r.log - float64(k)*math.Log(size)
	for n, i := range index {
		row := make([]float64, n+1)
		for c := range row {
			j := index[c]
			row[c] = r.normal[max(i, j)][min(i, j)]
		}
		if n < k {
			row[n] += 1 / (size * size)
		}
		out.normal, out.g = append(out.normal, row), append(out.g, r.g[i])
	}
	return out, out.drop(k)
}

// reading is what the frames say of the axis under one belief: turns about the
// mount's x and y, radians, their covariance, and the logarithm of the evidence.
type reading struct {
	log  float64
	turn [2]float64
	cov  [3]float64 // xx, xy, yy
}

// read returns the reading when the unknowns z, at most two, are believed to be
// zero within size, and all others are zero.
func (r *reduced) read(z []int, size float64) (out reading, ok bool) {
	var n [4][4]float64
	var g [4]float64
	var index [4]int
	k := copy(index[:], z)
	index[k], index[k+1] = 0, 1
	for a := range k + 2 {
		g[a] = r.g[index[a]]
		for b := range a + 1 {
			n[a][b] = r.normal[max(index[a], index[b])][min(index[a], index[b])]
		}
	}
	out.log = r.log - float64(k)*math.Log(size)
	for p := range k {
		d := n[p][p] + 1/(size*size)
		out.log += 0.5 * (g[p]*g[p]/d - math.Log(d))
		for a := p + 1; a < k+2; a++ {
			f := n[a][p] / d
			g[a] -= f * g[p]
			for b := p + 1; b <= a; b++ {
				n[a][b] -= f * n[b][p]
			}
		}
	}
	xx, xy, yy := n[k][k], n[k+1][k], n[k+1][k+1]
	det := xx*yy - xy*xy
	if !(xx > 0 && det > 0) {
		return out, false
	}
	out.cov = [3]float64{yy / det, -xy / det, xx / det}
	out.turn = [2]float64{(yy*g[k] - xy*g[k+1]) / det, (xx*g[k+1] - xy*g[k]) / det}
	out.log += 0.5 * (out.turn[0]*g[k] + out.turn[1]*g[k+1] - math.Log(det))
	return out, true
}
