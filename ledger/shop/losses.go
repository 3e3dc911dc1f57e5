package shop

import (
	"context"
	"fmt"
	"math"
	"sync"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/loss"
)

// Losses is what the shop's own heats teach about its losses.
type Losses struct {
	Shop  *loss.Shop  // learned, as a whole and by cause
	Watch *loss.Watch // control chart: when something changed
	Heats int         // heats in the book that were melted
	Seq   int64
}

// Losses learns from all heats that are settled; the others are named as left out.
func (s *Shop) Losses(ctx context.Context) (Losses, error) {
	return recall(ctx, s, "losses", func() (out Losses, err error) {
		heats, extra, seq, err := s.lossHeats(ctx)
		if err != nil {
			return out, err
		}
		out.Heats, out.Seq = len(heats), seq
		if out.Shop, err = s.learnedByCause(ctx); err != nil {
			return out, err
		}
		out.Watch, err = loss.WatchLoss(heats, s.lossConfig(heats), loss.WatchConfig{}, extra)
		return out, scienceError("heats", err)
	})
}

// learnedByCause is what the heats have taught of each way of losing metal.
func (s *Shop) learnedByCause(ctx context.Context) (*loss.Shop, error) {
	return recall(ctx, s, "losses by cause", func() (*loss.Shop, error) {
		heats, _, _, err := s.lossHeats(ctx)
		if err != nil {
			return nil, err
		}
		m, err := loss.LearnCauses(heats, s.lossConfig(heats))
		return m, scienceError("heats", err)
	})
}

// lessons keeps what the shop's heats have taught of their melt loss until the book
// has an entry that may be about a heat that was poured.
type lessons struct {
	mu    sync.Mutex
	seq   int64 // as of this entry
	heats []loss.Heat
	whole *loss.Model
}

// teachesNothing are the kinds of entry that touch no heat that was poured.
var teachesNothing = map[ledger.Kind]bool{
	ledger.KindPlanHeat: true, ledger.KindSetMold: true, ledger.KindOpenHeat: true, ledger.KindDropHeat: true, ledger.KindSpeakFor: true,
	ledger.KindMove: true, ledger.KindReceive: true, ledger.KindReceiveSupply: true, ledger.KindUseSupply: true, ledger.KindCountSupply: true, ledger.KindFuel: true,
	ledger.KindWriteOrder: true, ledger.KindChangeOrder: true, ledger.KindPlaceOrder: true, ledger.KindReceiveOrder: true, ledger.KindGiveUpOrder: true,
	ledger.KindSetCommission: true, ledger.KindSetRates: true, ledger.KindQuote: true, ledger.KindLabour: true, ledger.KindBuyIn: true,
}

// learned is what the heats have taught of the melt loss up to now, and the heats.
func (s *Shop) learned(ctx context.Context) (*loss.Model, []loss.Heat, error) {
	l := &s.lessons
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.whole != nil {
		teach := false
		err := s.Store.View(ctx, s.Book.Shop, func(r ledger.Reader) error {
			return eachEntryAfter(r, l.seq, func(e *ledger.Entry) error {
				if teach = !teachesNothing[e.Kind]; teach {
					return errStop
				}
				l.seq = e.Seq
				return nil
			})
		})
		if err != nil || !teach {
			return l.whole, l.heats, err
		}
	}
	heats, _, seq, err := s.lossHeats(ctx)
	if err != nil {
		return nil, nil, err
	}
	whole, err := loss.Learn(heats, s.lossConfig(heats)) // of all causes together
	if err != nil {
		return nil, nil, scienceError("heats", err)
	}
	l.seq, l.heats, l.whole = seq, heats, whole
	return whole, heats, nil
}

func scienceError(field string, err error) error {
	if err == nil {
		return nil
	}
	return &ledger.Error{Class: ledger.ErrInvalid, Reason: "NOT_DETERMINED", Field: field, Cause: err}
}

// lossConfig is the starting belief for the families the heats are of.
func (s *Shop) lossConfig(heats []loss.Heat) loss.Config {
	bases := map[string]loss.Base{}
	for _, f := range []struct {
		family alloy.Family
		base   loss.Base
	}{
		{alloy.YellowBrass, loss.ZincBearing}, {alloy.SiliconBrass, loss.ZincBearing}, {alloy.RedBrass, loss.ZincBearing},
		{alloy.ManganeseBronze, loss.ZincBearing}, {alloy.WhiteBrass, loss.ZincBearing},
		{alloy.AluminiumSilicon, loss.AluminiumBase}, {alloy.AluminiumMagnesium, loss.AluminiumBase}, {alloy.AluminiumZinc, loss.AluminiumBase},
		{alloy.ZincAluminium, loss.ZincBearing},
	} {
		bases[string(f.family)] = f.base
	}
	for _, h := range heats {
		if _, ok := bases[h.Family]; !ok {
			bases[h.Family] = loss.CopperBase
		}
	}
	return loss.Config{Beliefs: loss.Starting(bases), Drift: len(heats) >= 40}
}

// lossHeats are the shop's heats as the loss model sees them, with the melter as
// a further covariate.
func (s *Shop) lossHeats(ctx context.Context) (heats []loss.Heat, extra []loss.Covariate, seq int64, err error) {
	type read struct {
		heats []loss.Heat
		extra []loss.Covariate
		seq   int64
	}
	got, err := recall(ctx, s, "heats of losses", func() (x read, err error) {
		x.heats, x.extra, x.seq, err = s.readLossHeats(ctx)
		return x, err
	})
	return got.heats, got.extra, got.seq, err
}

func (s *Shop) readLossHeats(ctx context.Context) (heats []loss.Heat, extra []loss.Covariate, seq int64, err error) {
	table, err := s.Table(ctx)
	if err != nil {
		return nil, nil, 0, err
	}
	doubted := map[string]string{}
	if rec, err := s.Reconcile(ctx, ""); err == nil { // else the balances contradict each other altogether: that is told where it is asked
		doubted = rec.Doubted
	}
	melters := loss.Covariate{Name: "melter"}
	err = s.Store.View(ctx, s.Book.Shop, func(r ledger.Reader) error {
		heats, melters.Labels = nil, nil
		head, err := r.Head()
		if err != nil {
			return err
		}
		seq = head.Seq
		recs, err := kept{r}.records(ledger.RecHeat, "")
		if err != nil {
			return err
		}
		for _, rec := range recs {
			var h ledger.Heat
			if err := rec.Into(&h); err != nil {
				return err
			}
			if h.State != ledger.Late && h.State != ledger.Settled {
				continue
			}
			bal, err := s.heatBalance(r, h.ID, AsOf{})
			if err != nil {
				return err
			}
			if bal.Charged <= 0 {
				continue
			}
			lh := lossHeat(&bal, table)
			lh.Doubted = doubted[h.ID]
			if lh.Superheat, err = superheat(r, h, table); err != nil {
				return err
			}
			heats = append(heats, lh)
			melters.Labels = append(melters.Labels, h.Melter)
		}
		return nil
	})
	return heats, []loss.Covariate{melters}, seq, err
}

func lossHeat(b *HeatBalance, table alloy.Table) loss.Heat {
	h := loss.Heat{ID: b.Heat.ID, Time: b.Heat.Poured, Provisional: b.Provisional, Family: familyOf(table, b.Heat.Alloy),
		Crucible: b.Heat.Crucible, Furnace: b.Heat.Furnace, Charged: b.In().Kg()}
	h.Shares = chargeShares(b)
	skim, share := b.skimDoubt()
	u := b.Uncertainty.Standard.Kg()
	scales := math.Sqrt(math.Max(u*u-math.Pow(skim*(1-share), 2), 0)) // without the guess of what is trapped
	skimmed := b.Trapped+b.Recovered != 0 || b.Oxide != 0
	known := func(m ledger.Mass, sd float64, ok bool) loss.Amount {
		return loss.Amount{Kg: m.Kg(), SD: sd, Known: ok}
	}
	h.Loss[loss.Oxidation] = known(b.Oxide+b.Vapour, skim*share, skimmed)
	h.Loss[loss.Trapped] = known(b.Trapped, skim, skimmed)
	h.Loss[loss.Spill] = known(b.Spilled, 0, true)
	h.Loss[loss.Kerf] = known(b.Kerf, 0, true)
	h.Loss[loss.Unaccounted] = known(b.Unaccounted, math.Hypot(scales, skim*(1-share)), true)
	// What is guessed to be trapped is taken from the oxide and from what is left
	// over, so the three are wrong together and their sum is not.
	var cov [loss.NumCauses][loss.NumCauses]float64
	guess := map[loss.Cause]float64{loss.Trapped: skim, loss.Oxidation: -skim * share, loss.Unaccounted: -skim * (1 - share)}
	for c, x := range guess {
		for d, y := range guess {
			cov[c][d] = x * y
		}
	}
	cov[loss.Unaccounted][loss.Unaccounted] += scales * scales
	h.Cov = &cov
	return h
}

func familyOf(table alloy.Table, id string) string {
	a, err := table.Find(id)
	if err != nil || a.Family == alloy.NoFamily {
		return ""
	}
	return string(a.Family)
}

// chargeShares sorts what was charged into the loss model's forms; what is left
// over by rounding counts as clean gating.
func chargeShares(b *HeatBalance) (out [loss.NumForms]float64) {
	total := 0.0
	for form, m := range b.ChargedBy {
		if m > 0 {
			out[lossForm(form)] += m.Kg()
			total += m.Kg()
		}
	}
	if dirty := b.ChargeDirty.Kg(); dirty > 0 {
		moved := math.Min(dirty, out[loss.CleanGating])
		out[loss.CleanGating] -= moved
		out[loss.DirtyReturns] += moved
	}
	if total == 0 {
		out[loss.CleanGating] = 1
		return out
	}
	for i := range out {
		out[i] /= total
	}
	return out
}

func lossForm(f ledger.Form) loss.Form {
	switch f {
	case ledger.Ingot:
		return loss.Ingot
	case ledger.Pig:
		return loss.Pigs
	case ledger.Grindings:
		return loss.Grindings
	case ledger.BoughtScrap, ledger.SpillForm, ledger.Skimmings, ledger.UnknownForm:
		return loss.DirtyReturns
	}
	return loss.CleanGating
}

// superheat is the last temperature read before the pour was finished, above the
// alloy's liquidus; nil when either is not known.
func superheat(r ledger.Reader, h ledger.Heat, table alloy.Table) (*float64, error) {
	a, err := table.Find(h.Alloy)
	if err != nil {
		return nil, nil //nolint:nilerr,nilnil // not in the table: not known
	}
	liquidus, ok := a.Figure(alloy.Liquidus)
	if !ok {
		return nil, nil //nolint:nilnil // not known
	}
	recs, err := r.Records(ledger.RecReading, ledger.OfHeat(h.ID), "", 1000)
	if err != nil {
		return nil, err
	}
	var last *float64
	seq := int64(0)
	for _, rec := range recs {
		var read ledger.Reading
		if err := rec.Into(&read); err != nil {
			return nil, err
		}
		if !read.Void && rec.Seq > seq {
			above := float64(read.MilliC)/1000 - liquidus.Value
			last, seq = &above, rec.Seq
		}
	}
	if last != nil && (*last < -100 || *last > 600) { // a mold or a furnace wall, not the melt
		return nil, nil //nolint:nilnil // not known
	}
	return last, nil
}

// HoldBackLosses checks the forecasts on the shop's own past: heats after the
// first are forecast from those before them. With no more heats than that nothing
// is checked yet, and Coverage.Heats is 0.
func (s *Shop) HoldBackLosses(ctx context.Context, first int, level float64) (loss.Coverage, error) {
	switch {
	case first < 1:
		return loss.Coverage{}, &ledger.Error{Class: ledger.ErrInvalid, Reason: "OUT_OF_RANGE", Field: "first", Value: fmt.Sprint(first), Want: "must be at least 1"}
	case !(level > 0 && level < 1):
		return loss.Coverage{}, &ledger.Error{Class: ledger.ErrInvalid, Reason: "OUT_OF_RANGE", Field: "level", Value: fmt.Sprint(level), Want: "must be between 0 and 1"}
	}
	heats, _, _, err := s.lossHeats(ctx)
	if err != nil {
		return loss.Coverage{}, err
	}
	if rated(heats) <= first {
		return loss.Coverage{Level: level}, nil
	}
	c, err := loss.HoldBack(heats, s.lossConfig(heats), first, 0, level)
	return c, scienceError("heats", err)
}
