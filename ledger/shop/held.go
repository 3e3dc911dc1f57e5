package shop

import (
	"context"
	"errors"
	"math"

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
	if l.Certificate == nil {
		return nil
	}
	return contentOf(l.Certificate.Elements)
}

// heldPart is a lot, or a heel, that is to be melted, or was.
type heldPart struct {
	name string
	heldQuestion
	own  heldContent // as was measured of it
	came heldContent // by what it came from; nil is not known yet
}

// part is what there is to say of it: what was measured of it, and of the rest what it
// came from.
func (p heldPart) part() alloy.Part {
	out := alloy.Part{Of: p.name, Content: map[string]float64{}}
	for _, e := range minded {
		if v, ok := p.own[e]; ok {
			out.Content[e] = v
		} else if v, ok := p.came[e]; ok {
			out.Content[e] = v
		}
	}
	return out
}

// parts are what there is to say of several, with what had to be asked for it.
func (s *Shop) parts(ctx context.Context, all []heldPart, table alloy.Table) ([]alloy.Part, map[heldQuestion]heldContent, error) {
	var asked []heldQuestion
	for _, p := range all {
		if p.came == nil {
			asked = append(asked, p.heldQuestion)
		}
	}
	held, err := s.hold(ctx, asked, table)
	if err != nil {
		return nil, nil, err
	}
	out := make([]alloy.Part, len(all))
	for i, p := range all {
		if p.came == nil {
			p.came = held[p.heldQuestion]
		}
		out[i] = p.part()
	}
	return out, held, nil
}

// hold answers what accounts held, by what they came from.
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
		h := holder{r: r, table: table, lots: map[string]*ledger.Lot{}}
		for _, q := range asked {
			if out[q], err = h.of(g, q); err != nil {
				return err
			}
		}
		return nil
	})
	return out, err
}

// holder reckons what metal held.
type holder struct {
	r     ledger.Reader
	table alloy.Table
	lots  map[string]*ledger.Lot // by account; nil for what is no lot
}

func (h *holder) of(g *lineage.Graph, q heldQuestion) (heldContent, error) {
	sources, err := g.Back(q.of, q.at)
	if errors.Is(err, lineage.ErrUnknown) || errors.Is(err, lineage.ErrNothing) {
		return heldContent{}, nil // nothing came: its entry was reversed
	}
	if err != nil {
		return nil, err
	}
	through, err := g.Via(q.of, q.at)
	if err != nil {
		return nil, err
	}
	out := heldContent{}
	for _, x := range sources {
		l, err := h.lot(x)
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
	for _, x := range through { // an assay on the way may have found more than what came
		l, err := h.lot(x)
		if err != nil {
			return nil, err
		}
		if l == nil {
			continue
		}
		named := ownContent(l)
		for _, e := range minded {
			out[e] = math.Max(out[e], math.Min(x.Fraction, 1)*named[e])
		}
	}
	return out, nil
}

// lot is the lot of a share that matters; nil for what is no lot.
func (h *holder) lot(x lineage.Share) (*ledger.Lot, error) {
	a := ledger.Account(x.Node)
	if a.Kind() != ledger.OfLot || x.Fraction < leastFraction {
		return nil, nil
	}
	if l, known := h.lots[x.Node]; known {
		return l, nil
	}
	rec, found, err := h.r.Record(ledger.RecLot, a.Ref())
	if err != nil || !found {
		return nil, err
	}
	l := &ledger.Lot{}
	if err := rec.Into(l); err != nil {
		return nil, err
	}
	h.lots[x.Node] = l
	return l, nil
}
