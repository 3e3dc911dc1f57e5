package alloy

import (
	"fmt"
	"math"
)

// Forever asks GreatestShare about remelting without end.
const Forever = 0

// Share is the greatest returns share that keeps a limit.
type Share struct {
	Share   float64 // 0–1
	OK      bool    // false when even virgin metal alone goes outside
	Element string  // the element that decides, "" when nothing limits the share
	Limit   Limit
}

// GreatestShare returns the greatest share of returns r such that at r, and at
// every smaller share, the element keeps the limit after each of the next n melts
// (or without end, with Forever), starting from returns that are as the virgin
// metal. In each melt the chance of being outside is at most `chance`, by the
// normal approximation; a chance of one half asks about the mean alone.
//
// The mean has a closed form without end, r = (g·L − v·k − p) ÷ (k·(L − v)) with
// k = 1 − Loss, p = Pickup and v the virgin content; the general answer is found
// by looking at two hundred shares and halving, and tests hold the two together.
func (m Remelt) GreatestShare(l Limit, n int, chance float64) (Share, error) {
	if err := m.check(0); err != nil {
		return Share{}, err
	}
	if !(chance > 0 && chance <= 0.5) {
		return Share{}, fmt.Errorf("chance %g of being outside: give one above 0 and at most a half", chance)
	}
	if n < 0 || n > maxRemelts {
		return Share{}, fmt.Errorf("number of remelts %d: give 1 to %d, or 0 for without end", n, maxRemelts)
	}
	m.Start = m.Virgin
	out := Share{Share: 1, OK: true, Limit: l}
	const grid = 200
	low := -1.0
	for i := 0; i <= grid; i++ {
		r := float64(i) / grid
		if m.keeps(l, r, n, chance) {
			low = r
			continue
		}
		out.Element = m.Element
		if low < 0 {
			out.Share, out.OK = 0, false
			return out, nil
		}
		high := r
		for high-low > 1e-12 {
			if mid := (low + high) / 2; m.keeps(l, mid, n, chance) {
				low = mid
			} else {
				high = mid
			}
		}
		out.Share = low
		return out, nil
	}
	return out, nil
}

// keeps tells whether the element is inside at share r in every melt asked about.
func (m Remelt) keeps(l Limit, r float64, n int, chance float64) bool {
	inside := func(v Estimate) bool {
		const slack = 1e-12 // a limit met exactly is kept
		if l.HasMax && above(v, l.Max+slack) > chance {
			return false
		}
		return !l.HasMin || below(v, l.Min-slack) <= chance
	}
	w := walk{m: m, share: r, c: m.Virgin.Mean, byVirgin: 1} // the start is the virgin metal, and wrong with it
	if n == Forever {
		_, b := m.line(r)
		if _, ok, _ := m.Settles(r); !ok && l.HasMax && (b > 0 || m.Virgin.Mean > 0) {
			return false // it grows without end
		}
	}
	steps := n
	if n == Forever {
		steps = walked
	}
	last := w.content()
	for range steps {
		w.step()
		now := w.content()
		if !inside(now) {
			return false
		}
		if settled := 1e-14 * (1 + now.Mean); math.Abs(now.Mean-last.Mean) < settled && math.Abs(now.SD-last.SD) < settled {
			break
		}
		last = now
	}
	if end, ok := m.end(r); n == Forever && ok {
		return inside(end)
	}
	return true
}

// walked is how many melts are walked through when asked about remelting without
// end, before looking at the end itself: mean and doubt approach it steadily.
const walked = 300

// end is the content that endless remelting tends to, with its doubt: the fixed
// point of walk.step.
func (m Remelt) end(r float64) (Estimate, bool) {
	a, b := m.line(r)
	if a >= 1 {
		return Estimate{}, false
	}
	kept, g := 1-m.Loss.Mean, 1-m.MeltLoss
	w := walk{m: m, share: r, c: b / (1 - a)}
	charge := r*w.c + (1-r)*m.Virgin.Mean
	w.byVirgin = (1 - r) * kept / g / (1 - a)
	w.byLoss = -charge / g / (1 - a)
	w.byPickup = 1 / g / (1 - a)
	loss, pickup := charge/g*m.Loss.HeatSD, m.Pickup.HeatSD/g
	w.heats = (loss*loss + pickup*pickup) / (1 - a*a)
	return w.content(), true
}

// GreatestShare returns the greatest share of returns that keeps every element
// given within its row of a limit set, and which element decides.
func GreatestShare(elements []Remelt, set LimitSet, n int, chance float64) (Share, error) {
	out := Share{Share: 1, OK: true}
	for _, m := range elements {
		l, ok := set.Limit(m.Element)
		if !ok || !l.HasMin && !l.HasMax {
			continue
		}
		s, err := m.GreatestShare(l, n, chance)
		if err != nil {
			return Share{}, err
		}
		if !s.OK {
			return s, nil
		}
		if s.Share < out.Share {
			out = s
		}
	}
	return out, nil
}
