package shop

import (
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

// misbooked finds lots that explain one heat's surplus and another heat's
// shortage of the same alloy at once. It needs both to be beyond 4 standard
// uncertainties, to cancel within 3, and a lot of about that weight.
func (b *netBuilder) misbooked() (out []Suspect) {
	var short, over []offBy
	for _, o := range b.off {
		switch {
		case o.kg > 4*o.u:
			short = append(short, o)
		case o.kg < -4*o.u:
			over = append(over, o)
		}
	}
	used := map[string]bool{}
	for _, v := range over {
		var best Suspect
		fit := math.Inf(1)
		for _, s := range short {
			both := math.Hypot(s.u, v.u)
			if used[s.heat] || b.heats[s.heat].Alloy != b.heats[v.heat].Alloy || math.Abs(s.kg+v.kg) > 3*both {
				continue
			}
			m := (s.kg/(s.u*s.u) - v.kg/(v.u*v.u)) / (1/(s.u*s.u) + 1/(v.u*v.u))
			for _, st := range b.net.Streams {
				about := b.about[st.ID]
				if st.From != "heat/"+v.heat || st.Given != balance.Measured || !strings.HasPrefix(st.To, "lot/") && !strings.HasPrefix(st.To, "casting/") {
					continue
				}
				if miss := math.Abs(st.Value-m) / math.Hypot(both, st.U); miss < 3 && miss < fit {
					fit = miss
					best = Suspect{Entry: about.seq, Heat: v.heat, What: about.what, Measured: st.Value, Expected: 0, Sigma: math.Min(s.kg/s.u, -v.kg/v.u), OtherHeat: s.heat,
						Sentence: fmt.Sprintf("%s, %s, may be of heat %s: that heat is short of %s and heat %s has %s too much", about.what, b.say(st.Value), s.heat, b.say(s.kg), v.heat, b.say(-v.kg))}
				}
			}
		}
		if !math.IsInf(fit, 1) {
			used[best.OtherHeat] = true
			out = append(out, best)
		}
	}
	return out
}

// withMisbooked puts lots on the wrong heat first and leaves out the suspects
// that they explain.
func withMisbooked(found, suspects []Suspect) []Suspect {
	out := slices.Clone(found)
	for _, x := range suspects {
		explained := slices.ContainsFunc(found, func(f Suspect) bool {
			near := math.Abs(math.Abs(x.Measured-x.Expected)-f.Measured) < 0.2*f.Measured
			return near && (x.Heat == f.Heat || x.Heat == f.OtherHeat || strings.HasSuffix(x.What, "into heat "+f.Heat) || strings.HasSuffix(x.What, "into heat "+f.OtherHeat))
		})
		if !explained {
			out = append(out, x)
		}
	}
	return out
}
