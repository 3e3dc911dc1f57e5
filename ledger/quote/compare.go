package quote

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// Cast is a casting as it was cast.
type Cast struct {
	Alloy  string
	Mass   int64 // milligrams, as it came from its heat
	Metal  int64 // minor units: its share of the metal charged less what came back
	Price  int64 // minor units for a tonne of its heat's charge
	Lost   int64 // parts per million of its heat's charge that castings bear
	Failed bool
	Waste  int64 // of one that failed: all it cost less what was recovered of it
}

// Hours is work that was done.
type Hours struct {
	Kind    string
	Minutes int64
	Cost    int64
}

// Actual is what a commission has really cost, in minor units.
type Actual struct {
	Castings    []Cast
	Fuel        int64 // of the castings that are good
	Consumables int64
	Work        []Hours
	Bought      int64
	Overhead    int64
}

// Cost is all of it.
func (a *Actual) Cost() (sum int64) {
	sum = a.Fuel + a.Consumables + a.Bought + a.Overhead
	for _, c := range a.Castings {
		if c.Failed {
			sum += c.Waste
		} else {
			sum += c.Metal
		}
	}
	for _, w := range a.Work {
		sum += w.Cost
	}
	return sum
}

// Reason is why a commission cost something else than was quoted.
type Reason string

// The reasons, in the order in which the figures of the quote are replaced.
const (
	ByNumber      Reason = "castings not quoted or not cast yet"
	ByWeight      Reason = "weight"
	ByPrice       Reason = "metal price"
	ByLoss        Reason = "loss"
	ByYield       Reason = "yield"
	ByConsumables Reason = "consumables"
	ByFuel        Reason = "fuel"
	ByHours       Reason = "hours of work"
	ByRates       Reason = "rates of work"
	ByOverhead    Reason = "overhead"
	ByBought      Reason = "bought in"
	ByRecasts     Reason = "recasts"
	ByContingency Reason = "contingency not needed"
)

var reasons = []Reason{ByNumber, ByWeight, ByPrice, ByLoss, ByYield, ByConsumables, ByFuel, ByHours, ByRates, ByOverhead, ByBought, ByRecasts, ByContingency}

// Difference is what one reason makes: above zero it cost more than was quoted.
type Difference struct {
	Reason Reason
	Minor  int64
}

// Compare splits what a commission cost more than its quote, margin apart, by reason. The
// differences add up to a.Cost() less the cost of the quote. It refuses what [Make] does.
func Compare(job Job, q Quote, a Actual) ([]Difference, error) {
	if err := job.check(); err != nil {
		return nil, err
	}
	j := job.sorted()
	var quoted [numCauses]int64
	for _, l := range q.Lines {
		quoted[l.Cause] = l.Minor
	}
	by := map[Reason]int64{}
	replace := func(from int64, steps ...step) {
		for _, s := range steps {
			by[s.reason] += s.minor - from
			from = s.minor
		}
	}
	replace(quoted[OfMetal]+quoted[OfGating]+quoted[OfReturns]+quoted[OfLoss], j.metalSteps(a.Castings)...)
	replace(quoted[Labour], j.workSteps(a.Work)...)
	wasted := int64(0)
	for _, c := range a.Castings {
		if c.Failed {
			wasted += c.Waste
		}
	}
	replace(quoted[Consumables], step{ByConsumables, a.Consumables})
	replace(quoted[Fuel], step{ByFuel, a.Fuel})
	replace(quoted[Overhead], step{ByOverhead, a.Overhead})
	replace(quoted[BoughtIn], step{ByBought, a.Bought})
	replace(quoted[Recasts], step{ByRecasts, wasted})
	replace(quoted[Contingency], step{ByContingency, 0})
	var out []Difference
	for _, r := range reasons {
		out = append(out, Difference{r, by[r]})
	}
	return out, nil
}

// step is what a part of the job costs once one more figure is the real one.
type step struct {
	reason Reason
	minor  int64
}

// group is what was quoted of one alloy, and what was cast of it.
type group struct {
	copies, mass, gating float64 // quoted
	price, back, loss    float64
	atCost               bool
	cast, got            float64 // really: how many, and their mass
	paid, lost           float64 // really: price and loss, weighted by mass
	cost                 float64
}

// each is what a milligram of casting costs in metal.
func (g *group) each(price, back, loss float64) float64 {
	gating := 0.0
	if g.mass > 0 {
		gating = g.gating / g.mass
	}
	return ((1+gating)/(1-loss)*price - gating*back) / tonne
}

func (j *Job) groups(all []Cast) (quoted map[string]*group, rest float64) {
	quoted = map[string]*group{}
	for _, m := range j.Metals {
		g := &group{price: float64(m.Price.Likely), back: float64(m.Recovered.Likely), loss: float64(m.Loss.Likely) / Million, atCost: m.AtCost}
		if m.AtCost {
			g.back = g.price
		}
		own := true
		for _, c := range j.Castings {
			if c.Alloy == m.Alloy {
				own = own && c.Own
				g.copies += float64(c.Copies)
				g.mass += float64(c.Copies) * float64(c.Metal.Likely)
				g.gating += float64(c.Copies) * float64(c.Gating.Likely)
			}
		}
		if g.copies == 0 {
			continue
		}
		if own {
			g.price, g.back = 0, 0
		}
		quoted[m.Alloy] = g
	}
	for _, c := range all {
		switch g := quoted[c.Alloy]; {
		case c.Failed:
		case g == nil: // of an alloy that was not quoted
			rest += float64(c.Metal)
		default:
			g.cast++
			g.got += float64(c.Mass)
			g.paid += float64(c.Mass) * float64(c.Price)
			g.lost += float64(c.Mass) * float64(c.Lost) / Million
			g.cost += float64(c.Metal)
		}
	}
	return quoted, rest
}

// metalSteps replaces the number of castings, their weight, the price and the loss, each
// summed over the alloys and rounded once; the last is what the metal really cost.
func (j *Job) metalSteps(all []Cast) []step {
	groups, rest := j.groups(all)
	sums := [5]float64{rest, rest, rest, rest, rest}
	for _, alloy := range slices.Sorted(maps.Keys(groups)) {
		g := groups[alloy]
		sums[4] += g.cost
		if g.cast == 0 || g.got == 0 {
			continue
		}
		price, loss := g.paid/g.got, min(g.lost/g.got, 0.5)
		back := g.back
		if g.atCost {
			back = price
		}
		as := g.each(g.price, g.back, g.loss)
		sums[0] += as * g.mass * g.cast / g.copies
		sums[1] += as * g.got
		sums[2] += g.each(price, back, g.loss) * g.got
		sums[3] += g.each(price, back, loss) * g.got
	}
	steps := make([]step, len(sums))
	for i, r := range []Reason{ByNumber, ByWeight, ByPrice, ByLoss, ByYield} {
		steps[i] = step{r, int64(math.RoundToEven(sums[i]))}
	}
	return steps
}

// workSteps replaces the hours and then what an hour cost. Work of a kind that was not
// quoted is hours altogether.
func (j *Job) workSteps(all []Hours) []step {
	atQuoted, really := 0.0, int64(0)
	for _, h := range slices.SortedFunc(slices.Values(all), func(a, b Hours) int { return cmp.Compare(a.Kind, b.Kind) }) {
		really += h.Cost
		if i := slices.IndexFunc(j.Work, func(w Work) bool { return w.Kind == h.Kind }); i >= 0 {
			atQuoted += float64(h.Minutes) * float64(j.Work[i].Rate) / 60
		} else {
			atQuoted += float64(h.Cost)
		}
	}
	return []step{{ByHours, int64(math.RoundToEven(atQuoted))}, {ByRates, really}}
}
