// Package quote reckons what a commission will cost before it is cast, and afterwards why
// it cost something else.
//
// # The model
//
// A commission is castings of one or several alloys, hours of work of several kinds, and
// things bought in. A casting of metal m with gating g takes a charge c = (m + g) ÷ (1 − l)
// where l is the loss as a part of the charge. The charge is paid at the price of the
// metal; the gating comes back at its recovered value. One that fails comes back whole at
// the recovered value and is cast again: its loss, its fuel, its mold and the work that has
// to be done over are the price of failing. Overhead is a part of labour, as job costing
// has it; margin is a part of the price, so price = cost ÷ (1 − margin). Tax is not in it:
// it depends on who buys and where.
//
// What nobody knows exactly is a [Spread] of three figures, drawn from the triangular
// distribution: its ends are what the person who typed them meant by lowest and highest,
// and its tails are heavier than those of the beta distribution of PERT, which suits
// people, who guess ranges too narrow. Every spread is drawn by itself but where things
// move together: all copies of an edition share one pattern and so one weight, all castings
// of an alloy one price and one loss, and what returns are worth moves with the price. The
// chance of failing is a [Chance], a beta distribution that starts as a belief and learns
// from the shop's castings; how often a casting of n copies is cast in vain has the negative
// binomial distribution then.
//
// # What it answers
//
// [Make] gives the price that is enough in one, five and nine of ten outcomes of a
// simulation, the average, and the middle one by cause. The causes are reckoned at the
// likeliest figures, with as many recasts as are to be expected; what the middle of all
// outcomes is above or below their sum is the contingency, as cost engineers use the word
// (AACE International 41R-08, from memory: contingency takes the estimate to a stated
// chance). So the causes add up to the price exactly, in minor units.
//
// [Compare] sets what a commission really cost beside it and splits the difference by cause:
// the figures of the quote are replaced by the real ones one after the other (number cast,
// weight, metal price, loss), and what is left of the metal is the yield. The steps are
// differences of whole amounts, so they add up to the whole difference exactly. Another
// order would split the mixed terms otherwise; this one is that of the physical flow.
//
// It promises that the same job and seed give the same quote, whatever order things are
// listed in; that no price, weight, loss, hour or rate made larger makes a quote smaller;
// and that everything adds up. It does no I/O and knows no book. (The same to the last minor
// unit on one kind of processor: some fuse a product and a sum where others round between.)
//
// Sources: triangular distribution, Evans, Hastings and Peacock, Statistical
// Distributions (from memory); beta posterior, Gelman et al., Bayesian Data Analysis, third
// edition, section 2.4; job costing with overhead on labour, OpenStax, Principles of
// Accounting, Volume 2, chapter 4; the starting belief about failing, an assumption.
package quote

import "fmt"

// FieldError says which figure of a job cannot be, and what would be right.
type FieldError struct{ Field, Value, Want string }

func (e *FieldError) Error() string {
	return fmt.Sprintf("quote: %s is %s: want %s", e.Field, e.Value, e.Want)
}

func need(ok bool, field string, value any, want string) error {
	if ok {
		return nil
	}
	return &FieldError{field, fmt.Sprint(value), want}
}
