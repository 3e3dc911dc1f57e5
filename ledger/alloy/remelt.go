package alloy

import (
	"fmt"
	"math"
)

// Remelt is one element in a shop that goes on melting its own returns.
//
// Model: every charge is a share r of returns of the heat before and 1 − r of
// virgin metal; one melt takes the part Loss of the element, adds Pickup weight %
// of the charge, and leaves the part 1 − MeltLoss of all metal. So
//
//	c(n+1) = a·c(n) + b,  a = r(1−Loss)/g,  b = ((1−r)·v(1−Loss) + Pickup)/g,  g = 1 − MeltLoss,
//
// whose solution is c(n) = aⁿ·c(0) + b(1−aⁿ)/(1−a), and which settles at b/(1−a)
// when a < 1. An element that burns off like the rest (Loss = MeltLoss) keeps its
// content; one that does not burn at all is enriched by what burns around it. In
// a shop with returns of many ages the share of metal on its n-th melt falls
// geometrically with n, which is what the recursion sums.
//
// Doubts: of the virgin metal, of the returns at the start, and of the usual loss
// and pickup are the same in every heat and go through by their derivatives; what
// single heats stray is independent from heat to heat. MeltLoss is taken as known.
type Remelt struct {
	Element  string
	Virgin   Estimate // weight % in virgin metal
	Start    Estimate // weight % in the returns of heat 0
	Loss     Drift    // part of the element
	Pickup   Drift    // weight % of the charge
	MeltLoss float64  // part of all metal
}

// RemeltStep is the content after n melts with returns.
type RemeltStep struct {
	N       int
	Content Estimate
}

func (m Remelt) check(share float64) error {
	switch {
	case !(share >= 0 && share <= 1):
		return fmt.Errorf("returns share %g: give a part between 0 and 1", share)
	case !(m.Loss.Mean >= 0 && m.Loss.Mean < 1):
		return fmt.Errorf("loss of %s %g: give a part between 0 and 1", m.Element, m.Loss.Mean)
	case !(m.MeltLoss >= 0 && m.MeltLoss < 1):
		return fmt.Errorf("melt loss %g: give a part between 0 and 1", m.MeltLoss)
	case !(m.Pickup.Mean >= 0 && m.Pickup.Mean <= 100):
		return fmt.Errorf("pickup of %s %g: give weight %% of the charge", m.Element, m.Pickup.Mean)
	}
	return nil
}

// line returns a and b of the recursion at a returns share.
func (m Remelt) line(share float64) (a, b float64) {
	kept, g := 1-m.Loss.Mean, 1-m.MeltLoss
	return share * kept / g, ((1-share)*m.Virgin.Mean*kept + m.Pickup.Mean) / g
}

// After returns the mean content (weight %) after n melts, in closed form.
func (m Remelt) After(n int, share float64) (float64, error) {
	if err := m.check(share); err != nil {
		return 0, err
	}
	if n < 0 {
		return 0, fmt.Errorf("number of remelts %d: give 0 or more", n)
	}
	a, b := m.line(share)
	switch {
	case n == 0:
		return m.Start.Mean, nil
	case a == 0:
		return b, nil
	case a == 1: // the limit of the sum: b is added each time
		return m.Start.Mean + float64(n)*b, nil
	}
	grown := math.Expm1(float64(n) * math.Log1p(a-1)) // aⁿ − 1, exact also when a is almost 1
	return (1+grown)*m.Start.Mean + b*grown/(a-1), nil
}

// Settles returns the content that endless remelting tends to, and false when it
// grows without end (nothing virgin comes in and something builds up).
func (m Remelt) Settles(share float64) (float64, bool, error) {
	if err := m.check(share); err != nil {
		return 0, false, err
	}
	a, b := m.line(share)
	switch {
	case a < 1:
		return b / (1 - a), true, nil
	case a == 1 && b == 0:
		return m.Start.Mean, true, nil
	}
	return 0, false, nil
}

// Forecast walks through n melts one by one and returns the content after each,
// with its standard deviation; step 0 is the start.
func (m Remelt) Forecast(n int, share float64) ([]RemeltStep, error) {
	if err := m.check(share); err != nil {
		return nil, err
	}
	if n < 0 || n > maxRemelts {
		return nil, fmt.Errorf("number of remelts %d: give 0 to %d", n, maxRemelts)
	}
	w := walk{m: m, share: share, c: m.Start.Mean, byStart: 1}
	steps := []RemeltStep{{0, w.content()}}
	for i := 1; i <= n; i++ {
		w.step()
		steps = append(steps, RemeltStep{i, w.content()})
	}
	return steps, nil
}

// maxRemelts keeps a typing error from asking for a forecast of a million heats.
const maxRemelts = 10_000

// walk is the state of a forecast: the content, its derivatives by what is the
// same in every heat, and the variance that single heats have left.
type walk struct {
	m                                   Remelt
	share                               float64
	c                                   float64
	byStart, byVirgin, byLoss, byPickup float64
	heats                               float64 // variance
}

func (w *walk) step() {
	m, r := w.m, w.share
	a, b := m.line(r)
	kept, g := 1-m.Loss.Mean, 1-m.MeltLoss
	charge := r*w.c + (1-r)*m.Virgin.Mean // content of the charge before the fire
	w.byStart *= a
	w.byVirgin = a*w.byVirgin + (1-r)*kept/g
	w.byLoss = a*w.byLoss - charge/g
	w.byPickup = a*w.byPickup + 1/g
	loss, pickup := charge/g*m.Loss.HeatSD, m.Pickup.HeatSD/g
	w.heats = a*a*w.heats + loss*loss + pickup*pickup
	w.c = a*w.c + b
}

func (w *walk) content() Estimate {
	m := w.m
	variance := w.heats
	for _, s := range []float64{w.byStart * m.Start.SD, w.byVirgin * m.Virgin.SD, w.byLoss * m.Loss.SD, w.byPickup * m.Pickup.SD} {
		variance += s * s
	}
	return Estimate{Mean: w.c, SD: math.Sqrt(variance)}
}
