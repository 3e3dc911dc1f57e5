package shop

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/quote"
)

// usualSeed is the seed of a quote that names none: the same input, the same quote.
const usualSeed = 1

// MakeQuote reckons a quote of a commission from what is typed, the shop's rates and its
// past, and keeps it as the next version.
func (s *Shop) MakeQuote(ctx context.Context, m ledger.Meta, c ledger.MakeQuote) (*ledger.Entry, error) {
	b := &quoter{Shop: s, ctx: ctx}
	if err := b.read(c); err != nil {
		return nil, err
	}
	if err := b.assume(); err != nil {
		return nil, err
	}
	q, err := quote.Make(jobOf(b.q.Basis))
	if err != nil {
		return nil, quoteError(err)
	}
	b.q.Low, b.q.Likely, b.q.High, b.q.Average, b.q.Cost = q.Low, q.Likely, q.High, q.Average, q.Cost
	for _, l := range q.Lines {
		b.q.Lines = append(b.q.Lines, ledger.QuoteLine{Cause: l.Cause.String(), Minor: l.Minor})
	}
	return s.Book.MakeQuote(ctx, m, c, b.q)
}

// quoteError gives what package quote refuses as the book's error.
func quoteError(err error) error {
	var e *quote.FieldError
	if errors.As(err, &e) {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "NOT_DETERMINED", Field: e.Field, Value: e.Value, Want: "give " + e.Want}
	}
	return err
}

// clock is the moment that a question without a date is asked for.
func (s *Shop) clock() time.Time {
	if s.Now != nil {
		return s.Now()
	}
	return time.Now()
}

func spreadOf(r ledger.Range) quote.Spread {
	return quote.Spread{Low: r.Low, Likely: r.Likely, High: r.High}
}

// jobOf is a quote's basis as package quote takes it.
func jobOf(b ledger.QuoteBasis) quote.Job {
	j := quote.Job{Molds: spreadOf(b.Mold), Consumables: spreadOf(b.PerMass), Fuel: spreadOf(b.Fuel), Overhead: int64(b.Overhead), Margin: int64(b.Margin),
		Seed: b.Seed, Failure: quote.Start().Learn(b.Failed, b.Cast)}
	for _, m := range b.Metals {
		j.Metals = append(j.Metals, quote.Metal{Alloy: m.Alloy, Price: spreadOf(m.Price), AtCost: m.AtCost, Recovered: spreadOf(m.Recovered), Loss: spreadOf(m.Loss)})
	}
	for _, c := range b.Castings {
		j.Castings = append(j.Castings, quote.Casting{Name: c.Name, Alloy: c.Alloy, Copies: c.Copies, Metal: spreadOf(c.Metal), Gating: spreadOf(c.Gating), Own: c.Own})
	}
	for _, w := range b.Work {
		j.Work = append(j.Work, quote.Work{Kind: w.Kind, Minutes: spreadOf(w.Minutes), Rate: w.Rate, Again: w.Again})
	}
	for _, x := range b.Bought {
		j.Items = append(j.Items, quote.Item{Name: x.Name, Cost: spreadOf(x.Range)})
	}
	return j
}

// quoted is a kept quote as package quote gave it.
func quoted(q ledger.Quote) quote.Quote {
	out := quote.Quote{Low: q.Low, Likely: q.Likely, High: q.High, Average: q.Average, Cost: q.Cost}
	for c := quote.OfMetal; c <= quote.Margin; c++ {
		out.Lines = append(out.Lines, quote.Line{Cause: c, Minor: lineOf(q, c)})
	}
	return out
}

func lineOf(q ledger.Quote, c quote.Cause) (sum int64) {
	for _, l := range q.Lines {
		if l.Cause == c.String() {
			sum += l.Minor
		}
	}
	return sum
}

// quoter gathers what a quote is made of.
type quoter struct {
	*Shop
	ctx        context.Context
	asked      ledger.MakeQuote
	rates      ledger.Rates
	commission ledger.Commission
	past       quotePast
	q          ledger.Quote
}

func (b *quoter) read(c ledger.MakeQuote) (err error) {
	if b.asked, b.rates, err = b.ReadQuote(b.ctx, c); err != nil {
		return err
	}
	got, err := ledger.Get[ledger.Commission](b.ctx, b.Book, ledger.RecCommission, c.Commission)
	if err != nil {
		return err
	}
	if b.commission = got.Value; len(b.commission.Patterns) == 0 {
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_PATTERNS", Field: "commission", Value: c.Commission, Want: "has no castings to quote yet; say what is to be cast"}
	}
	b.past, err = b.pastOf(b.ctx)
	return err
}

func (b *quoter) say(format string, args ...any) {
	b.q.Assumed = append(b.q.Assumed, fmt.Sprintf(format, args...))
}

// assume fills the basis.
func (b *quoter) assume() error {
	x := &b.q.Basis
	if x.Seed = b.asked.Seed; x.Seed == 0 {
		x.Seed = usualSeed
	}
	x.Overhead, x.Margin, x.Mold = b.rates.Overhead, b.rates.Margin, b.rates.Mold
	if b.asked.Margin != nil {
		if x.Margin = *b.asked.Margin; x.Margin < 0 || x.Margin > ledger.Whole*9/10 {
			return &ledger.Error{Class: ledger.ErrInvalid, Reason: "OUT_OF_RANGE", Field: "margin_percent", Value: fmt.Sprint(float64(x.Margin) / 1e4), Want: "must be between 0 and 90 % of the price"}
		}
	}
	if err := b.assumeCastings(); err != nil {
		return err
	}
	if err := b.assumeMetals(); err != nil {
		return err
	}
	for i, h := range b.asked.Hours {
		rate, err := b.rates.WorkKind(fmt.Sprintf("hours[%d].what", i), h.Name)
		if err != nil {
			return err
		}
		x.Work = append(x.Work, ledger.QuoteWork{Kind: rate.Kind, Minutes: h.Range, Rate: rate.Minor, Again: rate.Again})
	}
	if len(x.Work) == 0 {
		b.say("no hours of work were said, so none are in it")
	}
	x.Bought = b.asked.Bought
	b.assumeMelt()
	x.Failed, x.Cast = b.past.failed, b.past.cast
	b.say("failing: %d of the %d castings so far failed, beside a starting belief of 1 in 10 that is worth 10 castings", x.Failed, x.Cast)
	b.say("tax is not in it")
	return nil
}
