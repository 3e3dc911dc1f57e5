package quote

import (
	"cmp"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
)

// Cause is what a part of a price is for.
type Cause int

// The causes of a price, in the order in which they are listed. Returns are below zero,
// the contingency may be.
const (
	OfMetal Cause = iota
	OfGating
	OfReturns
	OfLoss
	Consumables
	Fuel
	Labour
	Overhead
	BoughtIn
	Recasts
	Contingency
	Margin
	numCauses
)

var causeWords = [numCauses]string{"metal in the castings", "metal in the gating", "gating that comes back", "melt loss", "consumables", "fuel",
	"labour", "overhead", "bought in", "recasts", "contingency", "margin"}

func (c Cause) String() string { return causeWords[c] }

// parts are amounts by cause, in minor units.
type parts [numCauses]float64

// Line is a part of a price, in minor units.
type Line struct {
	Cause Cause
	Minor int64
}

// Quote is the answer. Its lines add up to Likely.
type Quote struct {
	Low, Likely, High int64 // the price that is enough in 10, 50 and 90 of 100 outcomes
	Average           int64 // over all outcomes
	Cost              int64 // of Likely, without the margin
	Lines             []Line
	Recasts           float64 // castings in vain that are to be expected
}

// Trials is how many outcomes are simulated unless a job says otherwise. The middle one is
// then off by about 2 % of the standard deviation of the cost, 1.25 ÷ √4000.
const Trials = 4000

// Make reckons a quote. It refuses a job with a figure that cannot be, as a *FieldError.
func Make(job Job) (q Quote, err error) {
	if err := job.check(); err != nil {
		return q, err
	}
	j := job.sorted()
	var lines [numCauses]int64
	sum := int64(0)
	for c, x := range j.at(likeliest{}) {
		lines[c] = int64(math.RoundToEven(x))
		sum += lines[c]
	}
	outcomes := j.simulate()
	slices.Sort(outcomes)
	total := 0.0
	for _, x := range outcomes {
		total += x
	}
	q.Cost = quantile(outcomes, 0.5)
	q.Low, q.Likely, q.High = j.price(quantile(outcomes, 0.1)), j.price(q.Cost), j.price(quantile(outcomes, 0.9))
	q.Average = j.price(int64(math.RoundToEven(total / float64(len(outcomes)))))
	q.Recasts = float64(j.copies()) * j.Failure.Vain()
	lines[Contingency] = q.Cost - sum
	lines[Margin] = q.Likely - q.Cost
	for c, minor := range lines {
		q.Lines = append(q.Lines, Line{Cause(c), minor})
	}
	return q, nil
}

// price adds the margin: price = cost ÷ (1 − margin).
func (j *Job) price(cost int64) int64 {
	return int64(math.RoundToEven(float64(cost) * Million / float64(Million-j.Margin)))
}

// quantile is the outcome that a part u of the sorted outcomes is not above.
func quantile(sorted []float64, u float64) int64 {
	return int64(math.RoundToEven(sorted[int(math.Ceil(u*float64(len(sorted))))-1]))
}

// drawer says what the unsure figures of a job are in one outcome.
type drawer interface {
	figure(name string, s Spread) float64
	vain(casting string, copies int64, c Chance) float64
}

// likeliest is the outcome at the likeliest figures, with the recasts to be expected.
type likeliest struct{}

func (likeliest) figure(_ string, s Spread) float64             { return float64(s.Likely) }
func (likeliest) vain(_ string, copies int64, c Chance) float64 { return float64(copies) * c.Vain() }

// at is what a job costs by cause in one outcome, in minor units.
func (j *Job) at(d drawer) (out parts) {
	again := 0.0 // work to be done over, for one casting
	for _, w := range j.Work {
		cost := d.figure("work/"+w.Kind, w.Minutes) * float64(w.Rate) / 60
		out[Labour] += cost
		if w.Again && len(j.Castings) > 0 {
			again += cost / float64(j.copies())
		}
	}
	overhead := float64(j.Overhead) / Million
	out[Overhead] = out[Labour] * overhead
	for _, x := range j.Items {
		out[BoughtIn] += d.figure("item/"+x.Name, x.Cost)
	}
	mold, perCharge := d.figure("molds", j.Molds), d.figure("consumables", j.Consumables)/tonne
	fuel := d.figure("fuel", j.Fuel) / tonne
	for _, c := range j.Castings {
		i := slices.IndexFunc(j.Metals, func(m Metal) bool { return m.Alloy == c.Alloy })
		m := j.Metals[i]
		metal, gating := d.figure("metal/"+c.Name, c.Metal), d.figure("gating/"+c.Name, c.Gating)
		price, back := d.figure("price/"+m.Alloy, m.Price)/tonne, d.figure("price/"+m.Alloy, m.Recovered)/tonne
		if m.AtCost {
			back = price
		}
		loss := d.figure("loss/"+m.Alloy, m.Loss) / Million
		poured := metal + gating
		charge := poured / (1 - loss)
		n, vain := float64(c.Copies), d.vain(c.Name, c.Copies, j.Failure)
		if c.Own {
			price, back = 0, 0
		}
		out[OfMetal] += n * metal * price
		out[OfGating] += n * gating * price
		out[OfReturns] -= n * gating * back
		out[OfLoss] += n * (charge - poured) * price
		out[Consumables] += n * (mold + charge*perCharge)
		out[Fuel] += n * charge * fuel
		out[Recasts] += vain * (charge*(price+perCharge+fuel) - poured*back + mold + again*(1+overhead))
	}
	return out
}

// simulate gives the cost of each outcome.
func (j *Job) simulate() []float64 {
	d := &draws{seed: j.Seed, streams: map[string]*stream{}}
	for i := range d.chances {
		d.chances[i] = j.Failure.Quantile((float64(i) + 0.5) / chanceLevels)
	}
	out := make([]float64, cmp.Or(j.Trials, Trials))
	for d.trial = range out {
		for _, x := range j.at(d) {
			out[d.trial] += x
		}
	}
	return out
}

// chanceLevels is how finely the belief about failing is cut: each level is drawn alike.
const chanceLevels = 256

// draws are outcomes at random. Each figure has a stream of its own that follows from the
// seed and the figure's name, so that what else is in the job changes nothing of it.
type draws struct {
	seed    uint64
	trial   int
	streams map[string]*stream
	chances [chanceLevels]float64
}

type stream struct {
	*rand.Rand
	trial int // counted from 1
	value float64
}

// level is a figure's part of the way from its lowest to its highest, in this trial.
func (d *draws) level(name string) float64 {
	s := d.streams[name]
	if s == nil {
		h := fnv.New64a()
		_, _ = h.Write([]byte(name))                                // never fails
		s = &stream{Rand: rand.New(rand.NewPCG(d.seed, h.Sum64()))} //nolint:gosec // the same quote again, not secrets
		d.streams[name] = s
	}
	if s.trial != d.trial+1 {
		s.trial, s.value = d.trial+1, s.Float64()
	}
	return s.value
}

func (d *draws) figure(name string, s Spread) float64 { return s.Quantile(d.level(name)) }

// vain draws one chance for the whole job, since it is the same shop, and for each
// pattern by itself how often it fails.
func (d *draws) vain(casting string, copies int64, _ Chance) float64 {
	chance := d.chances[int(d.level("failure")*chanceLevels)]
	return float64(recasts(copies, chance, d.level("vain/"+casting)))
}
