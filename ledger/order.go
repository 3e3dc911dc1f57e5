package ledger

import "time"

// RecOrder is a purchase order. The JSON of [Order] is its body.
const RecOrder RecordKind = "order"

// OrderState is how far a purchase order has come. It follows from what the order
// records and is not kept.
type OrderState string

// States of a purchase order.
const (
	BeingWritten OrderState = "being written"
	Ordered      OrderState = "ordered"
	SomeHere     OrderState = "some here"
	AllHere      OrderState = "all here"
	GivenUp      OrderState = "given up" // nothing more is expected, though not all is here
)

// Order is a purchase order: what the shop asks of a supplier, what of it came,
// and what it comes to. Its receipts are the entries by which it came; one that is
// reversed is void, and what it brought is missing again.
type Order struct {
	ID         string      `json:"id"`
	Supplier   string      `json:"supplier"`
	Lines      []OrderLine `json:"lines"`
	Freight    *Terms      `json:"freight,omitempty"` // for all of it together
	Expected   time.Time   `json:"expected,omitzero"`
	Placed     time.Time   `json:"placed,omitzero"`
	GivenUp    time.Time   `json:"given_up,omitzero"`
	GivenUpWhy string      `json:"given_up_why,omitempty"`
	Note       string      `json:"note,omitempty"`
	Receipts   []Receipt   `json:"receipts,omitempty"`
}

// OrderLine is one thing ordered: metal of an alloy and form, or a supply item; so
// much of it by weight, or so many pieces (bundles, bags) of about a weight.
type OrderLine struct {
	Alloy       string   `json:"alloy,omitempty"`
	Form        Form     `json:"form,omitempty"`
	Supply      string   `json:"supply,omitempty"`
	Mass        Quantity `json:"mass,omitzero"`
	Pieces      int64    `json:"pieces,omitempty"`
	Each        Quantity `json:"each,omitzero"`          // what a piece weighs, about
	LeastMass   Quantity `json:"least,omitzero"`         // the supplier sells no less
	LeastPieces int64    `json:"least_pieces,omitempty"` //
	Price       *Terms   `json:"price,omitempty"`
}

// Receipt is what came with one delivery.
type Receipt struct {
	Entry   int64      `json:"entry"`
	When    time.Time  `json:"when"`
	Lines   []Received `json:"lines"`
	Freight *Terms     `json:"freight,omitempty"` // of this delivery alone; else its part of the order's
	Void    bool       `json:"void,omitempty"`    // the entry was reversed
}

// Received is what came of a line, as it was weighed, and the money that went with it.
type Received struct {
	Line      int    `json:"line"`          // 1 for the first of the order
	Lot       string `json:"lot,omitempty"` // of metal
	Net       Mass   `json:"net_mg,omitempty"`
	Pieces    int64  `json:"pieces,omitempty"`
	Last      bool   `json:"last,omitempty"` // with it the line is here, whatever it weighs
	Minor     int64  `json:"minor,omitempty"`
	BookMinor int64  `json:"book_minor,omitempty"` // of a foreign price
	Freight   int64  `json:"freight,omitempty"`    // its share, in the currency of the book
	Price     *Terms `json:"price,omitempty"`      // as invoiced for this; else the order's
}

// Came is what came of a line so far, and the money that went with it.
type Came struct {
	Mass             Mass
	Pieces           int64
	Last             bool
	Minor, BookMinor int64
}

func (c *Came) add(x *Received) {
	c.Mass += x.Net
	c.Pieces += x.Pieces
	c.Last = c.Last || x.Last
}

// Came sums what came of a line, without void receipts; 0 is the first.
func (o *Order) Came(line int) (c Came) {
	for _, r := range o.Receipts {
		for k := range r.Lines {
			if x := &r.Lines[k]; !r.Void && x.Line == line+1 {
				c.add(x)
				c.Minor += x.Minor
				c.BookMinor += x.BookMinor
			}
		}
	}
	return c
}

// Weight is what is ordered by weight: pieces by what each weighs; 0 when it is not known.
func (l *OrderLine) Weight() Mass {
	if l.Pieces > 0 {
		return Mass(l.Pieces) * l.Each.Mass
	}
	return l.Mass.Mass
}

// Missing is what of a line is still to come, by weight and in pieces; nothing when
// it is here or was given up.
func (o *Order) Missing(line int) (m Mass, pieces int64) {
	l, c := &o.Lines[line], o.Came(line)
	if c.Last || !o.GivenUp.IsZero() {
		return 0, 0
	}
	if l.Pieces > 0 {
		pieces = max(0, l.Pieces-c.Pieces)
		return Mass(pieces) * l.Each.Mass, pieces
	}
	return max(0, l.Mass.Mass-c.Mass), 0
}

// here reports whether that is all of the line.
func (l *OrderLine) here(c Came) bool {
	switch {
	case c.Last:
		return true
	case l.Pieces > 0:
		return c.Pieces >= l.Pieces
	}
	return c.Mass >= l.Mass.Mass
}

// State is how far the order has come.
func (o *Order) State() OrderState {
	all, some := len(o.Lines) > 0, false
	for i := range o.Lines {
		all = all && o.Lines[i].here(o.Came(i))
	}
	for _, r := range o.Receipts {
		some = some || !r.Void
	}
	switch {
	case all:
		return AllHere
	case !o.GivenUp.IsZero():
		return GivenUp
	case some:
		return SomeHere
	case !o.Placed.IsZero():
		return Ordered
	}
	return BeingWritten
}

// AllHereOn is when the last that was wanting came; zero while it is not all here.
func (o *Order) AllHereOn() (on time.Time) {
	then := *o
	for n, r := range o.Receipts {
		if !r.Void && r.When.After(on) {
			on = r.When
		}
		if then.Receipts = o.Receipts[:n+1]; then.State() == AllHere {
			return on
		}
	}
	return time.Time{}
}

func (o *Order) priced() bool {
	for _, l := range o.Lines {
		if l.Price != nil {
			return true
		}
	}
	return o.Freight != nil
}

// Money is what an order comes to in the currency of the book.
type Money struct{ Goods, Freight int64 }

// Asked is what a line comes to at the weight ordered, as its price is typed and in the
// currency of the book; nil when it has no price.
func (o *Order) Asked(line int) *Price {
	l := &o.Lines[line]
	if l.Price == nil {
		return nil
	}
	p, err := l.Price.comesTo("", l.Price.exact(l.Weight(), l.Pieces))
	if err != nil {
		return nil
	}
	return p
}

// AskedFreight is the same of the freight.
func (o *Order) AskedFreight() *Price {
	if o.Freight == nil {
		return nil
	}
	p, err := o.Freight.comesTo("", o.Freight.exact(0, 0))
	if err != nil {
		return nil
	}
	return p
}

// Worth is what the order comes to at the weights ordered, as far as its lines have
// prices, and what came of it so far.
func (o *Order) Worth() (ordered, came Money) {
	for i := range o.Lines {
		if p := o.Asked(i); p != nil {
			ordered.Goods += p.InBook().Minor
		}
	}
	if p := o.AskedFreight(); p != nil {
		ordered.Freight = p.InBook().Minor
	}
	for _, r := range o.Receipts {
		for _, x := range r.Lines {
			if r.Void {
				continue
			}
			came.Freight += x.Freight
			if p := o.goods(&x); p != nil {
				came.Goods += p.InBook().Minor
			}
		}
	}
	return ordered, came
}
