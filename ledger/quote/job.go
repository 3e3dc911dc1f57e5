package quote

import (
	"cmp"
	"fmt"
	"slices"
)

// Million is the whole of a share, which is in parts per million.
const Million = 1_000_000

// tonne is the mass that prices by mass are for, in milligrams.
const tonne = 1_000_000_000

// Metal is an alloy that castings are made of.
type Metal struct {
	Alloy     string
	Price     Spread // minor units for a tonne
	AtCost    bool   // what comes back is worth as much as what went in
	Recovered Spread // else minor units for a tonne of what comes back
	Loss      Spread // parts per million of the charge
}

// Casting is one pattern and how often it is cast.
type Casting struct {
	Name   string
	Alloy  string
	Copies int64
	Metal  Spread // milligrams of one, gating cut off
	Gating Spread // milligrams that are poured beside it and come back
	Own    bool   // the customer's own metal: not charged
}

// Work is hours of one kind, for the whole job.
type Work struct {
	Kind    string
	Minutes Spread
	Rate    int64 // minor units an hour
	Again   bool  // has to be done over for a casting that failed
}

// Item is something bought in for the job.
type Item struct {
	Name string
	Cost Spread // minor units
}

// Job is all that a quote is reckoned from. Names are unique among their like.
type Job struct {
	Metals      []Metal
	Castings    []Casting
	Work        []Work
	Items       []Item
	Molds       Spread // consumables of one mold, minor units
	Consumables Spread // minor units for a tonne of charge
	Fuel        Spread // minor units for a tonne of charge
	Failure     Chance
	Overhead    int64 // parts per million of labour
	Margin      int64 // parts per million of the price
	Seed        uint64
	Trials      int // outcomes to simulate; [Trials] when 0
}

// MostCopies is how many copies one job may have.
const MostCopies = 500

// check refuses what cannot be reckoned with.
func (j *Job) check() error {
	var errs []error
	add := func(err error) { errs = append(errs, err) }
	metals, names := map[string]bool{}, map[string]bool{}
	unique := func(field, kind, name string) {
		add(need(name != "" && !names[kind+name], field, fmt.Sprintf("%q", name), "a name that is given once"))
		names[kind+name] = true
	}
	for i, m := range j.Metals {
		at := fmt.Sprintf("metals[%d]", i)
		unique(at+".alloy", "metal/", m.Alloy)
		metals[m.Alloy] = true
		add(m.Price.check(at + ".price"))
		add(m.Recovered.check(at + ".recovered"))
		add(m.Loss.check(at + ".loss"))
		add(need(m.AtCost || m.Recovered.Low <= m.Price.Low && m.Recovered.Likely <= m.Price.Likely && m.Recovered.High <= m.Price.High,
			at+".recovered", m.Recovered, "no more than the price of the metal"))
		add(need(m.Loss.High <= Million/2, at+".loss", m.Loss.High, "at most half of the charge"))
	}
	copies := int64(0)
	for i, c := range j.Castings {
		at := fmt.Sprintf("castings[%d]", i)
		unique(at+".name", "casting/", c.Name)
		add(need(metals[c.Alloy], at+".alloy", fmt.Sprintf("%q", c.Alloy), "one of the metals"))
		add(need(c.Copies >= 1 && c.Copies <= MostCopies, at+".copies", c.Copies, fmt.Sprintf("1 to %d", MostCopies)))
		add(c.Metal.check(at + ".metal"))
		add(c.Gating.check(at + ".gating"))
		copies += min(max(c.Copies, 0), MostCopies+1)
	}
	add(need(copies <= MostCopies, "castings", copies, fmt.Sprintf("at most %d copies in all", MostCopies)))
	for i, w := range j.Work {
		at := fmt.Sprintf("work[%d]", i)
		unique(at+".kind", "work/", w.Kind)
		add(w.Minutes.check(at + ".minutes"))
		add(need(w.Rate >= 0 && w.Rate <= Most, at+".rate", w.Rate, "0 to 1e12"))
	}
	for i, x := range j.Items {
		at := fmt.Sprintf("items[%d]", i)
		unique(at+".name", "item/", x.Name)
		add(x.Cost.check(at + ".cost"))
	}
	add(j.Molds.check("molds"))
	add(j.Consumables.check("consumables"))
	add(j.Fuel.check("fuel"))
	add(j.Failure.check())
	add(need(j.Overhead >= 0 && j.Overhead <= 10*Million, "overhead", j.Overhead, "0 to 1000 % of labour"))
	add(need(j.Trials == 0 || j.Trials >= 10 && j.Trials <= 1_000_000, "trials", j.Trials, "0, or 10 to 1 000 000"))
	add(need(j.Margin >= 0 && j.Margin <= Million*9/10, "margin", j.Margin, "0 to 90 % of the price"))
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// sorted is the job with everything in the order of its names, so that no sum depends on
// the order in which things were listed.
func (j Job) sorted() Job {
	j.Metals, j.Castings, j.Work, j.Items = slices.Clone(j.Metals), slices.Clone(j.Castings), slices.Clone(j.Work), slices.Clone(j.Items)
	slices.SortFunc(j.Metals, func(a, b Metal) int { return cmp.Compare(a.Alloy, b.Alloy) })
	slices.SortFunc(j.Castings, func(a, b Casting) int { return cmp.Compare(a.Name, b.Name) })
	slices.SortFunc(j.Work, func(a, b Work) int { return cmp.Compare(a.Kind, b.Kind) })
	slices.SortFunc(j.Items, func(a, b Item) int { return cmp.Compare(a.Name, b.Name) })
	return j
}

func (j *Job) copies() (n int64) {
	for _, c := range j.Castings {
		n += c.Copies
	}
	return n
}
