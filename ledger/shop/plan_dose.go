package shop

import (
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/charge"
)

// deoxidise finds the deoxidiser and its dose: as asked, else as the shop's own
// heats of this alloy were given it, if at least half of them were.
func (p *planner) deoxidise(r ledger.Reader) error {
	if p.q.Dose != nil && *p.q.Dose == 0 {
		return nil
	}
	supply, dose, heats, err := p.usualDose(r)
	if err != nil {
		return err
	}
	if p.q.Dose != nil {
		dose, heats = part(*p.q.Dose), 0
	}
	if supply == "" || dose <= 0 {
		if p.q.Deoxidiser != "" || p.q.Dose != nil {
			return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PLAN", Field: "deoxidiser", Value: p.q.Deoxidiser, Want: "say the deoxidiser and its dose, since no heats of this alloy show them"}
		}
		return nil
	}
	p.out.Deoxidiser = supply
	if rec, found, err := r.Record(ledger.RecSupply, supply); err != nil {
		return err
	} else if found {
		if err := rec.Into(&p.supply); err != nil {
			return err
		}
	}
	p.heat.Deoxide = charge.Deoxidiser{Name: supply, PerKg: 1000 * dose}
	if heats > 0 {
		p.note("deoxidiser %s: %.3g g for a kilogram of melt, as in %s of this alloy", supply, 1000*dose, counted(heats, "heat"))
	}
	if p.q.Phosphorus > 0 {
		p.heat.Deoxide.Content, p.heat.Deoxide.Kept = map[string]float64{"P": float64(p.q.Phosphorus) / 1e4}, 1
		p.note("all phosphorus of the deoxidiser is taken to stay in the melt")
	} else {
		p.note("what the deoxidiser leaves in the melt is not reckoned: say what phosphorus it holds")
	}
	return nil
}

// usualDose is the deoxidiser that at least half of the shop's heats of the alloy
// were given, or the one asked for, and its share of what was charged.
func (p *planner) usualDose(r ledger.Reader) (supply string, share float64, heats int, err error) {
	if p.q.Deoxidiser != "" {
		if _, found, err := r.Record(ledger.RecSupply, p.q.Deoxidiser); err != nil {
			return "", 0, 0, err
		} else if !found {
			return "", 0, 0, &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "deoxidiser", Value: p.q.Deoxidiser}
		}
	}
	kg, err := p.chargedOf(r)
	if err != nil {
		return "", 0, 0, err
	}
	inPieces, err := suppliesInPieces(r)
	if err != nil {
		return "", 0, 0, err
	}
	adds, err := kept{r}.records(ledger.RecAddition, "")
	if err != nil {
		return "", 0, 0, err
	}
	given, to := map[string]float64{}, map[string]map[string]bool{}
	for _, rec := range adds {
		var a ledger.Addition
		if err := rec.Into(&a); err != nil {
			return "", 0, 0, err
		}
		if a.Void || a.Purpose != "deoxidiser" || kg[a.Heat] == 0 || inPieces[a.Supply] || p.q.Deoxidiser != "" && a.Supply != p.q.Deoxidiser {
			continue
		}
		given[a.Supply] += a.Amount.Mass.Kg()
		if to[a.Supply] == nil {
			to[a.Supply] = map[string]bool{}
		}
		to[a.Supply][a.Heat] = true
	}
	supply = p.q.Deoxidiser
	for id, in := range to {
		if p.q.Deoxidiser == "" && 2*len(in) >= len(kg) && (supply == "" || len(in) > len(to[supply]) || len(in) == len(to[supply]) && id < supply) {
			supply = id
		}
	}
	charged := 0.0
	for h := range to[supply] {
		charged += kg[h]
	}
	if charged == 0 {
		return supply, 0, 0, nil
	}
	return supply, given[supply] / charged, len(to[supply]), nil
}

// chargedOf is what was charged into the shop's heats of the alloy, in kg.
func (p *planner) chargedOf(r ledger.Reader) (map[string]float64, error) {
	recs, err := kept{r}.records(ledger.RecHeat, "")
	if err != nil {
		return nil, err
	}
	same := map[string]bool{}
	for _, rec := range recs {
		var h ledger.Heat
		if err := rec.Into(&h); err != nil {
			return nil, err
		}
		same[h.ID] = h.Alloy == p.h.Alloy
	}
	out := map[string]float64{}
	for _, h := range p.heats {
		if same[h.ID] && h.Charged > 0 {
			out[h.ID] = h.Charged
		}
	}
	return out, nil
}

func suppliesInPieces(r ledger.Reader) (map[string]bool, error) {
	recs, err := kept{r}.records(ledger.RecSupply, "")
	if err != nil {
		return nil, err
	}
	out := map[string]bool{}
	for _, rec := range recs {
		var s ledger.Supply
		if err := rec.Into(&s); err != nil {
			return nil, err
		}
		out[s.ID] = s.InPieces
	}
	return out, nil
}
