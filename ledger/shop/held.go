package shop

import (
	"context"
	"errors"
	"math"
	"reflect"
	"slices"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/lineage"
)

// A metal's name says what it holds only until something else got into it. What else its
// cautions follow from is what it holds by certificates and assays, its own or those of
// what it was melted from, through any number of melts: by lineage, as if each melt were
// mixed well and nothing of it burned, which for cautions is the careful side.

// minded are the elements that cautions follow from.
var minded = []string{"Zn", "Pb", "Be", "Mg"}

// leastFraction is a part of metal below which what it came from is not looked at: of pure
// beryllium it would be a tenth of what a caution is shown for, and of lead nothing.
const leastFraction = 5e-7

// heldQuestion asks what an account held just after an entry.
type heldQuestion struct {
	of string // account
	at int64
}

// heldContent is what it held of the elements that cautions follow from, in weight %.
type heldContent map[string]float64

// ownContent is what a lot's own certificate or assay says.
func ownContent(l *ledger.Lot) heldContent {
	if l == nil || l.Certificate == nil {
		return nil
	}
	return contentOf(l.Certificate.Elements)
}

// heldPart is a lot, or a heel, that is to be melted, or was.
type heldPart struct {
	name string
	heldQuestion
	held heldContent // nil is not known yet
}

// parts are what there is to say of several, with what had to be asked for it.
func (s *Shop) parts(ctx context.Context, all []heldPart, table alloy.Table) ([]alloy.Part, map[heldQuestion]heldContent, error) {
	var asked []heldQuestion
	for _, p := range all {
		if p.held == nil {
			asked = append(asked, p.heldQuestion)
		}
	}
	held, err := s.hold(ctx, asked, table)
	if err != nil {
		return nil, nil, err
	}
	out := make([]alloy.Part, len(all))
	for i, p := range all {
		if p.held == nil {
			p.held = held[p.heldQuestion]
		}
		out[i] = alloy.Part{Of: p.name, Content: p.held}
	}
	return out, held, nil
}

// hold answers what accounts held.
func (s *Shop) hold(ctx context.Context, asked []heldQuestion, table alloy.Table) (map[heldQuestion]heldContent, error) {
	if len(asked) == 0 {
		return nil, nil
	}
	g, _, err := s.lineage(ctx)
	if err != nil {
		return nil, err
	}
	out := make(map[heldQuestion]heldContent, len(asked))
	err = s.view(ctx, func(r ledger.Reader) error {
		h := holder{r: r, g: g, table: table, lots: map[string]*ledger.Lot{}, within: map[string]bool{}}
		for _, q := range asked {
			if out[q], err = h.of(q); err != nil {
				return err
			}
		}
		return nil
	})
	return out, err
}

// knownOf is what lots and heels are known to hold of the elements that cautions follow
// from.
func (s *Shop) knownOf(ctx context.Context, of []ledger.Account) (map[ledger.Account][]ledger.Element, error) {
	table, err := s.Table(ctx)
	if err != nil {
		return nil, err
	}
	asked := make([]heldQuestion, len(of))
	for i, a := range of {
		asked[i] = heldQuestion{string(a), lineage.Latest}
	}
	held, err := s.hold(ctx, asked, table)
	out := make(map[ledger.Account][]ledger.Element, len(of))
	for i, a := range of {
		var known []ledger.Element
		for _, e := range minded {
			if ppm := ledger.PPM(math.Round(held[asked[i]][e] * 1e4)); ppm > 0 {
				known = append(known, ledger.Element{Symbol: e, PPM: ppm})
			}
		}
		out[a] = known
	}
	return out, err
}

// holder reckons what metal held.
type holder struct {
	r      ledger.Reader
	g      *lineage.Graph
	table  alloy.Table
	lots   map[string]*ledger.Lot // by account; nil for what is no lot
	within map[string]bool        // accounts whose content is being reckoned
}

// of is what an account held: what was measured of it, and of the rest what it came
// from. What was measured before more metal came in hides nothing that came with it.
func (h *holder) of(q heldQuestion) (heldContent, error) {
	out, err := h.came(q)
	if err != nil || ledger.Account(q.of).Kind() != ledger.OfLot {
		return out, err
	}
	l, err := h.lot(q.of)
	if err != nil {
		return nil, err
	}
	hidden, own := false, ownContent(l)
	for _, e := range minded {
		v, measured := own[e]
		hidden = hidden || measured && v < out[e]
	}
	if hidden { // else it is all the same
		if hidden, err = h.outdated(q.of, q.at, lineage.Latest); err != nil {
			return nil, err
		}
	}
	for _, e := range minded {
		if v, measured := own[e]; measured && (!hidden || v > out[e]) {
			out[e] = v
		}
	}
	return out, nil
}

// came is what an account held by what it came from.
func (h *holder) came(q heldQuestion) (heldContent, error) {
	sources, err := h.g.Back(q.of, q.at)
	if errors.Is(err, lineage.ErrUnknown) || errors.Is(err, lineage.ErrNothing) {
		return heldContent{}, nil // nothing came: its entry was reversed
	}
	if err != nil {
		return nil, err
	}
	through, err := h.g.Via(q.of, q.at)
	if err != nil {
		return nil, err
	}
	out, unknown := heldContent{}, false
	for _, x := range sources {
		unknown = unknown || x.Node == string(ledger.UnknownOrigin) && x.Fraction >= leastFraction
		l, err := h.lotOf(x)
		if err != nil {
			return nil, err
		}
		if l == nil {
			continue
		}
		named, usual := ownContent(l), map[string]float64(nil)
		if a, err := h.table.Find(l.Alloy); err == nil {
			usual = a.Typical()
		}
		for _, e := range minded {
			v, measured := named[e]
			if !measured {
				v = usual[e]
			}
			out[e] += x.Fraction * v
		}
	}
	for _, x := range through { // metal of unknown origin may have been given one, and an assay on the way may have found more than what came
		l, err := h.lotOf(x)
		if err != nil {
			return nil, err
		}
		if l == nil {
			continue
		}
		if unknown {
			if err := h.assigned(out, x); err != nil {
				return nil, err
			}
		}
		named := ownContent(l)
		for _, e := range minded {
			out[e] = math.Max(out[e], math.Min(x.Fraction, 1)*named[e])
		}
	}
	return out, nil
}

// assigned adds what a lot on the way holds of the heats that it was said to be of when
// it was in the book already, which lineage does not know.
func (h *holder) assigned(out heldContent, lot lineage.Share) error {
	past, err := h.past(lot.Node, lineage.Latest)
	if err != nil {
		return err
	}
	for _, e := range past {
		l, all := ledger.Lot{}, ledger.Mass(0)
		if e.Kind != ledger.KindAssign {
			continue
		}
		if _, err := e.Find(ledger.RecLot, ledger.Account(lot.Node).Ref(), &l); err != nil {
			return err
		}
		for _, from := range l.From {
			all += from.Mass
		}
		for _, p := range e.Postings {
			of := string(p.Account)
			if p.Mass >= 0 || all <= 0 || h.within[of] {
				continue
			}
			h.within[of] = true // a lot may have been said to be of the heat that it went into
			held, err := h.came(heldQuestion{of, lineage.Latest})
			delete(h.within, of)
			if err != nil {
				return err
			}
			part := min(lot.Fraction, 1) * float64(-p.Mass) / float64(all)
			for _, el := range minded {
				out[el] += part * held[el]
			}
		}
	}
	return nil
}

// outdated says whether metal came into a lot between its last certificate or assay, of
// those up to an entry, and the moment asked about. A part of a lot has the lot's.
func (h *holder) outdated(lot string, at, upTo int64) (bool, error) {
	past, err := h.past(lot, upTo)
	if err != nil {
		return false, err
	}
	var last *ledger.Certificate
	var measured int64
	var came []int64
	parent, old := "", false
	for i, e := range past {
		var l ledger.Lot
		found, err := e.Find(ledger.RecLot, ledger.Account(lot).Ref(), &l)
		if err != nil {
			return false, err
		}
		if found {
			if (i == 0 || e.Kind == ledger.KindIdentify) && l.Certificate != nil && !reflect.DeepEqual(l.Certificate, last) {
				measured, parent = e.Seq, ""
			}
			last = l.Certificate
		}
		for _, p := range e.Postings {
			if string(p.Account) == lot && p.Mass > 0 && e.Kind != ledger.KindStocktake { // a count finds the metal that it is
				came = append(came, e.Seq)
			}
			if e.Kind == ledger.KindSplit && measured == e.Seq && p.Mass < 0 && p.Account.Kind() == ledger.OfLot {
				parent = string(p.Account)
			}
		}
	}
	if parent != "" {
		if old, err = h.outdated(parent, measured, measured); err != nil {
			return false, err
		}
	}
	return old || slices.ContainsFunc(came, func(seq int64) bool { return min(at, measured) < seq && seq <= max(at, measured) }), nil
}

// past are the entries about a lot up to one, without what was reversed and what reversed it.
func (h *holder) past(lot string, upTo int64) ([]*ledger.Entry, error) {
	all, err := historyOf(h.r, lot, AsOf{})
	reversed := map[int64]bool{}
	for _, e := range all {
		if e.Reverses != 0 {
			reversed[e.Reverses], reversed[e.Seq] = true, true
		}
	}
	return slices.DeleteFunc(all, func(e *ledger.Entry) bool { return e.Seq > upTo || reversed[e.Seq] }), err
}

// lotOf is the lot of a share that matters; nil for what is no lot.
func (h *holder) lotOf(x lineage.Share) (*ledger.Lot, error) {
	if ledger.Account(x.Node).Kind() != ledger.OfLot || x.Fraction < leastFraction {
		return nil, nil
	}
	return h.lot(x.Node)
}

// lot is the lot of an account.
func (h *holder) lot(of string) (*ledger.Lot, error) {
	if l, known := h.lots[of]; known {
		return l, nil
	}
	rec, found, err := h.r.Record(ledger.RecLot, ledger.Account(of).Ref())
	if err != nil || !found {
		return nil, err
	}
	l := &ledger.Lot{}
	if err := rec.Into(l); err != nil {
		return nil, err
	}
	h.lots[of] = l
	return l, nil
}
