package loss

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Forecast is what a heat is expected to lose, as a fraction of its charge. It is a distribution: Quantile and Interval
// read it.
type Forecast struct {
	Causes Causes
	Mean   float64
	SD     float64  // with the spread from heat to heat
	DF     float64  // of the Student t that the model alone would give
	Scores int      // heats that calibrated it
	Unseen []string // crucibles, furnaces or families without a heat yet, which widen it
	floor  float64
	law    law
	points points // the calibrated distribution, in standard deviations
}

// Forecast says what a charge will lose in truth, which cannot be below 0.
func (m *Model) Forecast(c Charge) (Forecast, error) {
	f, err := m.forecast(c, 0)
	if err == nil {
		f.floor = 0
		f.Mean = math.Max(0, f.Mean)
	}
	return f, err
}

// ForecastWeighed says what will be weighed of it with standard uncertainty sd (a fraction of the charge): wider, and
// able to reach below 0. It is what a heat that has been weighed is to be compared with.
func (m *Model) ForecastWeighed(c Charge, sd float64) (Forecast, error) {
	if !(sd >= 0) || !finite(sd) {
		return Forecast{}, &FieldError{Field: "uncertainty of the weighed loss", Value: format(sd), Want: "not negative and finite"}
	}
	return m.forecast(c, sd)
}

func (m *Model) forecast(c Charge, sd float64) (Forecast, error) {
	if err := c.check(""); err != nil {
		return Forecast{}, err
	}
	r := m.row(&c)
	mean, variance := m.est.Predict(r)
	relative := m.relative(&c)
	total := variance + relative*m.est.Var[0] + sd*sd
	varvar := relative * relative * m.est.VarVar[0]
	f := Forecast{Causes: m.Causes, Mean: mean + m.offset(c.Family), Scores: len(m.scores), floor: math.Inf(-1)}
	for k, l := range r.Level {
		g := &m.factors[k]
		switch {
		case g.key == nil && m.Heats%m.period == 0: // the next heat opens a period: the walk goes one step further
			total += m.est.Var[k+1]
			varvar += m.est.VarVar[k+1]
		case g.key != nil && l < 0:
			varvar += m.est.VarVar[k+1]
			if key := g.key(&c); key != "" {
				f.Unseen = append(f.Unseen, fmt.Sprintf("%s %s", g.name, key))
			}
		}
	}
	f.SD = math.Sqrt(total)
	f.DF = degrees(total, varvar)
	f.law = law{df: f.DF, skew: skew(f.Mean, total-sd*sd, total)}
	f.points = calibrated(m.scores, f.law)
	return f, nil
}

// degrees is the Student t whose variance and fourth moment are those of a normal with an uncertain variance of this
// mean and variance: 4 + 2 mean²/variance.
func degrees(mean, variance float64) float64 {
	if variance <= 0 {
		return math.Inf(1)
	}
	return 4 + 2*mean*mean/variance
}

// Quantile returns the loss rate that stays below with chance p, 0 < p < 1; NaN outside.
func (f Forecast) Quantile(p float64) float64 {
	if !(p > 0 && p < 1) {
		return math.NaN()
	}
	return math.Max(f.floor, f.Mean+f.SD*f.points.quantile(p, f.law))
}

// Chance returns the chance that the loss rate stays at or below x: the inverse of Quantile.
func (f Forecast) Chance(x float64) float64 {
	low, high := 0.0, 1.0
	for range 60 {
		if p := (low + high) / 2; f.Quantile(p) <= x {
			low = p
		} else {
			high = p
		}
	}
	return low
}

// Interval returns the interval that holds the loss rate with the chance level (0.9 for 90 %), the tails alike.
func (f Forecast) Interval(level float64) (lower, upper float64) {
	return f.Quantile((1 - level) / 2), f.Quantile((1 + level) / 2)
}

// ownPoints is the number of points that the model's own distribution counts for in the calibration: 19 are the fewest
// from which a distribution-free 90 % interval can be had, (19+1) × 5 % = 1.
const ownPoints = 19

// halfLife is the number of heats after which a score counts for half: a shop changes, and what its forecasts missed by
// lately tells more of the next heat (Barber, Candès, Ramdas & Tibshirani 2023, Annals of Statistics 51(2)).
const halfLife = 100

// points is a distribution made of weighted points in ascending order, the weights summed up.
type points struct {
	at, below []float64 // below[i] is the weight of at[0..i]
}

// score is the standardised error of a past forecast, and how much of that forecast's variance was the heat's own: an
// error that mostly tells how little was known then says little of the heats to come.
type score struct{ z, own float64 }

// calibrated makes the forecasts conformal: the standardised errors of past forecasts, each of a heat that its forecast
// had not seen, take the place of the normal law (Vovk, Gammerman & Shafer 2005, Algorithmic Learning in a Random World;
// Lei et al. 2018, JASA 113(523)), each tail for itself, so that skew and heavy tails are covered. So that few heats start
// from the model, ownPoints points at the quantiles of the model's own law stand among them. The scores come in time order.
func calibrated(scores []score, own law) points {
	type point struct{ at, weight float64 }
	all := make([]point, 0, len(scores)+ownPoints)
	for i, s := range scores {
		all = append(all, point{s.z, s.own * math.Exp2(-float64(len(scores)-1-i)/halfLife)})
	}
	for k := 1; k <= ownPoints; k++ {
		all = append(all, point{own.quantile(float64(k) / (ownPoints + 1)), 1})
	}
	slices.SortFunc(all, func(a, b point) int { return cmp.Compare(a.at, b.at) })
	var p points
	sum := 0.0
	for _, x := range all {
		sum += x.weight
		p.at, p.below = append(p.at, x.at), append(p.below, sum)
	}
	return p
}

// quantile is the value of rank p (W+1) among the points of total weight W, straight between neighbours. Beyond the
// outermost it is the model's own quantile, or the outermost where that lies further out: there the points promise nothing.
func (d points) quantile(p float64, own law) float64 {
	last := len(d.at) - 1
	rank := p * (d.below[last] + 1)
	i, _ := slices.BinarySearch(d.below, rank) // the first with at least that weight below
	switch {
	case i > last:
		return math.Max(own.quantile(p), d.at[last])
	case i == 0:
		return math.Min(own.quantile(p), d.at[0])
	}
	t := (rank - d.below[i-1]) / (d.below[i] - d.below[i-1])
	return d.at[i-1]*(1-t) + d.at[i]*t
}

// law is the model's own distribution in standard deviations from its mean: Student's t with variance 1, bent to the
// skew of a log-normal, since a loss cannot be below nought and goes wrong upwards.
type law struct{ df, skew float64 }

// skew is the standard deviation of the logarithm of a log-normal with the forecast's mean and the variance of the
// loss itself, as far as that is the variance of the whole; 0 where the mean leaves no room for one.
func skew(mean, loss, total float64) float64 {
	if !(mean > 0) || !(total > 0) {
		return 0
	}
	variation := math.Min(0.8, math.Sqrt(loss)/mean) * loss / total
	return math.Sqrt(math.Log1p(variation * variation))
}

func (l law) quantile(p float64) float64 {
	z := student(p, l.df)
	if l.skew < 1e-6 {
		return z
	}
	return math.Expm1(l.skew*z-l.skew*l.skew/2) / math.Sqrt(math.Expm1(l.skew*l.skew))
}

// student is the quantile of Student's t scaled to variance 1.
func student(p, df float64) float64 {
	if math.IsInf(df, 1) || df > 1e6 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p) * math.Sqrt((df-2)/df)
}
