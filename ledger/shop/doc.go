// Package shop answers the questions of a shop's day from its book and the
// sciences: what metal is here, where a heat's metal went, what a period gained
// and lost, how much metal a mold wants. It reads through package ledger, asks
// the sciences, and writes through ledger; it keeps nothing of its own.
//
// Every figure that can still change says so: a heat is provisional until it is
// settled, and a position as of a past date says which of the two dates it means.
package shop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

// Shop is a book and the alloy table that goes with it. Use one Shop per book and
// process: it remembers the entries, the lineage and the composition of its metal, and
// what its heats have taught of losses, between questions.
type Shop struct {
	*ledger.Book
	log       logbook
	balances  balances
	standing  standing
	melts     melts
	replaces  replacements
	weighings weighings
	trace     tracer
	carried   carriage // contents as they are known
	believed  carriage // with what is believed of the rest
	lessons   lessons

	remembered remembered // what was asked of the whole book, while it stays as it is
}

// New opens the book of a shop in a store. now may be nil.
func New(store ledger.Store, id string, now func() time.Time) *Shop {
	s := &Shop{Book: &ledger.Book{Store: store, Shop: id, Metals: Metals{alloy.Builtin()}, Now: now}, believed: carriage{believes: true}}
	s.KnownOf = s.knownOf
	return s
}

// Metals lets the book ask the alloy table.
type Metals struct{ Table alloy.Table }

// Lookup finds an alloy by any of its names.
func (m Metals) Lookup(name string) (id, family string, ok bool) {
	a, err := m.Table.Find(name)
	if err != nil || a.IsUnknown() {
		return "", "", false
	}
	return a.ID, string(a.Family), true
}

// Candidates lists the alloys that share a name or a family.
func (m Metals) Candidates(name string) (out []string) {
	_, err := m.Table.Find(name)
	var several *alloy.AmbiguousError
	if errors.As(err, &several) {
		return several.Candidates
	}
	for _, a := range m.Table.Alloys() {
		if strings.EqualFold(string(a.Family), strings.TrimSpace(name)) && !a.IsUnknown() {
			out = append(out, a.ID)
		}
	}
	return out
}

// Families lists the families of alloys.
func (m Metals) Families() (out []string) {
	for _, f := range m.Table.Families() {
		out = append(out, string(f))
	}
	return out
}

// Family finds a family by its name.
func (m Metals) Family(name string) (string, bool) {
	f, ok := m.Table.Family(name)
	return string(f), ok
}

// MayMix says whether metal of one alloy may go into a melt of another.
func (m Metals) MayMix(into, from string) (bool, string) {
	mix, err := m.Table.MayMix(into, from)
	if err != nil { // an alloy of the shop's own: only the same mixes
		return into == from, ""
	}
	return mix.OK, mix.Why
}

// MetalInOxide returns the share of metal in an oxide, from standard atomic weights.
func (m Metals) MetalInOxide(oxide string) (ledger.PPM, bool) {
	share, err := alloy.MetalShareOf(oxide)
	return ledger.PPM(share), err == nil
}

// OxideOf names the oxide an alloy's skimmings are reckoned as: that of its base
// metal, which is most of the metal in them.
func (m Metals) OxideOf(id string) string {
	a, err := m.Table.Find(id)
	if err != nil {
		return "CuO"
	}
	switch a.Kind {
	case alloy.Aluminium:
		return "Al2O3"
	case alloy.Zinc:
		return "ZnO"
	}
	return "CuO"
}

// CastingLimits names the current casting limits of an alloy.
func (m Metals) CastingLimits(id string) string {
	a, err := m.Table.Find(id)
	if err != nil {
		return ""
	}
	set, err := a.LimitSet(alloy.Casting, "")
	if err != nil {
		return ""
	}
	return set.ID()
}

// Excesses says of what a measured content holds clearly more than an alloy may.
func (m Metals) Excesses(id string, own []ledger.Limit, measured []ledger.Element) (out []string) {
	a, err := m.Table.Find(id)
	if err != nil { // an alloy of the shop's own
		a = alloy.Alloy{ID: id}
	}
	if len(own) > 0 {
		a.Limits = append(slices.Clone(a.Limits), ownLimits(id, own))
	}
	for _, x := range a.Excesses(contentOf(measured)) {
		out = append(out, fmt.Sprintf("%.4g %% %s, where %s may hold %.3g %%,", x.Percent, x.Element, a.ID, x.Most))
	}
	return out
}

// contentOf is a measured content in weight %.
func contentOf(measured []ledger.Element) map[string]float64 {
	out := make(map[string]float64, len(measured))
	for _, e := range measured {
		out[e.Symbol] = 100 * part(e.PPM)
	}
	return out
}

// MeltDensity is what a melt of an alloy weighs.
func (m Metals) MeltDensity(id string) float64 {
	a, err := m.Table.Find(id)
	if err != nil { // an alloy of the shop's own: nothing of its melt is known
		return 0
	}
	density, _ := meltDensity(a)
	return density
}

// Table is the built-in alloy table with the shop's own alloys and names.
func (s *Shop) Table(ctx context.Context) (t alloy.Table, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		t, err = tableIn(r)
		return err
	})
	return t, err
}

func tableIn(r ledger.Reader) (alloy.Table, error) {
	recs, err := kept{r}.records(ledger.RecAlloy, "")
	if err != nil || len(recs) == 0 {
		return alloy.Builtin(), err
	}
	adds := make([]alloy.Alloy, len(recs))
	for i, rec := range recs {
		var own ledger.Alloy
		if err := rec.Into(&own); err != nil {
			return alloy.Table{}, err
		}
		adds[i] = ownAlloy(own)
	}
	return alloy.Builtin().With(adds)
}

func ownAlloy(o ledger.Alloy) alloy.Alloy {
	a := alloy.Alloy{ID: o.ID, Names: o.Names, Family: alloy.Family(o.Family), Shop: true}
	if o.Family == "" {
		a.Family = alloy.NoFamily
	}
	if len(o.Limits) > 0 {
		a.Limits = []alloy.LimitSet{ownLimits(o.ID, o.Limits)}
	}
	src := o.Source
	if src == "" {
		src = "entered by the shop"
	}
	if o.DensityMgCm3 > 0 {
		a.Figures = append(a.Figures, alloy.Figure{Property: alloy.Density, Value: float64(o.DensityMgCm3) / 1000, Unit: "g/cm³", Source: src, Verified: alloy.Shop})
	}
	return a
}

// ownLimits are the limits that a shop asks of an alloy itself: of one in the table they go
// before the table's, bound by bound. They are current of an alloy that has no others.
func ownLimits(id string, own []ledger.Limit) alloy.LimitSet {
	set := alloy.LimitSet{Alloy: id, Kind: alloy.Casting, Edition: alloy.OwnEdition, Current: true}
	if a, err := alloy.Builtin().Find(id); err == nil {
		if theirs, err := a.LimitSet(alloy.Casting, ""); err == nil {
			set.Limits, set.Note, set.Current = slices.Clone(theirs.Limits), "what the shop does not say is of "+theirs.Edition, false
		}
	}
	for _, l := range own {
		row := alloy.Limit{Element: l.Element, Min: float64(l.MinPPM) / 1e4, Max: float64(l.MaxPPM) / 1e4,
			HasMin: l.MinPPM > 0, HasMax: l.HasMax(), Remainder: l.Rest, Verified: alloy.Shop}
		if i := slices.IndexFunc(set.Limits, func(t alloy.Limit) bool { return t.Element == l.Element }); i >= 0 {
			set.Limits[i] = narrowed(set.Limits[i], row)
		} else {
			set.Limits = append(set.Limits, row)
		}
	}
	return set
}

// narrowed is a limit of the table with the bounds that a shop says instead. What it leaves
// of the other bound stays where the two leave room between them.
func narrowed(theirs, own alloy.Limit) alloy.Limit {
	own.Plus, own.MayPlus = theirs.Plus, theirs.MayPlus
	if !own.HasMax && theirs.HasMax && own.HasMin && own.Min < theirs.Max {
		own.Max, own.HasMax = theirs.Max, true
	}
	if !own.HasMin && theirs.HasMin && own.HasMax && theirs.Min < own.Max {
		own.Min, own.HasMin = theirs.Min, true
	}
	return own
}

// SetAlloy adds or changes an alloy of the shop's own, after asking the table
// whether it can stand beside the built-in ones.
func (s *Shop) SetAlloy(ctx context.Context, m ledger.Meta, a ledger.Alloy) (*ledger.Entry, error) {
	if _, err := alloy.Builtin().With([]alloy.Alloy{ownAlloy(a)}); err != nil {
		return nil, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_ALLOY", Field: "alloy", Value: a.ID, Cause: err}
	}
	return s.Book.SetAlloy(ctx, m, a)
}
