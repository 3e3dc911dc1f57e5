package quote

import "gonum.org/v1/gonum/stat/distuv"

// Chance is what is believed of the chance that a casting fails: a beta distribution. A
// Chance with A = 0 is no chance at all.
type Chance struct{ A, B float64 }

// Start is the belief before the shop has cast anything: one casting in ten, worth as much
// as ten castings. An assumption: common practice, no source.
func Start() Chance { return Chance{1, 9} }

// Learn adds what was seen: by Bayes' rule failures add to A and the rest to B.
func (c Chance) Learn(failed, cast int64) Chance {
	return Chance{c.A + float64(failed), c.B + float64(cast-failed)}
}

// check refuses a belief under which the recasts to be expected are without end.
func (c Chance) check() error {
	return need(c.A == 0 || c.A > 0 && c.B > 1, "failure", c, "A ≥ 0 and B above 1")
}

// Mean is A ÷ (A + B).
func (c Chance) Mean() float64 {
	if c.A == 0 {
		return 0
	}
	return c.A / (c.A + c.B)
}

// Quantile is the chance that a part u of the belief is below.
func (c Chance) Quantile(u float64) float64 {
	if c.A == 0 {
		return 0
	}
	return distuv.Beta{Alpha: c.A, Beta: c.B}.Quantile(u)
}

// Vain is how many castings in vain are to be expected for a good one: the mean of
// p ÷ (1 − p), which is A ÷ (B − 1).
func (c Chance) Vain() float64 {
	if c.A == 0 {
		return 0
	}
	return c.A / (c.B - 1)
}

// hopeless bounds the chance of one outcome of the simulation: a shop that fails three
// times in four does not quote.
const hopeless = 0.75

// recasts is how many castings fail before n are good, at the level u of the negative
// binomial distribution with chance p of failing. It never falls when u, n or p grows.
func recasts(n int64, p, u float64) (k int64) {
	p = min(p, hopeless)
	term := 1.0
	for range n {
		term *= 1 - p
	}
	for sum := term; sum <= u && term > 0; k++ {
		term *= p * float64(n+k) / float64(k+1)
		sum += term
	}
	return k
}
