package balance

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Contribution is one line of an uncertainty budget.
type Contribution struct {
	Name        string
	Value       float64 // estimate of the input, in its own unit
	U           float64 // standard uncertainty of the input, in its own unit, not negative
	Dof         float64 // degrees of freedom of U; 0 means infinitely many (GUM G.4.3)
	Sensitivity float64 // change of the result per unit of the input; Evaluate fills it in
}

// Size returns |sensitivity| × u, the part in the unit of the result.
func (c Contribution) Size() float64 { return math.Abs(c.Sensitivity) * c.U }

// Budget is a result with its combined standard uncertainty and where it comes from.
type Budget struct {
	Value float64
	U     float64 // combined standard uncertainty
	Dof   float64 // effective degrees of freedom, +Inf when no contribution limits it
	Lines []Contribution
}

// Combine adds independent contributions with known sensitivities to a budget:
// U² = Σ (c u)² (GUM equation 11a), 1/Dof = Σ ((c u)/U)⁴/ν (GUM equation G.2b).
func Combine(value float64, lines []Contribution) Budget {
	b := Budget{Value: value, Dof: math.Inf(1), Lines: lines}
	var v, s float64
	for _, c := range lines {
		v += c.Size() * c.Size()
	}
	b.U = math.Sqrt(v)
	for _, c := range lines {
		if c.Dof > 0 && v > 0 {
			r := c.Size() / b.U
			s += r * r * r * r / c.Dof
		}
	}
	if s > 0 {
		b.Dof = 1 / s
	}
	return b
}

// Evaluate propagates independent inputs through f, which maps their values, in
// order, to the result. Sensitivities are half differences of f over one standard
// uncertainty to each side (GUM 5.1.3 note 2); an input with U = 0 contributes nothing.
// It refuses a negative or non-finite uncertainty and an f that is not finite there.
func Evaluate(f func(x []float64) float64, in []Contribution) (Budget, error) {
	x := make([]float64, len(in))
	for i, c := range in {
		if !(c.U >= 0) || math.IsInf(c.U, 0) {
			return Budget{}, &InputError{Field: fmt.Sprintf("input %q: u", c.Name), Value: c.U, Want: "a finite number, not negative"}
		}
		if !(c.Dof >= 0) {
			return Budget{}, &InputError{Field: fmt.Sprintf("input %q: dof", c.Name), Value: c.Dof, Want: "positive, or 0 for infinitely many"}
		}
		x[i] = c.Value
	}
	lines := make([]Contribution, len(in))
	for i, c := range in {
		lines[i] = c
		lines[i].Sensitivity = 0
		if c.U == 0 {
			continue
		}
		x[i] = c.Value + c.U
		up := f(x)
		x[i] = c.Value - c.U
		lines[i].Sensitivity = (up - f(x)) / (2 * c.U)
		x[i] = c.Value
	}
	b := Combine(f(x), lines)
	if math.IsNaN(b.Value) || math.IsInf(b.Value, 0) || math.IsNaN(b.U) || math.IsInf(b.U, 0) {
		return Budget{}, &InputError{Field: "model", Value: b.Value, Want: "finite at the inputs and one u to each side of them"}
	}
	return b, nil
}

// SecondOrder returns the variance, in the squared unit of the result, that the
// straight-line rule of Evaluate leaves out to the next order (GUM 5.1.2 note):
// Σij [½ fij² + fi fijj] ui² uj². It tells whether the straight line is good enough.
// Derivatives are differences over one standard uncertainty.
func SecondOrder(f func(x []float64) float64, in []Contribution) float64 {
	x := make([]float64, len(in))
	for i, c := range in {
		x[i] = c.Value
	}
	at := func(i int, di float64, j int, dj float64) float64 {
		x[i] += di * in[i].U
		x[j] += dj * in[j].U
		v := f(x)
		x[i], x[j] = in[i].Value, in[j].Value
		return v
	}
	// Each difference below is already multiplied by its powers of u.
	var sum float64
	for i := range in {
		fi := (at(i, 1, i, 0) - at(i, -1, i, 0)) / 2
		for j := range in {
			bend := func(di float64) float64 { // u_j² fjj at x_i + di·u_i
				return at(i, di, j, 1) - 2*at(i, di, j, 0) + at(i, di, j, -1)
			}
			mixed := (at(i, 1, j, 1) - at(i, 1, j, -1) - at(i, -1, j, 1) + at(i, -1, j, -1)) / 4
			if i == j {
				mixed = bend(0)
			}
			sum += mixed*mixed/2 + fi*(bend(1)-bend(-1))/2
		}
	}
	return sum
}

// Expanded returns the half width of the interval that holds the true value with
// probability p and the coverage factor used: Student's t with the effective
// degrees of freedom cut to the next lower whole number (GUM G.4.1 note 1, G.6.4).
// p must lie between 0 and 1, else both are NaN.
func (b Budget) Expanded(p float64) (half, k float64) {
	if !(p > 0 && p < 1) {
		return math.NaN(), math.NaN()
	}
	if nu := math.Floor(b.Dof); nu < 1e6 {
		k = distuv.StudentsT{Sigma: 1, Nu: math.Max(nu, 1)}.Quantile((1 + p) / 2)
	} else {
		k = distuv.UnitNormal.Quantile((1 + p) / 2)
	}
	return k * b.U, k
}

// Apart splits the budget for weighings that share the named contribution: own is
// the standard uncertainty of all others, shared the signed size (sensitivity × u)
// of the named lines together, for a Shared effect of a network.
func (b Budget) Apart(name string) (own, shared float64) {
	var rest, part float64
	for _, c := range b.Lines {
		if c.Name == name {
			part += c.Size() * c.Size()
			shared += c.Sensitivity * c.U
		} else {
			rest += c.Size() * c.Size()
		}
	}
	return math.Sqrt(rest), math.Copysign(math.Sqrt(part), shared)
}

// Uniform returns the standard uncertainty of a value known to lie within ±half
// and nothing else: half/√3 (GUM 4.3.7).
func Uniform(half float64) float64 { return half / math.Sqrt(3) }

// Triangular returns the standard uncertainty of a value within ±half when values
// near the middle are more likely: half/√6 (GUM 4.3.9).
func Triangular(half float64) float64 { return half / math.Sqrt(6) }

// DofOfDoubt returns the degrees of freedom of a standard uncertainty that is
// itself believed only to within the given share of it: 1/(2 share²) (GUM G.4.2,
// equation G.3): 0.25 gives 8. A share of 0 gives 0, infinitely many.
func DofOfDoubt(share float64) float64 {
	if share <= 0 {
		return 0
	}
	return 1 / (2 * share * share)
}
