package loss

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Regression is a least-squares fit.
type Regression struct {
	Coef, SE   []float64 // p
	Residual   float64   // residual standard deviation; NaN when n = p
	SSE        float64   // (weighted) residual sum of squares
	DF         int       // n − p
	RSquared   float64   // about the mean when some column is constant, about 0 otherwise
	Covariance *mat.SymDense
}

// LeastSquares fits y = X β by Householder QR with columns scaled to unit length, then corrects β once with residuals
// formed with fused multiply-adds. X has n rows of p columns, weights w (nil: all 1) are inverse variances up to a
// factor. Fewer rows than columns, or columns that depend on each other to within the arithmetic, give ErrSingular.
func LeastSquares(x [][]float64, y, w []float64) (*Regression, error) {
	n := len(y)
	if len(x) != n || n == 0 || (w != nil && len(w) != n) {
		return nil, &FieldError{Field: "X", Value: fmt.Sprintf("%d rows, %d weights for %d observations", len(x), len(w), n), Want: "as many rows (and weights) as observations, at least 1"}
	}
	p := len(x[0])
	if p == 0 || n < p {
		return nil, fmt.Errorf("%w: %d observations for %d coefficients", ErrSingular, n, p)
	}
	a, b, scale := mat.NewDense(n, p, nil), mat.NewVecDense(n, nil), make([]float64, p)
	root := func(i int) float64 {
		if w == nil {
			return 1
		}
		return math.Sqrt(w[i])
	}
	for j := range p {
		for i := range n {
			if len(x[i]) != p || !finite(x[i][j]) || !finite(y[i]) || !(root(i) >= 0) {
				return nil, &FieldError{Field: fmt.Sprintf("observation %d", i), Value: fmt.Sprint(x[i], " and ", y[i]), Want: fmt.Sprintf("%d finite columns, a finite value and a weight not negative", p)}
			}
			scale[j] = math.Hypot(scale[j], root(i)*x[i][j])
		}
		if scale[j] == 0 {
			return nil, fmt.Errorf("%w: column %d is all zeros", ErrSingular, j)
		}
		for i := range n {
			a.Set(i, j, root(i)*x[i][j]/scale[j])
			b.SetVec(i, root(i)*y[i])
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	if qr.Cond() > 1e15 {
		return nil, fmt.Errorf("%w: the columns of X depend on each other", ErrSingular)
	}
	r := &Regression{Coef: make([]float64, p), SE: make([]float64, p), DF: n - p}
	res := mat.VecDenseCopyOf(b)
	scaled := make([]float64, p)
	for range 2 {
		step := mat.NewVecDense(p, nil)
		_ = qr.SolveVecTo(step, false, res) // an ill condition was weighed above
		for j := range p {
			scaled[j] += step.AtVec(j)
			r.Coef[j] = scaled[j] / scale[j]
		}
		for i := range n {
			e := y[i]
			for j := range p {
				e = math.FMA(-x[i][j], r.Coef[j], e)
			}
			res.SetVec(i, root(i)*e)
		}
	}
	r.SSE = mat.Dot(res, res)
	r.Residual = math.Sqrt(r.SSE / float64(r.DF))
	if r.DF == 0 {
		r.Residual = math.NaN()
	}
	r.covariance(&qr, scale)
	r.RSquared = 1 - r.SSE/total(x, y, w)
	return r, nil
}

func (r *Regression) covariance(qr *mat.QR, scale []float64) {
	p := len(scale)
	var upper mat.Dense
	qr.RTo(&upper)
	tri := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			tri.SetTri(i, j, upper.At(i, j))
		}
	}
	var inv mat.TriDense
	_ = inv.InverseTri(tri)
	r.Covariance = mat.NewSymDense(p, nil)
	s2 := r.Residual * r.Residual
	for i := range p {
		for j := i; j < p; j++ {
			t := 0.0
			for k := j; k < p; k++ {
				t += inv.At(i, k) * inv.At(j, k)
			}
			r.Covariance.SetSym(i, j, s2*t/scale[i]/scale[j])
		}
		r.SE[i] = math.Sqrt(r.Covariance.At(i, i))
	}
}

// total is the sum of squares that R² compares with: about the weighted mean when a column is constant.
func total(x [][]float64, y, w []float64) float64 {
	constant := false
	for j := range x[0] {
		same := true
		for i := range x {
			same = same && x[i][j] == x[0][j]
		}
		constant = constant || same
	}
	weight := func(i int) float64 {
		if w == nil {
			return 1
		}
		return w[i]
	}
	mean, sum := 0.0, 0.0
	if constant {
		for i := range y {
			sum += weight(i)
			mean += weight(i) * (y[i] - mean) / sum
		}
	}
	t := 0.0
	for i := range y {
		t += weight(i) * (y[i] - mean) * (y[i] - mean)
	}
	return t
}
