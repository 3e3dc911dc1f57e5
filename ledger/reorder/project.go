package reorder

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Outlook is what is known of the coming days.
type Outlook struct {
	Here    int64
	Coming  []Arrival // promised days
	Named   []Arrival // taken by named heats; a Day before 0 counts as today
	NamedSD float64   // standard deviation of each, as a part of it
	Past    History   // what comes beside the named, as in the past
	Leads   []int     // past delivery times: how early or late a promise may be
	Days    int       // how far to look
	Level   float64   // part of all outcomes between Low and High
}

// Day is what will be here at the end of a day. Below 0 something is missing.
type Day struct {
	Day               int
	Low, Middle, High int64
	Out               float64 // chance that something is missing
}

const paths = 400

// Project simulates the stock of the coming days. The past repeats from every point of its
// ring alike, promises are kept as well as they were, and the heats take what they were
// planned to take more or less. The seed is fixed: the same question has the same answer.
func Project(o Outlook) ([]Day, error) {
	if err := need(o.Days > 0 && o.Days <= 1000, "horizon", o.Days, "days between 1 and 1000"); err != nil {
		return nil, err
	}
	if err := need(o.Level > 0 && o.Level < 1, "level", o.Level, "a part above 0 and below 1"); err != nil {
		return nil, err
	}
	if err := checkLeads(o.Leads); err != nil {
		return nil, err
	}
	if err := o.Past.check(); err != nil {
		return nil, err
	}
	rng := rand.New(rand.NewPCG(0x6f726465, 0x72))
	usual := int(math.Round(leadSpread(o.Leads).Mean))
	all := make([][]float64, o.Days)
	for i := range paths {
		delta := make([]float64, o.Days)
		put := func(day int, v float64) {
			if day = max(day, 0); day < o.Days {
				delta[day] += v
			}
		}
		for _, a := range o.Coming {
			put(a.Day+o.Leads[rng.IntN(len(o.Leads))]-usual, float64(a.Amount))
		}
		for _, a := range o.Named {
			put(a.Day, -float64(a.Amount)*math.Max(0, 1+o.NamedSD*rng.NormFloat64()))
		}
		o.Past.from(o.Past.From+i*o.Past.Days()/paths, o.Days, put)
		stock := float64(o.Here)
		for d := range o.Days {
			stock += delta[d]
			all[d] = append(all[d], stock)
		}
	}
	out := make([]Day, o.Days)
	for d, v := range all {
		slices.Sort(v)
		pick := func(p float64) int64 { return int64(math.Round(v[int(math.Round(p*(paths-1)))])) }
		missing, _ := slices.BinarySearch(v, 0)
		out[d] = Day{d, pick((1 - o.Level) / 2), pick(0.5), pick((1 + o.Level) / 2), float64(missing) / paths}
	}
	return out, nil
}

// from gives what followed a day of the past and was not known on it yet.
func (h History) from(today, days int, put func(day int, v float64)) {
	n := h.Days()
	for _, u := range h.Uses {
		for turn := 0; u.Known+turn*n < today+days; turn++ {
			if u.Known+turn*n > today {
				put(u.Day+turn*n-today, -float64(u.Amount))
			}
		}
	}
}
