package shop

import (
	"fmt"
	"math"
	"slices"

	"example.org/remelt/ledger"
)

// waiting says what a heat still waits for.
func (b *balancer) waiting(at AsOf) error {
	out := b.out
	if out.Heat.State == ledger.Planned || out.Heat.State == ledger.Dropped {
		return nil
	}
	say := func(format string, args ...any) { out.Waiting = append(out.Waiting, fmt.Sprintf(format, args...)) }
	if out.Heat.State == ledger.Melting {
		say("the pour is not finished")
	}
	if out.Heat.State == ledger.Late {
		missing, gated, err := b.moldsWaiting(at)
		if err != nil {
			return err
		}
		if missing > 0 {
			say("%d of its molds have no casting weighed", missing)
		}
		for _, id := range gated {
			say("casting %s by its weight still has its gating on", id)
		}
	}
	dirty := 0
	for _, l := range b.forms {
		if l.Condition == ledger.ToClean && l.Skim == nil && !l.Void {
			dirty++
		}
	}
	if dirty == 1 {
		say("a lot of it is still to be cleaned")
	} else if dirty > 1 {
		say("%d lots of it are still to be cleaned", dirty)
	}
	if out.Trapped > 0 {
		say("its skimmings are not worked up; the metal in them is a guess")
	}
	if out.InMolds < 0 {
		say("more came back than was poured: a dirty or a wrong weighing")
	}
	return nil
}

// moldsWaiting is how many molds have no casting weighed, and which castings still have
// their gating on.
func (b *balancer) moldsWaiting(at AsOf) (missing int, gated []string, err error) {
	if !at.IsNow() {
		return 0, nil, nil
	}
	k := kept{b.r}
	molds, err := k.records(ledger.RecMold, ledger.OfHeat(b.heat))
	if err != nil {
		return 0, nil, err
	}
	castings, err := k.records(ledger.RecCasting, ledger.OfHeat(b.heat))
	if err != nil {
		return 0, nil, err
	}
	from := map[string][]ledger.Casting{}
	for _, rec := range castings {
		var c ledger.Casting
		if err := rec.Into(&c); err != nil {
			return 0, nil, err
		}
		if c.Gone != ledger.GoneByMistake {
			from[c.Mold] = append(from[c.Mold], c)
		}
	}
	for _, rec := range molds {
		var m ledger.Mold
		if err := rec.Into(&m); err != nil {
			return 0, nil, err
		}
		if len(from[m.ID]) == 0 && m.State != ledger.MoldUnused && m.State != ledger.MoldLeaked {
			missing++
		}
		for i := range from[m.ID] {
			if c := &from[m.ID][i]; c.Gated(&m) {
				gated = append(gated, c.ID)
			}
		}
	}
	return missing, gated, nil
}

// Uncertainty is a first, plain reckoning of how well a heat's balance is known:
// independent contributions added as squares. Each reading of a scale with
// division d is known to d/√12 (a rectangular distribution of width d, GUM
// 4.3.7); gross and tare are two readings. Dirt that was taken off is known to
// half of itself, and the share of trapped metal to the shop's own span, both
// rectangular. Weighings without a scale count with the shop's coarsest.
type Uncertainty struct {
	Standard ledger.Mass // one standard deviation
	Readings int
	Parts    []UncertaintyPart // largest first
}

// UncertaintyPart is one contribution.
type UncertaintyPart struct {
	Seq      int64
	What     string
	Standard ledger.Mass
}

type contribution struct {
	seq  int64
	what string
	u    float64
}

// Expanded is the half width of an interval of about 95 % (coverage factor 2, GUM 6.2).
func (u Uncertainty) Expanded() ledger.Mass { return 2 * u.Standard }

func (b *balancer) weighings(e *ledger.Entry, kind ledger.Kind) error {
	if e.Reverses != 0 { // what was taken back is not known by it
		b.drop("", e.Reverses)
		return nil
	}
	for _, g := range e.Weighings {
		d, name, err := b.division(g.Scale)
		if err != nil {
			return err
		}
		readings := 1.0
		if g.Gross.Mass != 0 && (g.Tare.Mass != 0 || g.Before.Mass != 0) {
			readings = 2
		}
		if e.Kind == ledger.KindClean { // replaces an earlier weighing
			b.drop(g.Subject, 0)
		}
		b.parts = append(b.parts, contribution{e.Seq, string(g.Subject) + " on " + name, float64(d) * math.Sqrt(readings/12)})
		if dirt := g.DirtPPM.Of(g.Net.Mass); dirt > 0 {
			b.parts = append(b.parts, contribution{e.Seq, string(g.Subject) + ", dirt taken off", float64(dirt) / 2 / math.Sqrt(3)})
		}
	}
	if e.Kind == ledger.KindWorkUp { // what was trapped is known now
		b.drop("share of metal trapped", 0)
		b.out.skimVar = 0
	}
	if e.Kind == ledger.KindCharge {
		if err := b.wholeLots(e); err != nil {
			return err
		}
	}
	if kind != ledger.KindSkim {
		return nil
	}
	for _, rec := range e.Records {
		var l ledger.Lot
		if rec.Kind != ledger.RecLot {
			continue
		}
		if err := rec.Into(&l); err != nil {
			return err
		}
		if l.Skim != nil { // metal = trapped + share·oxide, so 1−share for each part of trapped
			span, err := b.trappedSpan()
			if err != nil {
				return err
			}
			rest := float64(l.Skim.Net - l.Skim.Added)
			slope := 1 - float64(l.Skim.Share)/float64(ledger.Whole)
			b.parts = append(b.parts, contribution{e.Seq, "share of metal trapped in the skimmings", rest * slope * span / math.Sqrt(3)})
			b.out.skimVar += math.Pow(rest*span/math.Sqrt(3)/1e6, 2)
			b.out.skimShare = 1 - slope
		}
	}
	return nil
}

// wholeLots counts the readings behind lots that were charged without being
// weighed again: those of each lot's latest weighing.
func (b *balancer) wholeLots(e *ledger.Entry) error {
	for _, p := range e.Postings {
		if p.Account.Kind() != ledger.OfLot || slices.ContainsFunc(e.Weighings, func(g ledger.Weighing) bool { return g.Subject == p.Account }) {
			continue
		}
		hist, err := b.r.History(string(p.Account), e.Seq, 50)
		if err != nil {
			return err
		}
		scale := ""
	search:
		for _, sealed := range hist {
			old, err := sealed.Open()
			if err != nil {
				return err
			}
			for _, g := range old.Weighings {
				if g.Subject == p.Account {
					scale = g.Scale
					break search
				}
			}
		}
		d, name, err := b.division(scale)
		if err != nil {
			return err
		}
		b.parts = append(b.parts, contribution{e.Seq, string(p.Account) + " on " + name, float64(d) / math.Sqrt(12)})
	}
	return nil
}

// drop forgets the contributions of a weighing that was replaced.
func (b *balancer) drop(subject ledger.Account, seq int64) {
	b.parts = slices.DeleteFunc(b.parts, func(c contribution) bool {
		return seq != 0 && c.seq == seq || seq == 0 && len(c.what) >= len(subject) && c.what[:len(subject)] == string(subject)
	})
}

func (b *balancer) trappedSpan() (float64, error) {
	recs, err := b.r.Records(ledger.RecShop, "", "", 1)
	if err != nil || len(recs) == 0 {
		return 0, err
	}
	var s ledger.Shop
	err = recs[0].Into(&s)
	return float64(s.TrappedSpan) / float64(ledger.Whole), err
}

// A scale that nobody set up is taken to show 10 g, as those do that pigs and cups are
// put on (common practice, no source).
const (
	unnamedDivision = 10 * ledger.Gram
	unnamedScale    = "a scale not named"
	unknownScale    = "a scale that nobody set up, taken to show 10 g"
)

// division is what a scale's last digit shows; without a scale, the coarsest of
// the shop's, or that of one that nobody set up.
func (b *balancer) division(scale string) (ledger.Mass, string, error) {
	if len(b.scales) == 0 {
		recs, err := b.r.Records(ledger.RecScale, "", "", 100)
		if err != nil {
			return 0, "", err
		}
		for _, rec := range recs {
			var s ledger.Scale
			if err := rec.Into(&s); err != nil {
				return 0, "", err
			}
			b.scales[s.ID] = s
		}
	}
	if s, ok := b.scales[scale]; ok {
		return s.Division.Mass, s.Name, nil
	}
	if len(b.scales) == 0 {
		return unnamedDivision, unknownScale, nil
	}
	most := ledger.Mass(0)
	for _, s := range b.scales {
		most = max(most, s.Division.Mass)
	}
	return most, unnamedScale, nil
}

func (b *balancer) uncertainty() (u Uncertainty) {
	sum := 0.0
	for _, c := range b.parts {
		sum += c.u * c.u
		u.Parts = append(u.Parts, UncertaintyPart{c.seq, c.what, ledger.Mass(math.Round(c.u))})
	}
	slices.SortStableFunc(u.Parts, func(a, b UncertaintyPart) int { return int(b.Standard - a.Standard) })
	u.Readings = len(b.parts)
	u.Standard = ledger.Mass(math.Round(math.Sqrt(sum)))
	return u
}
