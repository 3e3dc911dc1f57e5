package web

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
	"example.org/remelt/server/web/picture"
)

// commissionsPage lists what is made for whom, and what it costs beside what was said.
type commissionsPage struct {
	All       []commission
	Customers []choice
	Alloys    []choice
	Blank     []int // rows of the form to type castings in
}

type commission struct {
	*pb.Commission
	Cost *pb.CommissionCost
	For  string // the customer's name
	Says string // the answer, in one sentence
}

// commissionPage is one of them: what it was quoted at, what it cost, and why the two
// differ.
type commissionPage struct {
	commission
	Quotes    []*pb.Quote // latest first
	Last      *pb.Quote   // the latest that holds, with all it was reckoned from
	Ranges    *picture.Ranges
	Reasons   *picture.Reasons
	Ask       quoteForm
	Labours   []labour
	Bought    []*pb.BoughtIn
	Kinds     []choice // of work that have a rate
	Workers   []choice
	Customers []choice
	Alloys    []choice
	Blank     []int
}

// labour is work on a commission.
type labour struct {
	*pb.Labour
	By string // who did it, by name
}

// quoteForm is what a new version is asked from, begun with what the last one said.
type quoteForm struct {
	Hours, Bought []figure
	Prices        []figure
	Margin        string
}

type figure struct{ What, Figure string }

func (p *Pages) commissions(v *visit) (frame, error) {
	got, err := p.allCommissions(v)
	if err != nil {
		return frame{}, err
	}
	names, err := p.partyNames(v)
	if err != nil {
		return frame{}, err
	}
	page := commissionsPage{Blank: blank(1, 4)}
	for _, c := range got {
		cost, err := p.call.commissions.GetCommissionCost(v.ctx, &pb.GetCommissionCostRequest{Name: c.GetName() + "/cost"})
		if err != nil {
			return frame{}, err
		}
		page.All = append(page.All, commission{c, cost.GetCost(), names[c.GetCustomer()], costWords(cost.GetCost())})
	}
	if page.Customers, err = p.parties(v, pb.Role_ROLE_CUSTOMER); err != nil {
		return frame{}, err
	}
	if page.Alloys, err = p.alloys(v); err != nil {
		return frame{}, err
	}
	return frame{Title: "Commissions", Here: "commissions", Main: page}, nil
}

func (p *Pages) commission(v *visit) (frame, error) {
	name := v.name("commissions/" + v.r.PathValue("commission"))
	got, err := p.call.commissions.GetCommission(v.ctx, &pb.GetCommissionRequest{Name: name})
	if err != nil {
		return frame{}, err
	}
	cost, err := p.call.commissions.GetCommissionCost(v.ctx, &pb.GetCommissionCostRequest{Name: name + "/cost"})
	if err != nil {
		return frame{}, err
	}
	c := got.GetCommission()
	names, err := p.partyNames(v)
	if err != nil {
		return frame{}, err
	}
	page := commissionPage{commission: commission{c, cost.GetCost(), names[c.GetCustomer()], costWords(cost.GetCost())}, Blank: blank(len(c.GetPatterns()), 2)}
	if page.Quotes, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.Quote, string, error) {
		l, err := p.call.quotes.ListQuotes(ctx, &pb.ListQuotesRequest{Parent: name, PageSize: 500, PageToken: token})
		return l.GetQuotes(), l.GetNextPageToken(), err
	}); err != nil {
		return frame{}, err
	}
	slices.SortFunc(page.Quotes, func(a, b *pb.Quote) int { return int(b.GetVersion() - a.GetVersion()) })
	if at := slices.IndexFunc(page.Quotes, func(q *pb.Quote) bool { return !q.GetVoid() }); at >= 0 {
		whole, err := p.call.quotes.GetQuote(v.ctx, &pb.GetQuoteRequest{Name: page.Quotes[at].GetName()})
		if err != nil {
			return frame{}, err
		}
		page.Last = whole.GetQuote()
	}
	page.Ranges, page.Reasons = quoteRanges(page.Quotes, page.Cost), costReasons(page.Cost)
	if page.Ask, err = p.quoteForm(v, c, page.Last); err != nil {
		return frame{}, err
	}
	for _, x := range page.Ask.Hours {
		page.Kinds = append(page.Kinds, choice{x.What, x.What})
	}
	if err := p.spent(v, name, names, &page); err != nil {
		return frame{}, err
	}
	if page.Workers, err = p.parties(v, pb.Role_ROLE_MELTER); err != nil {
		return frame{}, err
	}
	if page.Customers, err = p.parties(v, pb.Role_ROLE_CUSTOMER); err != nil {
		return frame{}, err
	}
	if page.Alloys, err = p.alloys(v); err != nil {
		return frame{}, err
	}
	return frame{Title: c.GetDisplayName(), Here: "commissions", Main: page}, nil
}

// spent are the hours and the things bought that are booked on a commission.
func (p *Pages) spent(v *visit, name string, names map[string]string, page *commissionPage) (err error) {
	hours, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Labour, string, error) {
		l, err := p.call.commissions.ListLabours(ctx, &pb.ListLaboursRequest{Parent: name, PageSize: 500, PageToken: token})
		return l.GetLabours(), l.GetNextPageToken(), err
	})
	for _, x := range hours {
		page.Labours = append(page.Labours, labour{x, names[x.GetPerson()]})
	}
	if err == nil {
		page.Bought, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.BoughtIn, string, error) {
			l, err := p.call.commissions.ListBoughtIns(ctx, &pb.ListBoughtInsRequest{Parent: name, PageSize: 500, PageToken: token})
			return l.GetBoughtIns(), l.GetNextPageToken(), err
		})
	}
	return err
}

// blank are the numbers of the empty rows that follow those with something in them.
func blank(after, n int) (out []int) {
	for i := range n {
		out = append(out, after+i)
	}
	return out
}

// costWords answers what a commission cost beside what was quoted.
func costWords(c *pb.CommissionCost) string {
	has := "Has cost " + c.GetActual().GetText() + " so far"
	if c.GetCopies() > 0 && c.GetGood() >= c.GetCopies() && !c.GetProvisional() {
		has = "Cost " + c.GetActual().GetText()
	}
	if c.GetQuote() == "" {
		if c.GetActual().GetMinor() == 0 {
			return "Not quoted yet, and nothing is booked on it."
		}
		return has + "; it was never quoted."
	}
	quoted := c.GetQuoted().GetText() + " that were quoted"
	if c.GetActual().GetMinor() == 0 {
		return "Quoted at a cost of " + c.GetQuoted().GetText() + ", a price of " + c.GetPrice().GetText() + ". Nothing is booked on it yet."
	}
	switch off := c.GetActual().GetMinor() - c.GetQuoted().GetMinor(); {
	case off > 0:
		return has + ", " + unit.FormatMoney(off, c.GetActual().GetCurrency()) + " more than the " + quoted + "."
	case off < 0:
		return has + ", " + unit.FormatMoney(-off, c.GetActual().GetCurrency()) + " less than the " + quoted + "."
	}
	return has + ", just what was quoted."
}

// quoteRanges draws what each version said, and what it came to.
func quoteRanges(quotes []*pb.Quote, cost *pb.CommissionCost) *picture.Ranges {
	if len(quotes) == 0 {
		return nil
	}
	currency, main := quotes[0].GetLikely().GetCurrency(), func(m *pb.Money) float64 { return float64(m.GetMinor()) }
	r := &picture.Ranges{ID: "quotes", Title: "The price by each version of the quote", Show: func(minor float64) string { return unit.FormatMoney(int64(minor), currency) }}
	var said []string
	for _, q := range quotes {
		name := fmt.Sprintf("version %d", q.GetVersion())
		if q.GetVoid() {
			name += ", taken back"
		}
		r.Rows = append(r.Rows, picture.Range{Name: name, Low: main(q.GetLow()), Middle: main(q.GetLikely()), High: main(q.GetHigh()), Faint: q.GetVoid()})
		said = append(said, fmt.Sprintf("%s: %s to %s, likely %s", name, q.GetLow().GetText(), q.GetHigh().GetText(), q.GetLikely().GetText()))
	}
	r.Words = strings.Join(said, "; ") + "."
	if cost.GetActual().GetMinor() != 0 {
		r.Level = &picture.Level{Value: main(cost.GetActual()), Words: "it cost " + cost.GetActual().GetText() + " so far"}
		r.Words += " It has cost " + cost.GetActual().GetText() + " so far."
	}
	return r
}

// reasonsShown are drawn each by itself, the largest first.
const reasonsShown = 6

// costReasons draws why the cost is not what was quoted.
func costReasons(c *pb.CommissionCost) *picture.Reasons {
	if c.GetQuote() == "" || c.GetActual().GetMinor() == 0 {
		return nil
	}
	r := &picture.Reasons{ID: "why", Title: "Why it cost more or less than was quoted", More: "more than quoted", Less: "less than quoted",
		Show: func(minor float64) string { return plus(int64(minor), c.GetActual().GetCurrency()) }}
	size := func(d *pb.CostLine) int64 { return max(d.GetMoney().GetMinor(), -d.GetMoney().GetMinor()) }
	all := slices.SortedStableFunc(slices.Values(c.GetDifferences()), func(a, b *pb.CostLine) int { return cmp.Compare(size(b), size(a)) })
	if len(all) == 0 || size(all[0]) == 0 {
		return nil
	}
	var said []string
	rest := int64(0)
	for i, d := range all {
		if m := d.GetMoney().GetMinor(); i < reasonsShown {
			r.Rows = append(r.Rows, picture.Reason{Name: d.GetWhat(), Amount: float64(m)})
			said = append(said, d.GetWhat()+" "+plus(m, d.GetMoney().GetCurrency()))
		} else {
			rest += m
		}
	}
	if rest != 0 {
		r.Rows = append(r.Rows, picture.Reason{Name: "everything else", Amount: float64(rest)})
		said = append(said, "everything else "+plus(rest, c.GetActual().GetCurrency()))
	}
	r.Words = strings.Join(said, ", ") + "; together " + plus(c.GetActual().GetMinor()-c.GetQuoted().GetMinor(), c.GetActual().GetCurrency()) + "."
	return r
}

// plus is an amount of money with its sign.
func plus(minor int64, currency string) string {
	if minor > 0 {
		return "+" + unit.FormatMoney(minor, currency)
	}
	return unit.FormatMoney(minor, currency)
}

// quoteForm begins a new version: the kinds of work that have a rate, the alloys to be
// cast, and what the last version reckoned with.
func (p *Pages) quoteForm(v *visit, c *pb.Commission, was *pb.Quote) (f quoteForm, err error) {
	_, now, err := p.rateCards(v)
	if err != nil {
		return f, err
	}
	f.Margin = now.GetMarginPercent()
	before, currency := map[string]string{}, was.GetLikely().GetCurrency()
	for _, x := range was.GetFigures() {
		kind, hours := strings.CutPrefix(x.GetWhat(), "hours of ")
		switch {
		case hours && x.GetUnit() == "minutes":
			before[kind] = hoursTyped(x)
		case x.GetUnit() == "minor" && x.GetWhat() != "consumables of a mold":
			f.Bought = append(f.Bought, figure{x.GetWhat(), moneyTyped(x, currency)})
		}
	}
	f.Bought = append(f.Bought, figure{}, figure{})
	for _, w := range now.GetWork() {
		f.Hours = append(f.Hours, figure{w.GetKind(), before[w.GetKind()]})
	}
	for _, x := range c.GetPatterns() {
		if id := last(x.GetAlloy()); !slices.ContainsFunc(f.Prices, func(y figure) bool { return y.What == id }) {
			f.Prices = append(f.Prices, figure{What: id})
		}
	}
	return f, nil
}

// moneyTyped is a figure of money as a person would type it.
func moneyTyped(x *pb.QuoteFigure, currency string) string {
	m := func(minor int64) string { return strings.TrimSuffix(unit.FormatMoney(minor, currency), " "+currency) }
	if x.GetLow() == x.GetHigh() {
		return unit.FormatMoney(x.GetLow(), currency)
	}
	return m(x.GetLow()) + ".." + m(x.GetLikely()) + ".." + unit.FormatMoney(x.GetHigh(), currency)
}

// hoursTyped is a figure of hours as a person would type it.
func hoursTyped(x *pb.QuoteFigure) string {
	h := func(minutes int64) string { return strconv.FormatFloat(float64(minutes)/60, 'f', -1, 64) }
	for _, m := range []int64{x.GetLow(), x.GetLikely(), x.GetHigh()} {
		if m%3 != 0 { // not whole hundredths of an hour
			h = func(minutes int64) string { return strconv.FormatInt(minutes, 10) }
			return h(x.GetLow()) + ".." + h(x.GetLikely()) + ".." + h(x.GetHigh()) + " min"
		}
	}
	if x.GetLow() == x.GetHigh() {
		return h(x.GetLow()) + " h"
	}
	return h(x.GetLow()) + ".." + h(x.GetLikely()) + ".." + h(x.GetHigh()) + " h"
}
