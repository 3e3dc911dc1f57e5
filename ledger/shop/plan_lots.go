package shop

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
)

// What is not in the book is assumed: common practice, no source. A handful of
// loose metal is half a kilogram, or a pound in a shop that weighs in pounds; cups
// and gating thrown together are three parts metal and seven parts air; returns
// are worth less than ingot, because they cost cleaning and wear out.
const (
	handful      = ledger.Kilogram / 2
	packing      = 0.3
	returnsValue = 0.6
)

func (p *planner) handful() int64 {
	if p.settings.MassUnit == "lb" {
		return 453_592 // mg, rounded
	}
	return int64(handful)
}

// readLots takes the lots of the heat's alloy and what they hold.
func (p *planner) readLots(r ledger.Reader, c *carrier) error {
	held, err := kept{r}.holdings(ledger.OfLot, ledger.RecLot)
	if err != nil {
		return err
	}
	var all []ledger.LotView
	for _, h := range held {
		v := ledger.LotView{Mass: h.Mass}
		if err := h.Record.Into(&v.Lot); err != nil {
			return err
		}
		if v.Alloy == p.h.Alloy && v.Mass > 0 && v.Form != ledger.Skimmings {
			all = append(all, v)
		}
	}
	p.price(all)
	uncounted := 0
	for _, v := range all {
		comp, err := c.content(string(ledger.Acct(ledger.OfLot, v.ID)))
		if err != nil {
			return scienceError("lot "+v.ID, err)
		}
		p.views[v.ID], p.comps[v.ID] = v, comp
		if int64(v.Mass) < p.handful()/scrap {
			p.note("lot %s holds next to nothing, %d mg, and is not looked at; a count sets it right", v.ID, int64(v.Mass))
			continue
		}
		l := p.lot(v, comp)
		if l.Held == "" && inPieces(v.Form) && v.Pieces <= 0 {
			uncounted++
		}
		p.lots = append(p.lots, l)
	}
	if len(all) > 0 {
		p.note("a piece weighs its lot's mean, a handful of loose metal %s", p.words(float64(p.handful())))
	}
	if uncounted > 0 {
		p.note("%s of ingots or pigs without a count: each counts as one piece", counted(uncounted, "lot"))
	}
	return nil
}

// price finds what a kilogram costs on the average, of the lots with a price in
// the shop's currency. Where there is none costs are only compared.
func (p *planner) price(all []ledger.LotView) {
	var bought, paid float64
	for _, v := range all {
		if kg := boughtKg(v); p.priced(v) && kg > 0 {
			bought += kg
			paid += float64(v.Price.InBook().Minor)
		}
	}
	if bought == 0 || paid == 0 {
		p.perKg = 1000
		p.note("no price of this alloy is in the book: returns count %.0f %% of ingot, of whatever that costs", 100*returnsValue)
		return
	}
	p.perKg, p.out.Currency = paid/bought, p.settings.Currency
	p.note("ingot counts at what it cost, returns at %.0f %% of the average", 100*returnsValue)
}

func (p *planner) priced(v ledger.LotView) bool {
	return v.Price != nil && v.Price.InBook().Currency == p.settings.Currency
}

func boughtKg(v ledger.LotView) (kg float64) {
	for _, f := range v.From {
		kg += f.Mass.Kg()
	}
	return kg
}

// inPieces reports whether metal of a form goes in whole or not at all.
func inPieces(f ledger.Form) bool {
	return f == ledger.Ingot || f == ledger.Pig || f == ledger.ScrapCast
}

// mostPieces is the number of pieces up to which each is planned by itself.
const mostPieces = 500

func (p *planner) lot(v ledger.LotView, comp alloy.Composition) charge.Lot {
	l := charge.Lot{ID: v.ID, Family: string(p.a.Family), Held: p.whyNot(v), Return: v.Form != ledger.Ingot && v.Form != ledger.BoughtScrap,
		Content: p.afterFire(comp.Means()), Loss: p.byForm[lossForm(v.Form)], Last: v.Form == ledger.Grindings}
	if !v.AlloySure { // somebody set it free: what no paper names may be any one element
		l.Others = unnamedPart(comp)
	}
	value := p.perKg * v.Mass.Kg()
	if l.Return {
		value *= returnsValue
	} else if kg := boughtKg(v); p.priced(v) && kg > 0 {
		value = float64(v.Price.InBook().Minor) * v.Mass.Kg() / kg
	}
	l.Value = int64(math.Round(value))
	ours, theirs := p.spoken(v)
	pieces := max(v.Pieces, 1)
	if inPieces(v.Form) && pieces <= mostPieces {
		l.Pieces = evenPieces(v.ID, int64(v.Mass), pieces)
		for i := range l.Pieces {
			if theirs > 0 {
				l.Pieces[i].Held = "spoken for: " + strings.Join(others(v, p.isOurs), ", ")
				theirs -= ledger.Mass(l.Pieces[i].Mass)
			}
		}
		if each := int64(v.Mass) / pieces; ours > 0 && each > 0 { // what is spoken for in whole pieces, one at the least
			p.want(l, each*max(1, int64(ours)/each))
		}
		return l
	}
	l.Loose, l.LooseHeld = int64(v.Mass), int64(min(theirs, v.Mass))
	l.Handful = evenHandful(l.Loose-l.LooseHeld, p.handful())
	if d, ok := p.a.Figure(alloy.Density); ok {
		l.Bulk = d.Value * packing
	}
	if ours > 0 {
		n := (int64(ours) + l.Handful/scrap) / l.Handful
		p.want(l, min(n*l.Handful, l.Loose-l.LooseHeld))
	}
	return l
}

// scrap is a rest that is no handful of its own: a hundredth of one.
const scrap = 100

// evenHandful is a handful of so many milligrams of loose metal. A lot of eleven pounds
// is eleven handfuls, though a pound is no whole number of milligrams and each half of
// the lot was rounded too: none of it is left over.
func evenHandful(mg, usual int64) int64 {
	n := (mg + usual/2) / usual
	if off := mg - n*usual; n > 0 && off < usual/scrap && off > -usual/scrap {
		return (mg + n - 1) / n
	}
	return usual
}

func evenPieces(lot string, mg, pieces int64) []charge.Piece {
	even := make([]int64, pieces)
	for i := range even {
		even[i] = 1
	}
	var out []charge.Piece
	for i, m := range ledger.Apportion(mg, even) {
		if m > 0 {
			out = append(out, charge.Piece{ID: fmt.Sprintf("%s/%d", lot, i+1), Mass: m})
		}
	}
	return out
}

// want notes metal that is spoken for this heat.
func (p *planner) want(l charge.Lot, mg int64) {
	switch {
	case p.q.Spoken == SpokenIgnored || mg <= 0:
	case l.Held != "":
		p.note("lot %s is spoken for this heat and not to be had: %s", l.ID, l.Held)
	default:
		p.must[l.ID] = mg
	}
}

// whyNot says why a lot is not to be had; "" when it is.
func (p *planner) whyNot(v ledger.LotView) string {
	switch {
	case v.Owner != p.h.Owner && v.Owner == "":
		return "belongs to the shop, the heat is of " + p.h.Owner + "'s own metal"
	case v.Owner != p.h.Owner:
		return "belongs to " + v.Owner
	case v.Condition == ledger.SetApart:
		return "held: " + v.HeldWhy
	case v.Condition == ledger.ToClean:
		return "still to be cleaned"
	}
	return ""
}

// spoken splits what is spoken for in a lot into this heat's and others'.
func (p *planner) spoken(v ledger.LotView) (ours, theirs ledger.Mass) {
	for _, c := range v.SpokenFor {
		if p.isOurs(&c) {
			ours += c.Mass
		} else {
			theirs += c.Mass
		}
	}
	return ours, theirs
}

// isOurs reports whether metal spoken for something is for this heat: for the heat,
// or for a commission or customer that one of its molds is of.
func (p *planner) isOurs(of *ledger.Claim) bool {
	if of.Heat() == p.h.ID {
		return true
	}
	for _, m := range p.molds {
		if of.For == m.Commission {
			return true
		}
	}
	return false
}

func others(v ledger.LotView, ours func(*ledger.Claim) bool) (names []string) {
	for _, c := range v.SpokenFor {
		if !ours(&c) && !slices.Contains(names, c.For) {
			names = append(names, c.For)
		}
	}
	return names
}
