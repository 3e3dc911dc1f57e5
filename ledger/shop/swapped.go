package shop

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/remelt/ledger/balance"
)

// A lot booked on the wrong heat is no wrong weighing: the weight is right, and
// two heats are off by it, one short and one over. Testing weighings one by one
// cannot say that, so pairs of heats are looked at beside it.

// offBy is how far a settled heat's unaccounted metal is from what such heats
// lose here, in kg, with the standard uncertainty of that.
type offBy struct {
	heat string
	kg   float64
	u    float64
}

// chanceOfNone is the chance that a book without a lot on a wrong heat has one named.
const chanceOfNone = FalseCall / 2

// misbooked finds lots that explain one heat's surplus and another heat's shortage of
// the same alloy at once. For each lot taken from a heat (a casting
// has its mold's), and each other heat it could
// be of, it compares how well the two heats' gaps fit nothing and fit that lot's
// weight moved from one to the other: the log likelihood ratio of two stated normal
// hypotheses, held against the number of such pairs looked at (Bonferroni). The best
// fit is named, each heat once.
func (b *netBuilder) misbooked() (out []moved) {
	var all []moved
	pairs := 0
	taken := b.takenFromHeats()
	for i := range b.off {
		for j := range b.off {
			v, s := &b.off[i], &b.off[j] // over, short
			if i == j || b.heats[s.heat].Alloy != b.heats[v.heat].Alloy {
				continue
			}
			for _, k := range taken[v.heat] {
				st := &b.net.Streams[k]
				pairs++
				fit := square((v.kg+st.Value)/v.u) + square((s.kg-st.Value)/s.u)
				if gain := square(v.kg/v.u) + square(s.kg/s.u) - fit; fit < misfit && v.kg < 0 && s.kg > 0 {
					all = append(all, moved{v, s, b.about[st.ID], k, st.Value, gain})
				}
			}
		}
	}
	slices.SortStableFunc(all, func(x, y moved) int { return cmp.Compare(y.gain, x.gain) })
	used := map[string]bool{}
	for _, c := range all {
		if c.gain < 2*math.Log(float64(pairs)/chanceOfNone) || used[c.over.heat] || used[c.short.heat] {
			continue
		}
		used[c.over.heat], used[c.short.heat] = true, true
		out = append(out, c)
	}
	return out
}

// takenFromHeats are the weighings of lots that were taken from each heat, as places in
// the network.
func (b *netBuilder) takenFromHeats() map[string][]int {
	out := map[string][]int{}
	for k, st := range b.net.Streams {
		if heat, ok := strings.CutPrefix(st.From, "heat/"); ok && st.Given == balance.Measured && strings.HasPrefix(st.To, "lot/") {
			out[heat] = append(out[heat], k)
		}
	}
	return out
}

func (b *netBuilder) onWrongHeat(c moved) Suspect {
	return Suspect{Entry: c.about.seq, Heat: c.over.heat, What: c.about.what, Measured: c.kg, Sigma: math.Sqrt(c.gain), OtherHeat: c.short.heat,
		Sentence: fmt.Sprintf("%s, %s, may be of heat %s: that heat is short of %s and heat %s has %s too much", c.about.what, b.say(c.kg), c.short.heat, b.say(c.short.kg), c.over.heat, b.say(-c.over.kg))}
}

// moved is a lot that may have been booked on the heat that has too much, being of
// the one that is short.
type moved struct {
	over, short *offBy
	about       netStream
	stream      int // in the network
	kg          float64
	gain        float64 // of twice the log likelihood
}

// misfit is the most that the two gaps may still be off once a lot is moved: the
// 99.7 % quantile of χ² with 2 degrees of freedom.
const misfit = 11.6

func square(x float64) float64 { return x * x }

// elsewhere is the network with lots moved to the heats they are probably of. The
// other suspects are looked for there: left where they are booked, such lots make
// weighings suspect that are right, and one of those may happen to explain another
// mistake, which then stays unseen.
func (b *netBuilder) elsewhere(found []moved) balance.Network {
	n := b.net
	n.Streams = slices.Clone(n.Streams)
	for _, m := range found {
		n.Streams[m.stream].From = "heat/" + m.short.heat
	}
	return n
}
