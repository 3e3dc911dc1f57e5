package shop

import (
	"context"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
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
func (s *Shop) Losses(ctx context.Context) (out Losses, err error) {
	read, err := s.lossHeats(ctx)
	if err != nil {
		return out, err
	}
	out.Heats, out.Seq = len(read.heats), read.seq
	if out.Shop, err = s.lessons.byCause(s, read); err != nil {
		return out, err
	}
	out.Watch, err = s.lessons.watched(s, read)
	return out, err
}

// learned is what the heats have taught of the melt loss, of all causes together, up to
// now, and the heats.
func (s *Shop) learned(ctx context.Context) (*loss.Model, []loss.Heat, error) {
	read, err := s.lossHeats(ctx)
	if err != nil {
		return nil, nil, err
	}
	whole, err := s.lessons.together(s, read)
	return whole, read.heats, err
}

// lessons are what heats have taught of losses. They follow from the heats alone, so they
// are kept while these are the same, whatever else came into the book: most entries are
// about no heat that is learned from.
type lessons struct {
	mu    sync.Mutex
	from  lossRead
	whole *loss.Model
	cause *loss.Shop
	watch *loss.Watch
}

// lossRead is what of the book losses are learned from.
type lossRead struct {
	heats   []loss.Heat
	taught  []loss.Heat      // the same, with nothing of the provisional ones that can still change
	melters []loss.Covariate // a further covariate: who melted
	seq     int64
}

// lesson gives one of the lessons from heats, learned anew unless they are the same.
func lesson[T any](l *lessons, from lossRead, kept func() **T, learn func() (*T, error)) (*T, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !reflect.DeepEqual(l.from.taught, from.taught) || !reflect.DeepEqual(l.from.melters, from.melters) {
		l.from, l.whole, l.cause, l.watch = from, nil, nil, nil
	}
	at := kept()
	if *at != nil {
		return *at, nil
	}
	got, err := learn()
	if err != nil {
		return nil, scienceError("heats", err)
	}
	*at = got
	return got, nil
}

func (l *lessons) together(s *Shop, from lossRead) (*loss.Model, error) {
	return lesson(l, from, func() **loss.Model { return &l.whole }, func() (*loss.Model, error) { return loss.Learn(from.taught, s.lossConfig(from.taught)) })
}

func (l *lessons) byCause(s *Shop, from lossRead) (*loss.Shop, error) {
	return lesson(l, from, func() **loss.Shop { return &l.cause }, func() (*loss.Shop, error) { return loss.LearnCauses(from.taught, s.lossConfig(from.taught)) })
}

func (l *lessons) watched(s *Shop, from lossRead) (*loss.Watch, error) {
	return lesson(l, from, func() **loss.Watch { return &l.watch }, func() (*loss.Watch, error) {
		return loss.WatchLoss(from.taught, s.lossConfig(from.taught), loss.WatchConfig{}, from.melters)
	})
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

// lossHeats are the shop's heats as the loss model sees them.
func (s *Shop) lossHeats(ctx context.Context) (lossRead, error) {
	return recall(ctx, s, "heats of losses", func() (lossRead, error) { return s.readLossHeats(ctx) })
}

func (s *Shop) readLossHeats(ctx context.Context) (out lossRead, err error) {
	table, err := s.Table(ctx)
	if err != nil {
		return out, err
	}
	doubted := map[string]string{}
	if rec, err := s.Reconcile(ctx, ""); err == nil { // else the balances contradict each other altogether: that is told where it is asked
		doubted = rec.Doubted
	}
	melters := loss.Covariate{Name: "melter"}
	err = s.view(ctx, func(r ledger.Reader) error {
		out, melters.Labels = lossRead{}, nil
		head, err := r.Head()
		if err != nil {
			return err
		}
		out.seq = head.Seq
		read, err := byHeat[ledger.Reading](r, ledger.RecReading)
		if err != nil {
			return err
		}
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
			lh.Superheat = superheat(read[ledger.OfHeat(h.ID)], h, table)
			out.heats = append(out.heats, lh)
			if lh.Provisional { // only named, as left out
				lh = loss.Heat{ID: lh.ID, Time: lh.Time, Provisional: true, Family: lh.Family, Charged: 1, Shares: [loss.NumForms]float64{loss.Ingot: 1}}
			}
			out.taught = append(out.taught, lh)
			melters.Labels = append(melters.Labels, h.Melter)
		}
		return nil
	})
	out.melters = []loss.Covariate{melters}
	return out, err
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
	for _, form := range slices.Sorted(maps.Keys(b.ChargedBy)) { // in order, so that sums are the same every time
		if m := b.ChargedBy[form]; m > 0 {
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
	case ledger.BoughtScrap, ledger.SpillForm, ledger.Skimmings, ledger.Prills, ledger.UnknownForm:
		return loss.DirtyReturns
	}
	return loss.CleanGating
}

// superheat is the last temperature read before the pour was finished, above the
// alloy's liquidus; nil when either is not known.
func superheat(read []ledger.Stamped[ledger.Reading], h ledger.Heat, table alloy.Table) *float64 {
	a, err := table.Find(h.Alloy)
	if err != nil {
		return nil
	}
	liquidus, ok := a.Figure(alloy.Liquidus)
	if !ok {
		return nil
	}
	var last *float64
	seq := int64(0)
	for i := range read {
		if v := &read[i]; !v.Value.Void && v.Seq > seq {
			above := float64(v.Value.MilliC)/1000 - liquidus.Value
			last, seq = &above, v.Seq
		}
	}
	if last != nil && (*last < -100 || *last > 600) { // a mold or a furnace wall, not the melt
		return nil
	}
	return last
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
	read, err := s.lossHeats(ctx)
	if err != nil {
		return loss.Coverage{}, err
	}
	heats := read.heats
	if rated(heats) <= first {
		return loss.Coverage{Level: level}, nil
	}
	c, err := loss.HoldBack(heats, s.lossConfig(heats), first, 0, level)
	return c, scienceError("heats", err)
}
