package reorder

import (
	"fmt"
	"math"
	"math/big"
)

// Price is money for an amount: Minor for each Per.
type Price struct{ Minor, Per int64 }

// Break is a price that holds for all of an order of From and more.
type Break struct {
	From  int64
	Price Price
}

// Offer is what a supplier asks. Breaks are ascending in From and not ascending in price;
// the first holds for the least order.
type Offer struct {
	Pack       int64 // amount in a bundle, a bag or a piece: only whole ones are sold
	Least      int64 // least order; 0: one pack
	Breaks     []Break
	Freight    int64 // for an order, whatever its size
	FreightPer Price // and for its amount; the zero Price is none
	Work       int64 // what an order costs the shop itself: writing it, taking it in
}

func (o Offer) check() error {
	if err := need(o.Pack > 0 && o.Pack <= Most, "pack", o.Pack, "more than nothing"); err != nil {
		return err
	}
	for _, v := range []struct {
		field string
		v     int64
	}{{"least", o.Least}, {"freight", o.Freight}, {"work", o.Work}, {"freight_per", o.FreightPer.Minor}} {
		if err := amount(v.field, v.v); err != nil {
			return err
		}
	}
	if o.FreightPer.Minor > 0 && o.FreightPer.Per <= 0 {
		return &FieldError{"freight_per", fmt.Sprint(o.FreightPer.Per), "money for more than nothing"}
	}
	if len(o.Breaks) == 0 {
		return &FieldError{"breaks", "none", "one price at least"}
	}
	if o.Breaks[0].From > max(o.Pack, o.Least) {
		return &FieldError{"breaks[0]", fmt.Sprint(o.Breaks[0].From), "a price that holds for the least order"}
	}
	for i, b := range o.Breaks {
		at := fmt.Sprintf("breaks[%d]", i)
		if b.Price.Per <= 0 || b.Price.Minor < 0 || b.Price.Minor > Most {
			return &FieldError{at, fmt.Sprintf("%d for %d", b.Price.Minor, b.Price.Per), "money that is not negative for more than nothing"}
		}
		if i == 0 {
			continue
		}
		if last := o.Breaks[i-1]; b.From <= last.From || b.Price.rat().Cmp(last.Price.rat()) > 0 {
			return &FieldError{at, fmt.Sprint(b.From), "more than the break before, at no higher a price"}
		}
	}
	return nil
}

func (p Price) rat() *big.Rat { return big.NewRat(p.Minor, p.Per) }

// Of is what an amount costs, rounded once, half to even.
func (p Price) Of(amount int64) int64 {
	if p.Minor == 0 {
		return 0
	}
	num := new(big.Int).Mul(big.NewInt(amount), big.NewInt(p.Minor))
	q, r := new(big.Int).QuoRem(num, big.NewInt(p.Per), new(big.Int))
	twice := r.Lsh(r, 1).Cmp(big.NewInt(p.Per))
	if twice > 0 || twice == 0 && q.Bit(0) == 1 {
		q.Add(q, big.NewInt(1))
	}
	return q.Int64()
}

// at is the price that holds for an order of an amount.
func (o Offer) at(amount int64) Price {
	p := o.Breaks[0].Price
	for _, b := range o.Breaks[1:] {
		if amount >= b.From {
			p = b.Price
		}
	}
	return p
}

// Cost is what an order of whole packs costs: the goods at the price that holds for all
// of them, and the freight.
func (o Offer) Cost(packs int64) (goods, freight int64) {
	a := packs * o.Pack
	return o.at(a).Of(a), o.Freight + o.FreightPer.Of(a)
}

// Wish is what an order is for.
type Wish struct {
	Need   int64   // at least this much
	Most   int64   // and no more than this, beyond what Need makes necessary; 0: a year's demand
	Yearly float64 // usual demand of a year; 0: this order is for Need alone
	Carry  float64 // what a year of keeping costs, as a part of the value kept
}

// Choice is a number of packs and what it costs.
type Choice struct {
	Packs, Amount  int64
	Price          Price // that holds for all of it
	Goods, Freight int64
	// PerYear is what decides, in minor units: a year of such orders, buying, freight, work
	// and keeping half of one on the average; without a usual demand what this one costs.
	PerYear float64
}

func (o Offer) choice(packs int64, w Wish) Choice {
	c := Choice{Packs: packs, Amount: packs * o.Pack}
	c.Goods, c.Freight = o.Cost(packs)
	c.Price = o.at(c.Amount)
	c.PerYear = float64(c.Goods) + float64(c.Freight) + float64(o.Work)
	if w.Yearly > 0 {
		c.PerYear = c.PerYear*w.Yearly/float64(c.Amount) + w.Carry*float64(c.Goods)/2
	}
	return c
}

// mostPacks bounds how many numbers of packs are tried.
const mostPacks = 100_000

// Cheapest tries every whole number of packs that is allowed and gives the one that costs
// least; of equals the fewest. Where packs are so small that there are more than mostPacks
// of them, it tries so many evenly spaced ones and those at the breaks. next is the first price break above it, nil when there is
// none.
func Cheapest(o Offer, w Wish) (best Choice, next *Choice, err error) {
	if err := o.check(); err != nil {
		return best, nil, err
	}
	for _, v := range []struct {
		field string
		v     int64
	}{{"need", w.Need}, {"most", w.Most}} {
		if err := amount(v.field, v.v); err != nil {
			return best, nil, err
		}
	}
	if err := need(w.Yearly >= 0 && w.Yearly <= Most, "yearly", w.Yearly, "a demand that is not negative"); err != nil {
		return best, nil, err
	}
	if err := need(w.Carry >= 0 && w.Carry <= 10, "carry", w.Carry, "a part between 0 and 10"); err != nil {
		return best, nil, err
	}
	low := max(1, packsFor(max(w.Need, o.Least), o.Pack))
	most := w.Most
	if most == 0 {
		if most = up(w.Yearly); w.Yearly == 0 {
			most = o.Breaks[len(o.Breaks)-1].From + w.Need // a break further on may be cheaper in all
		}
	}
	high := max(low, most/o.Pack)
	best = o.choice(low, w)
	try := func(n int64) {
		if c := o.choice(n, w); c.PerYear < best.PerYear {
			best = c
		}
	}
	step := (high-low)/mostPacks + 1
	for n := low + step; n <= high; n += step {
		try(n)
	}
	for _, b := range o.Breaks {
		if n := packsFor(b.From, o.Pack); step > 1 && low < n && n <= high {
			try(n)
		}
	}
	for _, b := range o.Breaks {
		if b.From > best.Amount {
			c := o.choice(packsFor(b.From, o.Pack), w)
			return best, &c, nil
		}
	}
	return best, nil, nil
}

func packsFor(amount, pack int64) int64 { return (amount + pack - 1) / pack }

// Lot is the economic order quantity √(2·D·K/h): demand, cost of an order, and cost of
// keeping one for the same time (Harris 1913).
func Lot(demand, order, keep float64) float64 { return math.Sqrt(2 * demand * order / keep) }

// MadeLot is the economic quantity of something that comes in at a rate while it goes out
// at another: √(2·D·K / (h·(1 − out/in))).
func MadeLot(demand, order, keep, out, in float64) float64 {
	return Lot(demand, order, keep*(1-out/in))
}
