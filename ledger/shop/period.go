package shop

import (
	"context"
	"slices"
	"strings"
	"time"

	"example.org/remelt/ledger"
)

// Grouping says by what the heats of a period are put together.
type Grouping string

// Groupings of a period's heats.
const (
	ByNothing  Grouping = ""
	ByAlloy    Grouping = "alloy"
	ByCrucible Grouping = "crucible"
	ByMelter   Grouping = "melter"
	ByMonth    Grouping = "month" // that they were poured in, where the shop is
)

// PeriodQuery asks about the heats poured, and the metal moved, from From up to
// but not including To, by when it happened.
type PeriodQuery struct {
	From, To time.Time
	By       Grouping
	Alloy    string // only this alloy; "" is all
}

// Group is the balance of several heats together.
type Group struct {
	Key         string
	Heats       []string
	Provisional int // how many of them are not final
	Terms
	Standard ledger.Mass // standard uncertainty of what is unaccounted for or in molds
}

// Flow is what one alloy's metal did in a period. To the milligram,
//
//	Opening + HereAlready + Received + Customers + Additives + Counted + FromOtherAlloys
//	    = Left + Lost + Closing
type Flow struct {
	Alloy           string
	Opening         ledger.Mass
	HereAlready     ledger.Mass // put in the book as there before it began
	Received        ledger.Mass // bought
	Customers       ledger.Mass // brought by customers
	Additives       ledger.Mass // metal of additions and welding rod
	Counted         ledger.Mass // count differences; negative when metal was missing
	FromOtherAlloys ledger.Mass // found to be this alloy, or melted into it; negative the other way
	Left            ledger.Mass // sold, shipped, scrapped, taken
	Lost            ledger.Mass // oxide, vapour, spill, kerf, unaccounted
	Closing         ledger.Mass
}

// Period is the answer to a PeriodQuery.
type Period struct {
	Query  PeriodQuery
	Groups []Group
	Total  Group
	Flows  []Flow
	Seq    int64
}

// Period reckons a period's metal in against castings out.
func (s *Shop) Period(ctx context.Context, q PeriodQuery) (out Period, err error) {
	if !q.From.Before(q.To) {
		return out, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PERIOD", Field: "to", Value: q.To.Format(time.RFC3339), Want: "must be after from"}
	}
	switch q.By {
	case ByNothing, ByAlloy, ByCrucible, ByMelter, ByMonth:
	default:
		return out, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_GROUPING", Field: "by", Value: string(q.By), Want: "must be alloy, crucible, melter or month"}
	}
	if q.Alloy != "" {
		if q.Alloy, _, err = s.ResolveAlloy(ctx, q.Alloy); err != nil {
			return out, err
		}
	}
	err = s.view(ctx, func(r ledger.Reader) error {
		out = Period{Query: q}
		head, err := r.Head()
		if err != nil {
			return err
		}
		out.Seq = head.Seq
		if err := s.groups(r, q, &out); err != nil {
			return err
		}
		out.Flows, err = flows(r, q)
		return err
	})
	return out, err
}

func (s *Shop) groups(r ledger.Reader, q PeriodQuery, out *Period) error {
	recs, err := kept{r}.records(ledger.RecHeat, "")
	if err != nil {
		return err
	}
	settings, err := shopIn(r)
	if err != nil {
		return err
	}
	zone := zoneOf(settings)
	by := map[string]*Group{}
	for _, rec := range recs {
		var h ledger.Heat
		if err := rec.Into(&h); err != nil {
			return err
		}
		if h.Poured.Before(q.From) || !h.Poured.Before(q.To) || h.State == ledger.Dropped || q.Alloy != "" && h.Alloy != q.Alloy {
			continue
		}
		bal, err := s.heatBalance(r, h.ID, AsOf{})
		if err != nil {
			return err
		}
		key := map[Grouping]string{ByAlloy: h.Alloy, ByCrucible: h.Crucible, ByMelter: h.Melter, ByMonth: h.Poured.In(zone).Format("2006-01")}[q.By]
		if by[key] == nil {
			by[key] = &Group{Key: key}
		}
		for _, g := range []*Group{by[key], &out.Total} {
			g.Heats = append(g.Heats, h.ID)
			if bal.Provisional {
				g.Provisional++
			}
			g.add(&bal.Terms)
			g.Standard = hypot(g.Standard, bal.Uncertainty.Standard)
		}
	}
	for _, g := range by {
		out.Groups = append(out.Groups, *g)
	}
	slices.SortFunc(out.Groups, func(a, b Group) int { return strings.Compare(a.Key, b.Key) })
	return nil
}

// flows folds the log once, keeping each alloy's metal in the shop.
func flows(r ledger.Reader, q PeriodQuery) ([]Flow, error) {
	f := flower{q: q, by: map[string]*Flow{}, alloys: map[string]string{}, holds: map[ledger.Account]ledger.Mass{}, at: map[ledger.Account]string{}}
	if err := eachEntry(r, func(e *ledger.Entry) error { return f.entry(e) }); err != nil {
		return nil, err
	}
	var out []Flow
	for _, x := range f.by {
		x.Closing += x.Opening
		if q.Alloy == "" || q.Alloy == x.Alloy {
			out = append(out, *x)
		}
	}
	slices.SortFunc(out, func(a, b Flow) int { return strings.Compare(a.Alloy, b.Alloy) })
	return out, nil
}

type flower struct {
	q      PeriodQuery
	by     map[string]*Flow
	alloys map[string]string // kind/id of lot, heat, casting → alloy
	holds  map[ledger.Account]ledger.Mass
	at     map[ledger.Account]string // alloy an account's metal was last counted under
}

func (f *flower) flow(alloy string) *Flow {
	if f.by[alloy] == nil {
		f.by[alloy] = &Flow{Alloy: alloy}
	}
	return f.by[alloy]
}

// entry counts an entry: what each inside account gained is gained by its alloy;
// what came or went through outside accounts is explained by their kind under
// the alloy of the entry; the rest passed between alloys.
func (f *flower) entry(e *ledger.Entry) error {
	if !e.Happened.Before(f.q.To) {
		return nil
	}
	if err := f.learn(e); err != nil {
		return err
	}
	before := e.Happened.Before(f.q.From)
	main := f.mainAlloy(e)
	gained := map[string]ledger.Mass{}
	explained := map[string]ledger.Mass{}
	for _, rec := range e.Records { // metal found to be another alloy
		a := ledger.Acct(ledger.OfLot, rec.ID)
		if rec.Kind != ledger.RecLot || f.holds[a] == 0 || f.at[a] == f.alloys["lot/"+rec.ID] {
			continue
		}
		gained[f.at[a]] -= f.holds[a]
		gained[f.alloys["lot/"+rec.ID]] += f.holds[a]
		f.at[a] = f.alloys["lot/"+rec.ID]
	}
	for _, p := range e.Postings {
		if p.Account.CountsSupplies() {
			continue
		}
		if inside(p.Account) {
			alloy := f.alloyOf(p.Account, main)
			f.holds[p.Account] += p.Mass
			f.at[p.Account] = alloy
			gained[alloy] += p.Mass
			continue
		}
		explained[main] -= p.Mass
		if x := f.flow(main); !before {
			switch k := p.Account.Kind(); {
			case k == ledger.Before:
				x.HereAlready -= p.Mass
			case k == ledger.Supplier:
				x.Received -= p.Mass
			case k == ledger.Customer:
				x.Customers -= p.Mass
			case k == ledger.Additive:
				x.Additives -= p.Mass
			case k == ledger.Count:
				x.Counted -= p.Mass
			case k == ledger.Left:
				x.Left += p.Mass
			default:
				x.Lost += p.Mass
			}
		}
	}
	for alloy := range explained {
		gained[alloy] += 0
	}
	for alloy, m := range gained {
		x := f.flow(alloy)
		if before {
			x.Opening += m
			continue
		}
		x.Closing += m
		x.FromOtherAlloys += m - explained[alloy]
	}
	return nil
}

// inside reports whether metal in an account is in the shop.
func inside(a ledger.Account) bool {
	switch a.Kind() {
	case ledger.OfLot, ledger.InHeat, ledger.InMolds, ledger.OfCasting, ledger.Heel, ledger.Origin:
		return true
	}
	return false
}

func (f *flower) learn(e *ledger.Entry) error {
	for _, rec := range e.Records {
		switch rec.Kind {
		case ledger.RecLot, ledger.RecHeat, ledger.RecCasting:
			var a struct{ Alloy string }
			if err := rec.Into(&a); err != nil {
				return err
			}
			f.alloys[string(rec.Kind)+"/"+rec.ID] = a.Alloy
		}
	}
	return nil
}

// mainAlloy is the alloy an entry is about: that of its heat, else of its first lot.
func (f *flower) mainAlloy(e *ledger.Entry) string {
	for _, p := range e.Postings {
		if h := p.Account.Heat(); h != "" {
			return f.alloys["heat/"+h]
		}
	}
	for _, p := range e.Postings {
		if a, ok := f.alloys[string(p.Account)]; ok {
			return a
		}
	}
	return ledger.UnknownAlloy
}

func (f *flower) alloyOf(a ledger.Account, main string) string {
	if h := a.Heat(); h != "" {
		return f.alloys["heat/"+h]
	}
	if alloy, ok := f.alloys[string(a)]; ok {
		return alloy
	}
	return main
}

func hypot(a, b ledger.Mass) ledger.Mass {
	return ledger.Mass(rootSquares(float64(a), float64(b)))
}
