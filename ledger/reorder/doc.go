// Package reorder says how much of a thing a shop should buy and by when: ingot of an
// alloy, flux, crucibles. It knows amounts, days and money, and nothing of metal.
//
// Four questions, one file each:
//
//   - [Net] (net.go): what named heats need day by day, of new metal and of returns, when
//     returns may only be a part of each charge.
//   - [Reorder] (point.go, window.go): how much must be here or on its way so that what is
//     not named yet runs the shop dry in no more than a stated share of deliveries.
//   - [Cheapest] (offer.go): which number of whole bundles costs least by an offer with price
//     breaks, freight and a least order.
//   - [Project] (project.go): what will be here day by day, with an interval.
//
// [Replay] (replay.go) runs the rule over a past, day by day and knowing only what was
// known that day, so that the stated share can be held against what would have happened.
//
// # Demand that comes in lumps
//
// A small foundry pours an alloy a few times in a season, and each pour takes a large part
// of what is on the rack. The normal curve fits that badly twice: the demand of one
// delivery time is nothing, or one heat, or two; and stock does not touch the reorder
// point when it is crossed, it drops through it. So with enough history the distribution is
// the shop's own: every past moment at which a demand became known is taken as the moment
// of ordering, every past delivery time as the time to wait, and what the shop used in
// between, beyond what was known then, is one possible outcome. The past is closed to a
// ring, so that every day counts alike. This is the circular block bootstrap (Politis and
// Romano 1992, from memory) with all blocks taken once instead of some drawn, so it has no
// random numbers. How far the crossing demand drops below the point is added as renewal
// theory has it: a point is crossed by a demand in proportion to its size and anywhere
// within it. With little history ([FewUses]) the textbook's normal formula stands in.
//
// An outcome larger than any that the shop has seen is not in its history; a stated 99 % from
// one year is a statement about that year. Replay says what was kept.
//
// Amounts are exact integers of any one unit (milligrams, pieces), money is minor units,
// days are whole and 0 is today. Statistics are floating point inside and become whole
// amounts, rounded up, at the edge.
package reorder

import (
	"fmt"
	"math"
)

// FieldError says which number cannot be, and what would be right.
type FieldError struct {
	Field, Value, Want string
}

func (e *FieldError) Error() string {
	return fmt.Sprintf("reorder: %s is %s: want %s", e.Field, e.Value, e.Want)
}

// Most is the greatest amount that is reckoned with: a thousand tonnes in milligrams.
const Most = 1_000_000_000_000

func need(ok bool, field string, value any, want string) error {
	if ok {
		return nil
	}
	return &FieldError{field, fmt.Sprint(value), want}
}

func amount(field string, v int64) error {
	return need(v >= 0 && v <= Most, field, v, "an amount between 0 and 1e12")
}

// Service checks a share of delivery times that are to pass without running out.
func Service(v float64) error {
	return need(v > 0 && v < 1 && !math.IsNaN(v), "service", v, "a part above 0 and below 1: certainty would need endless stock, and none needs no rule")
}

// up is the least whole amount that is not less.
func up(v float64) int64 { return int64(math.Ceil(v - 1e-9*math.Max(1, math.Abs(v)))) }
