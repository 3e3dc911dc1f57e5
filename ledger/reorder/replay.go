package reorder

import (
	"gonum.org/v1/gonum/mathext"
)

// Past is a stretch of time to try the rule on.
type Past struct {
	History
	Start   int   // the first day on which the rule orders; before it is only learned from
	Leads   []int // how long the deliveries take, one after the other, again from the first
	Service float64
	Method  Method
	Pack    int64 // whole packs are ordered
	Lot     int64 // an order brings up to the point and this much more
}

// Replayed is how the rule would have done.
type Replayed struct {
	Days, Orders int
	Cycles       int // deliveries that came; stock only falls between two, so the moment before one tells of all its time
	Kept         int // of them, those before which nothing was missing
	DaysOut      int
	AverageStock int64 // of what was there; nothing counts as 0
}

// Share is the part of delivery times that passed without running out.
func (r Replayed) Share() float64 {
	if r.Cycles == 0 {
		return 1
	}
	return float64(r.Kept) / float64(r.Cycles)
}

// Interval is the share's interval by Clopper and Pearson 1934, which holds for few cycles
// too; the cycles are taken as independent.
func (r Replayed) Interval(level float64) (low, high float64) {
	k, n, a := float64(r.Kept), float64(r.Cycles), (1-level)/2
	if r.Cycles == 0 {
		return 0, 1
	}
	if low, high = 0, 1; r.Kept > 0 {
		low = mathext.InvRegIncBeta(k, n-k+1, a)
	}
	if r.Kept < r.Cycles {
		high = mathext.InvRegIncBeta(k+1, n-k, 1-a)
	}
	return low, high
}

// Replay goes through a past day by day. Each morning brings what was ordered, each day
// takes what it took, each evening orders if less is here and coming than the point and
// what is named by then until a delivery would come. It knows only what was known that
// evening, and learns anew when a demand became known. What is missing is taken when it
// comes. It begins with the point and a lot.
func Replay(p Past) (r Replayed, err error) {
	if err := need(p.Start > p.From && p.Start < p.To, "start", p.Start, "a day within the history"); err != nil {
		return r, err
	}
	if err := need(p.Pack > 0, "pack", p.Pack, "more than nothing"); err != nil {
		return r, err
	}
	within, err := LeadWithin(p.Leads, p.Service)
	if err != nil {
		return r, err
	}
	var stock, sum int64
	var open []waiting
	var point Point
	learned := -1
	for day := p.Start; day < p.To; day++ {
		for len(open) > 0 && open[0].day <= day {
			if r.Cycles++; stock >= 0 {
				r.Kept++
			}
			stock += open[0].amount
			open = open[1:]
		}
		if known := p.knownBy(day); len(known.Uses) != learned {
			learned = len(known.Uses)
			if point, err = Reorder(known, p.Leads, p.Service, p.Method); err != nil {
				return r, err
			}
		}
		if day == p.Start {
			stock = point.Amount + p.Lot + p.named(day, day+within)
		} else {
			stock -= p.usedOn(day)
		}
		r.Days++
		sum += max(stock, 0)
		if stock < 0 {
			r.DaysOut++
		}
		position := stock - p.named(day, day+within)
		for _, o := range open {
			position += o.amount
		}
		if position < point.Amount {
			came := day + p.Leads[r.Orders%len(p.Leads)]
			if len(open) > 0 {
				came = max(came, open[len(open)-1].day) // deliveries do not overtake each other
			}
			open = append(open, waiting{max(came, day+1), packsFor(point.Amount-position+p.Lot, p.Pack) * p.Pack})
			r.Orders++
		}
	}
	r.AverageStock = sum / int64(r.Days)
	return r, nil
}

type waiting struct {
	day    int
	amount int64
}

// knownBy is the part of the history that was known on a day.
func (h History) knownBy(day int) History {
	out := History{From: h.From, To: day + 1}
	for _, u := range h.Uses {
		if u.Known <= day {
			out.Uses = append(out.Uses, u)
		}
	}
	return out
}

// named is what was known on a day to be used after it, until another.
func (h History) named(day, until int) (sum int64) {
	for _, u := range h.Uses {
		if u.Known <= day && u.Day > day && u.Day <= until {
			sum += u.Amount
		}
	}
	return sum
}

func (h History) usedOn(day int) (sum int64) {
	for _, u := range h.Uses {
		if u.Day == day {
			sum += u.Amount
		}
	}
	return sum
}
