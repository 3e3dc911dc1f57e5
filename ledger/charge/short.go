package charge

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Loss is the part of a charge that is lost, as a distribution: Quantile(p) stays
// above it with chance p. Forecasts of package loss are of this kind.
type Loss interface {
	Quantile(p float64) float64
}

// NormalLoss is a loss of which only mean and standard deviation are known.
type NormalLoss struct{ Mean, SD float64 }

// Quantile of the normal distribution.
func (l NormalLoss) Quantile(p float64) float64 {
	if l.SD == 0 {
		return l.Mean
	}
	return l.Mean + l.SD*mathext.NormalQuantile(p)
}

// sizing knows how much metal a heat's molds may take and how doubtful the loss is.
type sizing struct {
	mean  float64 // what the molds take, mg
	lossy float64 // mean loss
	// A lattice over the two unknown scales: for given spread s and loss, what the
	// molds take is normal. The nodes are Φ(z) of equally spaced z, whose
	// trapezoidal sum converges faster than any power of the step (L. N. Trefethen
	// and J. A. C. Weideman, SIAM Review 56, 2014; cited from memory).
	sd, sdWeight     []float64 // mg
	loss, lossWeight []float64 // deviation of the loss from its mean
	normal           float64   // standard deviation of a normal loss, which needs no lattice
}

// A loss known by past errors is not smooth and gets the finer step.
const (
	smoothStep = 0.5
	raggedStep = 0.2
)

func lattice(step float64) (p, weight []float64) {
	const reach = 5.0
	sum := 0.0
	for z := -reach; z <= reach+1e-9; z += step {
		w := math.Exp(-z * z / 2)
		p = append(p, 0.5*math.Erfc(-z/math.Sqrt2))
		weight = append(weight, w)
		sum += w
	}
	for i := range weight {
		weight[i] /= sum
	}
	return p, weight
}

func newSizing(molds []Mold, f Filling, loss Loss) *sizing {
	return sizer(f, loss)(molds)
}

// sizer does once what does not depend on the molds.
func sizer(f Filling, loss Loss) func([]Mold) *sizing {
	base := sizing{loss: []float64{0}, lossWeight: []float64{1}}
	if n, ok := loss.(NormalLoss); ok {
		base.lossy, base.normal = n.Mean, n.SD
	} else if loss != nil {
		p, w := lattice(raggedStep)
		base.loss, base.lossWeight = make([]float64, len(p)), w
		for i := range p {
			base.loss[i] = loss.Quantile(p[i])
			base.lossy += w[i] * base.loss[i]
		}
		for i := range p {
			base.loss[i] -= base.lossy
		}
	}
	variance, weight := []float64{f.Spread * f.Spread}, []float64{1}
	if f.DF > 0 {
		p, w := lattice(smoothStep)
		variance, weight = make([]float64, len(p)), w
		for i := range p {
			// DF·Spread²/s² is χ², that is twice a gamma variable of shape DF/2.
			chi := 2 * mathext.GammaIncRegInv(f.DF/2, 1-p[i])
			variance[i] = f.DF * f.Spread * f.Spread / math.Max(chi, 1e-12)
		}
	}
	return func(molds []Mold) *sizing {
		s := base
		sum, squares, own := 0.0, 0.0, 0.0
		for _, m := range molds {
			sum += m.Metal.Mean
			squares += m.Metal.Mean * m.Metal.Mean
			own += m.Metal.SD * m.Metal.SD
		}
		s.mean = sum * (1 + f.Bias)
		common := 0.0 // the doubt about the bias is one for all molds
		if f.Weight > 0 {
			common = sum * sum / f.Weight
		}
		s.sd, s.sdWeight = make([]float64, len(variance)), weight
		for i, v := range variance {
			s.sd[i] = math.Sqrt(v*(squares+common) + own)
		}
		return &s
	}
}

// need is mean and standard deviation of what the molds take.
func (s *sizing) need() Estimate {
	v := 0.0
	for i, w := range s.sdWeight {
		v += w * s.sd[i] * s.sd[i]
	}
	return Estimate{s.mean, math.Sqrt(v)}
}

func (s *sizing) lossSD() float64 {
	v := s.normal * s.normal
	for i, w := range s.lossWeight {
		v += w * s.loss[i] * s.loss[i]
	}
	return math.Sqrt(v)
}

// short returns the chance that the molds take more than there is, and its slope
// by the metal: there are metal mg on the average of the loss, of a charge of mg.
func (s *sizing) short(metal, charge float64) (chance, slope float64) {
	for i, dl := range s.loss {
		gap := metal - charge*dl - s.mean
		for k, sd := range s.sd {
			w := s.lossWeight[i] * s.sdWeight[k]
			if w < 1e-10 {
				continue
			}
			if s.normal > 0 {
				sd = math.Sqrt(sd*sd + charge*charge*s.normal*s.normal)
			}
			if sd <= 0 {
				if gap < 0 {
					chance += w
				}
				continue
			}
			z := gap / sd
			if z > 9 {
				continue
			} else if z < -9 {
				chance += w
				continue
			}
			chance += w * 0.5 * math.Erfc(z/math.Sqrt2)
			slope -= w * math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi))
		}
	}
	return chance, slope
}

// require is the least metal, on the average of the loss of a charge of that
// mass, whose chance of running short is at most p.
func (s *sizing) require(p, charge float64) float64 {
	reach := charge * s.normal
	for _, sd := range s.sd {
		reach = math.Max(reach, sd)
	}
	for _, dl := range s.loss {
		reach = math.Max(reach, math.Abs(charge*dl))
	}
	if reach == 0 {
		return s.mean
	}
	low, high := s.mean-40*reach, s.mean+40*reach
	x := s.mean - mathext.NormalQuantile(p)*math.Hypot(s.need().SD, charge*s.lossSD())
	for range 100 {
		chance, slope := s.short(x, charge)
		if chance > p {
			low = x
		} else {
			high = x
		}
		if math.Abs(chance-p) < 1e-10 || high-low < 0.5 {
			break
		}
		next := x - (chance-p)/slope // Newton, kept inside the bracket
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		x = next
	}
	for by := 0.5; ; by *= 2 { // on the safe side by as little as does it
		if chance, _ := s.short(x, charge); chance <= p {
			return x
		}
		x += by
	}
}

// noCharge stands for none: where the loss is hardly known no charge is enough. No
// crucible holds a thousand tonnes.
const noCharge = 1e15

// leastCharge is the least charge whose metal, with rest mg from elsewhere, runs
// short with chance p at most: Newton on the charge itself, kept inside a bracket.
func (s *sizing) leastCharge(p, rest float64) float64 {
	keep := 1 - s.lossy
	low, high := 0.0, math.Inf(1)
	x := math.Max(0, (s.mean-rest)/keep)
	x = math.Max(0, (s.mean-rest-mathext.NormalQuantile(p)*math.Hypot(s.need().SD, x*s.lossSD()))/keep)
	for range 100 {
		chance, slope := s.short(x*keep+rest, x)
		if chance > p {
			low = x
		} else {
			high = x
		}
		if chance <= p && (p-chance < 1e-9 || x == 0) || high-low < 0.5 {
			break
		}
		// Aim a trace beyond, so that the last step lands on the safe side.
		next := x - (chance-p*(1-1e-10))/(slope*keep)
		if !(next > low && next < high) {
			if next = (low + high) / 2; math.IsInf(high, 1) {
				next = 2*x + 1e3
			}
		}
		x = next
	}
	for by := 0.5; ; by *= 2 {
		if chance, _ := s.short(x*keep+rest, x); chance <= p {
			return x
		}
		if !(x < noCharge) {
			return noCharge
		}
		x += by
	}
}

// middleCharge is the charge whose metal, with rest mg from elsewhere, fills the molds
// and leaves pourOff mg on the average.
func (s *sizing) middleCharge(rest, pourOff float64) float64 {
	return math.Max(0, (s.mean-rest+pourOff)/(1-s.lossy))
}

// charge is the least charge that does that and runs short with chance p at most.
func (s *sizing) charge(p, rest, pourOff float64) float64 {
	return math.Max(s.middleCharge(rest, pourOff), s.leastCharge(p, rest))
}

// LeastCharge is the least charge of a heat, in mg: its metal, with the heel and less the
// skull, fills the molds and leaves the pour-off on the average, and runs short with the
// chance set at most. It is what a plan demands before it looks at pieces and lots, which
// lose more or less than the average. The error is a *FieldError.
func LeastCharge(h *Heat) (int64, error) {
	var c checks
	h.check(&c, "Heat", nil)
	if c.err != nil {
		return 0, c.err
	}
	least := newSizing(h.Molds, h.Filling, h.Loss).charge(h.ChanceShort, float64(h.Heel-h.Skull), float64(h.PourOff))
	if !(least < noCharge) {
		return 0, &FieldError{Field: "Heat.ChanceShort", Value: fmt.Sprint(h.ChanceShort), Want: "a greater chance: with a loss that is hardly known no charge is enough for it"}
	}
	return int64(math.Ceil(least)), nil
}
