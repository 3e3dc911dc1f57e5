package loss

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
)

// ahead is one observation against its forecast from the observations before it: its expected value, the standard
// deviation of the forecast, its own spread and sampling error included, and the standardised difference.
type ahead struct{ mean, sd, z float64 }

// sequence forecasts each of observations from … n-1 from those before it, at known variances (residual first), by the
// recursive form of the normal equations: one rank-one update an observation. All priors must be proper.
func (s *system) sequence(variances []float64, from int) ([]ahead, error) {
	sd := make([]float64, len(variances))
	for k, v := range variances {
		sd[k] = math.Sqrt(math.Max(v, 1e-300))
	}
	sd[0] = math.Sqrt(variances[0])
	o, err := s.solve(s.crossUpTo(variances[0], from), sd)
	if err != nil {
		return nil, err
	}
	mean, cov := o.full()
	dim := len(mean)
	gain := make([]float64, dim)
	out := make([]ahead, 0, s.n-from)
	for i := from; i < s.n; i++ {
		idx, val := s.idx[s.ptr[i]:s.ptr[i+1]], s.val[s.ptr[i]:s.ptr[i+1]]
		fit := 0.0
		for j := range gain {
			gain[j] = 0
		}
		take := func(j int, x float64) {
			fit += x * mean[j]
			row := cov.Data[j*dim : (j+1)*dim]
			for k, c := range row {
				gain[k] += x * c
			}
		}
		for e, j := range idx {
			take(j, val[e])
		}
		if l := s.lev[i]; l >= 0 {
			take(s.na+l, 1)
		}
		v := variances[0]*s.r[i] + s.v[i]
		for e, j := range idx {
			v += val[e] * gain[j]
		}
		if l := s.lev[i]; l >= 0 {
			v += gain[s.na+l]
		}
		a := ahead{sd: math.Sqrt(v)}
		e := s.y[i] - fit
		a.mean, a.z = s.m.Y[i]-e, e/a.sd
		out = append(out, a)
		blas64.Axpy(e/v, blas64.Vector{N: dim, Data: gain, Inc: 1}, blas64.Vector{N: dim, Data: mean, Inc: 1})
		for j, g := range gain {
			if g == 0 {
				continue
			}
			blas64.Axpy(-g/v, blas64.Vector{N: dim, Data: gain, Inc: 1}, blas64.Vector{N: dim, Data: cov.Data[j*dim:], Inc: 1})
		}
	}
	return out, nil
}

// after is the system without its first observations, for sequence alone.
func (s *system) after(first int) *system {
	t, m := *s, *s.m
	m.Y = m.Y[first:]
	t.m, t.n = &m, s.n-first
	t.y, t.v, t.r, t.ptr, t.lev = s.y[first:], s.v[first:], s.r[first:], s.ptr[first:], s.lev[first:]
	return &t
}

// full returns the mean and the whole covariance of all unknowns, the dense block first.
func (o *solved) full() ([]float64, blas64.General) {
	s := o.s
	o.invert()
	dim := s.na + s.nb
	cov := mat.NewDense(dim, dim, nil)
	if s.na > 0 {
		cov.Slice(0, s.na, 0, s.na).(*mat.Dense).Copy(o.vaa)
	}
	if s.nb > 0 {
		low := cov.Slice(s.na, dim, s.na, dim).(*mat.Dense)
		if s.na > 0 {
			cov.Slice(0, s.na, s.na, dim).(*mat.Dense).Copy(o.vab)
			cov.Slice(s.na, dim, 0, s.na).(*mat.Dense).Copy(o.vab.T())
			// D⁻¹ + D⁻¹B'·vaa·B D⁻¹, and vaa·B D⁻¹ is minus the cross block.
			low.Mul(o.c.b.T(), o.vab)
		}
		raw := low.RawMatrix()
		for l, d := range o.d {
			for k := range s.nb {
				raw.Data[l*raw.Stride+k] /= -d
			}
			raw.Data[l*raw.Stride+l] += 1 / d
		}
	}
	return append(append([]float64(nil), o.ca...), o.cb...), cov.RawMatrix()
}
