package alloy

import (
	"fmt"
	"math"
)

// RowChance is the chance that a casting is outside one row of a limit set.
type RowChance struct {
	Limit   Limit
	Content Estimate
	Below   float64 // chance of less than the least limit
	Above   float64 // chance of more than the greatest
	Known   bool    // false when the composition does not name the element: no chance is given
}

// Chance is the chance that a casting of an estimated composition is outside a
// limit set. Rows share their doubts, so the chance that any row is out lies
// between AtLeast (the worst row alone) and AtMost (all rows added up); both are
// of the rows that are known, and Complete says whether that is all of them.
type Chance struct {
	Set             string
	Rows            []RowChance
	AtLeast, AtMost float64
	Complete        bool
}

// MayBeOutside is the verdict where a chance is neither small nor more than half.
const MayBeOutside Verdict = "may be outside"

// NotSure is the chance of one row being outside from which on metal is not called
// inside. What is only believed to be anywhere within a row's limits is outside with a
// chance of 0.083 by the normal approximation, and says nothing. Common practice, no source.
const NotSure = 0.1

// Verdict is what the worst of the rows that are known says: Inside, MayBeOutside, or
// Outside where that is more likely than not. A sum of all that is named is known no
// better than its copper, of which certificates say little: it is outside or not.
func (c Chance) Verdict() Verdict {
	out := Inside
	for _, r := range c.Rows {
		if v := r.Verdict(); v == Outside || v == MayBeOutside && out == Inside {
			out = v
		}
	}
	return out
}

// Verdict is what one row says; NotMeasured where it is not known.
func (r RowChance) Verdict() Verdict {
	switch p := r.Below + r.Above; {
	case !r.Known:
		return NotMeasured
	case p > 0.5:
		return Outside
	case p >= NotSure && r.Limit.Element != CopperAndNamed:
		return MayBeOutside
	}
	return Inside
}

// ChanceOutside returns the chance that metal of composition c is outside the
// set, taken as a product of the given kind (a *ProductError when the set is for
// another).
//
// Model: each content, and each sum a row asks for, is normally distributed with
// the composition's mean and standard deviation. That is an approximation: it
// gives small contents some weight below zero, and is too sure in the far tails
// where certificates are rectangular. A content without any doubt is in or out.
func (c Composition) ChanceOutside(set LimitSet, of Product) (Chance, error) {
	if of != set.Kind {
		return Chance{}, &ProductError{Set: set.ID(), Asks: set.Kind, Of: of}
	}
	out := Chance{Set: set.ID(), Complete: true}
	for _, l := range set.Limits {
		r := c.row(set, l)
		out.Rows = append(out.Rows, r)
		if !r.Known {
			out.Complete = out.Complete && l.Remainder
			continue
		}
		p := math.Min(1, r.Below+r.Above)
		out.AtLeast = math.Max(out.AtLeast, p)
		out.AtMost = math.Min(1, out.AtMost+p)
	}
	return out, nil
}

func (c Composition) row(set LimitSet, l Limit) RowChance {
	r := RowChance{Limit: l}
	switch l.Element {
	case CopperAndNamed:
		named := set.named()
		r.Known = true
		for _, e := range named {
			_, have := c.Mean[e]
			_, asked := set.Limit(e)
			r.Known = r.Known && (have || !asked)
		}
		r.Content = c.Sum(named...)
		r.Below = below(r.Content, l.Min)
		return r
	case OthersTotal:
		others := set.others(c.Mean)
		r.Known = len(others) > 0
		r.Content = c.Sum(others...)
		r.Above = above(r.Content, l.Max)
		return r
	case OthersEach:
		for _, e := range set.others(c.Mean) {
			r.Known = true
			if v := c.Estimate(e); above(v, l.Max) >= r.Above { // the most likely to be over
				r.Content, r.Above = v, above(v, l.Max)
			}
		}
		return r
	}
	if _, r.Known = c.Mean[l.Element]; !r.Known || l.Remainder {
		return r
	}
	counted := append([]string{l.Element}, l.Plus...)
	r.Content = c.Sum(counted...)
	if l.HasMax {
		r.Above = above(r.Content, l.Max)
	}
	if l.HasMin {
		r.Below = below(c.Sum(append(counted, l.MayPlus...)...), l.Min)
	}
	return r
}

// below and above are the chances that a normal quantity is under or over a
// limit. Without doubt it is one or the other; on the limit it is neither.
func below(v Estimate, limit float64) float64 {
	if v.SD == 0 {
		if v.Mean < limit {
			return 1
		}
		return 0
	}
	return 0.5 * math.Erfc((v.Mean-limit)/(v.SD*math.Sqrt2))
}

func above(v Estimate, limit float64) float64 {
	return below(Estimate{Mean: -v.Mean, SD: v.SD}, -limit)
}

// String says the chance in a line.
func (c Chance) String() string {
	if !c.Complete {
		return fmt.Sprintf("%s: outside with a chance of %.2g to %.2g, not counting what was not measured", c.Set, c.AtLeast, c.AtMost)
	}
	return fmt.Sprintf("%s: outside with a chance of %.2g to %.2g", c.Set, c.AtLeast, c.AtMost)
}
