package loss

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// solved is the answer of the mixed model equations (Henderson 1975, Biometrics 31(2)) at given spreads: the
// posterior mean of all unknowns, the blocks of their covariance that a prediction can need, and the log marginal
// likelihood of the spreads. The blocks are the dense one, the cross one, and the diagonal of the eliminated one:
// no observation belongs to two levels of one factor.
type solved struct {
	s      *system
	c      *cross
	sd     []float64
	chol   blas64.Triangular // Cholesky's factor of the Schur complement of the eliminated block
	d      []float64         // the eliminated block
	ca, cb []float64         // means (β as a correction to shift)
	logLik float64

	vaa *mat.Dense // na×na; these three are there after invert
	vab *mat.Dense // na×nb
	vbb []float64  // nb
}

// solve answers the equations at spreads sd; every factor's spread must be above 0.
func (s *system) solve(c *cross, sd []float64) (*solved, error) {
	o := &solved{s: s, c: c, sd: sd, d: make([]float64, s.nb)}
	logdet := 0.0
	if s.elim >= 0 {
		q := 1 / (sd[s.elim+1] * sd[s.elim+1])
		for l := range o.d {
			o.d[l] = c.d[l] + q
			logdet += math.Log(o.d[l])
		}
	}
	if s.na > 0 {
		schur := mat.NewSymDense(s.na, nil)
		raw := schur.RawSymmetric()
		copy(raw.Data, c.a.RawMatrix().Data)
		for k := range s.m.Factors {
			if k != s.elim {
				s.penalise(k, raw, 1/(sd[k+1]*sd[k+1]))
			}
		}
		if s.nb > 0 {
			root := mat.DenseCopyOf(c.b)
			data := root.RawMatrix().Data
			for l, d := range o.d {
				f := 1 / math.Sqrt(d)
				for j := l; j < len(data); j += s.nb {
					data[j] *= f
				}
			}
			blas64.Syrk(blas.NoTrans, -1, root.RawMatrix(), 1, raw)
		}
		// LAPACK itself: mat.Cholesky would estimate the condition each time, which is a
		// quarter of the whole and which nobody asks for.
		var ok bool
		if o.chol, ok = lapack64.Potrf(raw); !ok {
			return nil, fmt.Errorf("%w: the columns of X cannot be told apart by these observations; give their coefficients a prior", ErrSingular)
		}
		for j := range s.na {
			logdet += 2 * math.Log(o.chol.Data[j*o.chol.Stride+j])
		}
	}
	o.ca, o.cb = o.apply(c.ra, c.rb)

	flat := 0
	q := c.yy
	for j, x := range o.ca {
		q -= x * c.ra[j]
	}
	for l, x := range o.cb {
		q -= x * c.rb[l]
	}
	prior := 0.0
	for _, w := range s.prec {
		if w == 0 {
			flat++
		} else {
			prior -= math.Log(w)
		}
	}
	for k, f := range s.m.Factors {
		prior += 2 * float64(f.Levels) * math.Log(sd[k+1])
	}
	o.logLik = -0.5 * (float64(s.n-flat)*math.Log(2*math.Pi) + c.logw + prior + logdet + q)
	return o, nil
}

// penalise adds the prior precision of factor k to the diagonal (and for a walk the sub-diagonals) of its block.
func (s *system) penalise(k int, a blas64.Symmetric, q float64) {
	f := s.m.Factors[k]
	for l := range f.Levels {
		j := s.at[k] + l
		a.Data[j*a.Stride+j] += q
		if f.Walk && l+1 < f.Levels {
			a.Data[j*a.Stride+j] += q
			a.Data[j*a.Stride+j+1] -= q
		}
	}
}

// apply multiplies a vector by the inverse of the coefficient matrix.
func (o *solved) apply(ra, rb []float64) (xa, xb []float64) {
	s := o.s
	xa, xb = make([]float64, s.na), make([]float64, s.nb)
	copy(xa, ra)
	for l := range xb {
		xb[l] = rb[l] / o.d[l]
	}
	if s.na == 0 {
		return xa, xb
	}
	va := blas64.Vector{N: s.na, Data: xa, Inc: 1}
	if s.nb > 0 {
		blas64.Gemv(blas.NoTrans, -1, o.c.b.RawMatrix(), blas64.Vector{N: s.nb, Data: xb, Inc: 1}, 1, va)
	}
	blas64.Trsv(blas.Trans, o.chol, va)
	blas64.Trsv(blas.NoTrans, o.chol, va)
	if s.nb > 0 {
		t := make([]float64, s.nb)
		blas64.Gemv(blas.Trans, 1, o.c.b.RawMatrix(), va, 0, blas64.Vector{N: s.nb, Data: t, Inc: 1})
		for l := range xb {
			xb[l] -= t[l] / o.d[l]
		}
	}
	return xa, xb
}

// invert fills the blocks of the covariance.
func (o *solved) invert() {
	s := o.s
	o.vbb = make([]float64, s.nb)
	for l, d := range o.d {
		o.vbb[l] = 1 / d
	}
	if s.na == 0 {
		return
	}
	factor := o.chol
	factor.Data = slices.Clone(factor.Data)
	inv, _ := lapack64.Potri(factor) // what could be factored can be inverted
	o.vaa = mat.NewDense(s.na, s.na, nil)
	for j := range s.na {
		for k := j; k < s.na; k++ {
			v := inv.Data[j*inv.Stride+k]
			o.vaa.Set(j, k, v)
			o.vaa.Set(k, j, v)
		}
	}
	if s.nb == 0 {
		return
	}
	o.vab = mat.NewDense(s.na, s.nb, nil)
	o.vab.Mul(o.vaa, o.c.b)
	b, v := o.c.b.RawMatrix().Data, o.vab.RawMatrix().Data
	for j := range s.na {
		for l, d := range o.d {
			e := j*s.nb + l
			v[e] = -v[e] / d
			o.vbb[l] -= v[e] * b[e] / d
		}
	}
}

// quadratic returns the mean and variance of one row's x'β + Σ u.
func quadratic(idx []int, val []float64, lev int, ca, cb []float64, vaa, vab *mat.Dense, vbb []float64) (mean, variance float64) {
	if len(idx) > 0 {
		va := vaa.RawMatrix()
		for e, j := range idx {
			mean += val[e] * ca[j]
			t := 0.5 * va.Data[j*va.Stride+j] * val[e]
			for f := e + 1; f < len(idx); f++ {
				t += va.Data[j*va.Stride+idx[f]] * val[f]
			}
			if lev >= 0 {
				t += vab.At(j, lev)
			}
			variance += 2 * val[e] * t
		}
	}
	if lev >= 0 {
		mean += cb[lev]
		variance += vbb[lev]
	}
	return mean, variance
}

// score returns the derivatives of the log likelihood by the logarithms of the spreads, and the average information
// of the variances themselves (Gilmour, Thompson & Cullis 1995, Biometrics 51(4)). The blocks must be there.
func (o *solved) score() (grad []float64, info *mat.SymDense) {
	s := o.s
	k := len(o.sd)
	grad = make([]float64, k)
	info = mat.NewSymDense(k, nil)
	// work[j] is the working variate V_j P y, of which P takes the information.
	work := make([][]float64, k)
	wa, wb := make([][]float64, k), make([][]float64, k)
	for j := range k {
		work[j], wa[j], wb[j] = make([]float64, s.n), make([]float64, s.na), make([]float64, s.nb)
	}
	weight := make([]float64, s.n)
	trace := 0.0
	for i, y := range s.y {
		w := 1 / (o.sd[0]*o.sd[0]*s.r[i] + s.v[i])
		idx, val := s.idx[s.ptr[i]:s.ptr[i+1]], s.val[s.ptr[i]:s.ptr[i+1]]
		fit, h := quadratic(idx, val, s.lev[i], o.ca, o.cb, o.vaa, o.vab, o.vbb)
		e := y - fit
		trace += s.r[i] * (w - w*w*(h+e*e))
		weight[i] = w
		work[0][i] = s.r[i] * w * e
		for f := range s.m.Factors {
			if l := s.m.Factors[f].Level[i]; l >= 0 {
				work[f+1][i] = o.effect(f, l) / (o.sd[f+1] * o.sd[f+1])
			}
		}
		for j := range k {
			t := w * work[j][i]
			for e, x := range idx {
				wa[j][x] += t * val[e]
			}
			if l := s.lev[i]; l >= 0 {
				wb[j][l] += t
			}
		}
	}
	grad[0] = -o.sd[0] * o.sd[0] * trace
	for f := range s.m.Factors {
		grad[f+1] = o.energy(f)/(o.sd[f+1]*o.sd[f+1]) - float64(s.m.Factors[f].Levels)
	}
	for j := range k {
		xa, xb := o.apply(wa[j], wb[j])
		for l := range j + 1 {
			t := 0.0
			for i, w := range weight {
				t += w * work[j][i] * work[l][i]
			}
			for i, x := range xa {
				t -= x * wa[l][i]
			}
			for i, x := range xb {
				t -= x * wb[l][i]
			}
			info.SetSym(j, l, t/2)
		}
	}
	return grad, info
}

func (o *solved) effect(f, l int) float64 {
	if f == o.s.elim {
		return o.cb[l]
	}
	return o.ca[o.s.at[f]+l]
}

// energy is E[u' G⁻¹ u] of a factor given the data.
func (o *solved) energy(f int) float64 {
	t := 0.0
	fac := o.s.m.Factors[f]
	if f == o.s.elim {
		for l, u := range o.cb {
			t += u*u + o.vbb[l]
		}
		return t
	}
	at := o.s.at[f]
	for l := range fac.Levels {
		u := o.ca[at+l]
		v := o.vaa.At(at+l, at+l)
		t += u*u + v
		if fac.Walk && l+1 < fac.Levels {
			t += u*u + v - 2*(u*o.ca[at+l+1]+o.vaa.At(at+l, at+l+1))
		}
	}
	return t
}
