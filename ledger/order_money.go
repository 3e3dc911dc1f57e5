package ledger

import (
	"math/big"
	"slices"

	"example.org/remelt/ledger/unit"
)

// deal gives what came of an order its money, delivery by delivery. All that came of a
// line so far costs its price for all of it, rounded once; a delivery bears what that is
// more than the ones before. So the deliveries of a line add up to its money, whatever
// they are. Freight is dealt in the same way by weight, and the delivery with which all is
// here takes the rest of it. A receipt's money depends on none that come after it. What was
// invoiced with its own price or freight bears that alone, and counts for nothing where the
// order's are dealt.
func (o *Order) deal() error {
	came, carried := make([]Came, len(o.Lines)), make([]Came, len(o.Lines)) // by the order's price, by its freight
	freight := int64(0)
	for r := range o.Receipts {
		in := o.Receipts[r].Lines
		if o.Receipts[r].Void {
			continue
		}
		weights := make([]int64, len(in))
		for k := range in {
			x := &in[k]
			l, c := &o.Lines[x.Line-1], &came[x.Line-1]
			if o.Receipts[r].Freight == nil {
				carried[x.Line-1].add(x)
			}
			weights[k] = o.bulk(x.Line-1, Came{Mass: x.Net, Pieces: x.Pieces})
			if x.Price != nil {
				p, err := x.Price.comesTo("price", x.Price.exact(x.Net, x.Pieces))
				if err != nil {
					return err
				}
				x.Minor, x.BookMinor = p.Minor, p.BookMinor
				continue
			}
			if c.add(x); l.Price == nil {
				continue
			}
			p, err := l.Price.comesTo("price", l.exact(*c))
			if err != nil {
				return err
			}
			x.Minor, x.BookMinor = p.Minor-c.Minor, p.BookMinor-c.BookMinor
			c.Minor, c.BookMinor = p.Minor, p.BookMinor
		}
		if own := o.Receipts[r].Freight; own != nil {
			p, err := own.comesTo("freight", own.exact(0, 0))
			if err != nil {
				return err
			}
			for k, share := range Apportion(p.InBook().Minor, weights) {
				in[k].Freight = share
			}
			continue
		}
		due, err := o.freightFor(carried)
		if err != nil {
			return err
		}
		for k, share := range Apportion(due-freight, weights) {
			in[k].Freight = share
		}
		freight = due
	}
	return nil
}

// exact is what so much of a line costs: by weight or piece, or its part of a fixed sum.
func (l *OrderLine) exact(c Came) *big.Rat {
	sum := l.Price.exact(c.Mass, c.Pieces)
	switch {
	case l.Price.Per != "" || l.here(c):
	case l.Pieces > 0:
		sum.Mul(sum, big.NewRat(c.Pieces, l.Pieces))
	default:
		sum.Mul(sum, big.NewRat(int64(c.Mass), int64(l.Mass.Mass)))
	}
	return sum
}

// bulk is what freight is dealt by: weight, or pieces in an order of things that are
// only counted.
func (o *Order) bulk(line int, c Came) int64 {
	weighs := slices.ContainsFunc(o.Lines, func(l OrderLine) bool { return l.Weight() > 0 })
	switch {
	case !weighs:
		return c.Pieces
	case c.Mass == 0:
		return c.Pieces * int64(o.Lines[line].Each.Mass)
	}
	return int64(c.Mass)
}

// freightFor is the freight that goes with what came, at most all of it, in the
// currency of the book.
func (o *Order) freightFor(came []Came) (minor int64, err error) {
	if o.Freight == nil {
		return 0, nil
	}
	have, all, here := int64(0), int64(0), true
	for i := range o.Lines {
		l := &o.Lines[i]
		all += o.bulk(i, Came{Mass: l.Mass.Mass, Pieces: l.Pieces})
		have += o.bulk(i, came[i])
		here = here && l.here(came[i])
	}
	p, err := o.Freight.comesTo("freight", o.Freight.exact(0, 0))
	if err != nil {
		return 0, err
	}
	minor = p.InBook().Minor
	if have < all && !here {
		part := new(big.Rat).SetInt64(minor)
		minor, _ = unit.Round(part.Mul(part, big.NewRat(have, all)))
	}
	return minor, nil
}

// account is where what came of a line was put.
func (o *Order) account(x *Received) Account {
	if x.Lot != "" {
		return Acct(OfLot, x.Lot)
	}
	return Acct(InSupply, o.Lines[x.Line-1].Supply)
}

// goods is what was paid for what came of a line, without freight; nil without a price.
func (o *Order) goods(x *Received) *Price {
	t := o.Lines[x.Line-1].Price
	if x.Price != nil {
		t = x.Price
	}
	if t == nil {
		return nil
	}
	return &Price{Typed: t.Typed, Minor: x.Minor, Currency: t.Currency, Exchange: t.Exchange, BookMinor: x.BookMinor, BookCurrency: t.BookCurrency}
}

// Cost is what was paid for what came of a line with its part of the freight, in the
// currency of the book; it is not known when the line has no price and bears no freight.
func (o *Order) Cost(x *Received) (minor int64, known bool) {
	if p := o.goods(x); p != nil {
		return p.InBook().Minor + x.Freight, true
	}
	return x.Freight, x.Freight != 0
}

// Paid is the cost that a receipt brought to each account. An account is missing when
// nothing is known of its cost.
func (o *Order) Paid(r *Receipt) map[Account]int64 {
	out := map[Account]int64{}
	for k := range r.Lines {
		x := &r.Lines[k]
		if minor, known := o.Cost(x); known {
			out[o.account(x)] += minor
		}
	}
	return out
}

// bear drafts the cost of a line of a receipt beyond what was booked of it before: one
// of nothing too when it is new, since its cost is known.
func (d *draft) bear(o *Order, x *Received, before Received) {
	a, fresh := o.account(x), before == Received{Line: x.Line}
	before.Price = x.Price // a delivery keeps its own
	if p := o.goods(x); p != nil {
		if more := p.InBook().Minor - o.goods(&before).InBook().Minor; more != 0 || fresh {
			d.e.Costs = append(d.e.Costs, Cost{Account: a, Currency: p.InBook().Currency, Minor: more})
		}
	}
	if more := x.Freight - before.Freight; more != 0 {
		d.e.Costs = append(d.e.Costs, Cost{Account: a, Currency: d.shop.Currency, Minor: more})
	}
}
