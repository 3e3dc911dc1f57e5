package shop

import (
	"context"
	"fmt"
	"math"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

// Content is what a lot, a heat or a casting is thought to be made of, and what
// that means against the limits of its alloy.
type Content struct {
	Of          string // account
	Alloy       string
	Composition alloy.Composition // weight per cent, with doubt
	Basis       string            // how it is known, in words
	Limits      *alloy.LimitSet   // the casting limits it is held against; nil when there are none
	Chance      alloy.Chance      // of a casting of it being outside them
	Measured    bool              // some of it: by a certificate or an assay, its own or of what it was melted from
	Seq         int64
}

// keepDoubts is how many origins of doubt a lot's composition carries on; the
// rest are folded, which keeps the work bounded over any number of remelts.
const keepDoubts = 40

// Content carries certificates and measurements through all heats up to now and
// gives what one lot, heat or casting is thought to hold. edition picks a dated
// limit set; "" is the current one.
func (s *Shop) Content(ctx context.Context, a ledger.Account, edition string) (out Content, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		return s.carried.at(r, func(c *carrier) error {
			out, err = c.contentOf(a, edition)
			out.Seq = s.carried.seq
			return err
		})
	})
	return out, err
}

// contentOf is what is known of an account's metal.
func (c *carrier) contentOf(a ledger.Account, edition string) (out Content, err error) {
	v, ok := c.of[vesselOf(a)]
	if !ok {
		return out, &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_METAL", Field: string(a.Kind()), Value: a.Ref(), Want: "never held metal"}
	}
	out.Of, out.Alloy, out.Basis = string(a), c.alloys[vesselOf(a)], v.basis
	out.Measured = v.known
	if out.Composition, err = c.content(vesselOf(a)); err != nil {
		return out, scienceError("composition", err)
	}
	found, err := c.table.Find(out.Alloy)
	if err != nil {
		return out, nil //nolint:nilerr // an alloy without a table entry has a content and no limits
	}
	if _, err := found.LimitSet(alloy.Casting, alloy.OwnEdition); edition == "" && err == nil {
		edition = alloy.OwnEdition
	} else if edition == "" {
		edition = c.editions[out.Alloy+" "+vesselHeat(a, c.heatOf)]
	}
	set, err := found.LimitSet(alloy.Casting, edition)
	if err != nil {
		if edition != "" {
			return out, &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_LIMITS", Field: "edition", Value: edition, Cause: err}
		}
		return out, nil
	}
	out.Limits = &set
	out.Chance, err = out.Composition.ChanceOutside(set, alloy.Casting)
	return out, scienceError("composition", err)
}

// vessel is something that holds metal of one composition: inputs since it was
// last mixed, and how that is known.
type vessel struct {
	inputs []alloy.Input
	basis  string
	mixed  alloy.Composition
	done   bool // mixed is right
	known  bool // by more than the name of an alloy, at least in part
	kg     float64
}

// carrier carries compositions through the log.
type carrier struct {
	table  alloy.Table
	of     map[string]vessel
	alloys map[string]string
	certs  map[string]*ledger.Certificate

	// What a certificate does not name is believed to be within the alloy's limits,
	// for questions that cannot do without it; else it is not known.
	believes bool

	editions map[string]string // "alloy heat" → edition of the limits the heat is judged by
	heatOf   map[string]string // casting → heat
}

// newCarrier starts a carrier over an alloy table.
func newCarrier(table alloy.Table) carrier {
	return carrier{table: table, of: map[string]vessel{}, alloys: map[string]string{}, certs: map[string]*ledger.Certificate{},
		editions: map[string]string{}, heatOf: map[string]string{}}
}

// vesselHeat is the heat whose limits hold for an account.
func vesselHeat(a ledger.Account, heatOf map[string]string) string {
	if h := a.Heat(); h != "" {
		return h
	}
	return heatOf[string(a)]
}

func vesselOf(a ledger.Account) string {
	if h := a.Heat(); h != "" {
		return "heat/" + h
	}
	return string(a)
}

func (c *carrier) entry(e *ledger.Entry, reversed bool) error {
	if err := c.learn(e, reversed); err != nil || reversed {
		return err
	}
	for _, t := range transfersOf(e) {
		from, to := vesselOf(ledger.Account(t.From)), vesselOf(ledger.Account(t.To))
		if from == to || ledger.Account(t.To).IsLoss() || t.To == "" {
			continue
		}
		in := alloy.Input{Mass: float64(t.Mg) / 1e6}
		if ledger.Account(to).Kind() == ledger.InHeat && t.From != "" && !t.Melt { // back to the molds, and not melted again
			c.carry(from, -in.Mass)
			c.carry(to, in.Mass)
			continue
		}
		var basis string
		var known bool
		switch {
		case t.From == "" || from == string(ledger.UnknownOrigin):
			in.Of, basis = c.fresh(to)
			known = c.certs[to] != nil
		default:
			comp, err := c.content(from)
			if err != nil {
				return scienceError("composition", err)
			}
			in.Of, basis = c.whole(from, comp), "carried from "+strings.Replace(from, "/", " ", 1)
			known = c.of[from].known
		}
		v, err := c.left(to)
		if err != nil {
			return err
		}
		if len(v.inputs) == 0 || v.kg <= 0 {
			v = vessel{basis: basis}
		} else if v.basis != basis {
			v.basis = "mixed"
		}
		v.inputs, v.kg, v.done, v.known = append(v.inputs, in), v.kg+in.Mass, false, v.known || known
		c.of[to] = v
		c.carry(from, -in.Mass)
	}
	return nil
}

// left is a vessel before more metal comes into it. What a pile has left of all that came
// before is one metal, of no more than the weight that is left; what a heat took in stays
// apart, since the fire is reckoned once for all of it.
func (c *carrier) left(key string) (vessel, error) {
	v := c.of[key]
	if ledger.Account(key).Kind() == ledger.InHeat || len(v.inputs) == 0 || v.kg <= 0 {
		return v, nil
	}
	mixed, err := c.content(key)
	if err != nil {
		return v, scienceError("composition", err)
	}
	v.inputs = []alloy.Input{{Mass: v.kg, Of: mixed}}
	return v, nil
}

// carry changes how much metal is in a vessel and not what metal it is.
func (c *carrier) carry(key string, kg float64) {
	if v, ok := c.of[key]; ok {
		v.kg += kg
		c.of[key] = v
	}
}

// learn notes alloys, and certificates and measurements as they are recorded. What was
// taken back measured nothing, and neither did what was written of the lot meanwhile.
func (c *carrier) learn(e *ledger.Entry, reversed bool) error {
	for _, rec := range e.Records {
		switch rec.Kind {
		case ledger.RecLot:
			var l ledger.Lot
			if err := rec.Into(&l); err != nil {
				return err
			}
			key := "lot/" + l.ID
			was, seen := c.alloys[key]
			c.alloys[key] = l.Alloy
			if l.Certificate != nil && !reversed && (e.Kind == ledger.KindIdentify || !seen && len(l.Certificate.Elements) > 0) {
				c.certs[key] = l.Certificate
				if v, ok := c.of[key]; ok {
					var err error
					if c.of[key], err = c.remeasured(key, v, l.Alloy == was, l.Certificate); err != nil {
						return scienceError("composition", err)
					}
				}
			}
		case ledger.RecHeat, ledger.RecCasting:
			var x struct{ Alloy, Heat, Limits string }
			if err := rec.Into(&x); err != nil {
				return err
			}
			c.alloys[string(rec.Kind)+"/"+rec.ID] = x.Alloy
			if rec.Kind == ledger.RecCasting {
				c.heatOf[string(ledger.Acct(ledger.OfCasting, rec.ID))] = x.Heat
			} else if _, edition, ok := strings.Cut(x.Limits, "/casting/"); ok { // see alloy.LimitSet.ID
				c.editions[x.Alloy+" "+rec.ID] = edition
			}
		}
	}
	return nil
}

// fresh is the composition of metal that enters the book in a lot: its
// certificate, or anywhere within its alloy's limits.
func (c *carrier) fresh(lot string) (alloy.Composition, string) {
	if cert := c.certs[lot]; cert != nil {
		return c.certified(lot, cert), "certificate " + cert.Number
	}
	return c.byAlloy(lot, c.alloys[lot])
}

func (c *carrier) byAlloy(origin, id string) (alloy.Composition, string) {
	if a, err := c.table.Find(id); err == nil {
		if set, err := a.LimitSet(alloy.Casting, ""); err == nil {
			if comp, err := alloy.FromLimits(origin, set, a.Kind); err == nil {
				if c.believes {
					comp = onlyBelieved(comp)
				}
				return comp, "only known as " + id + ": anywhere within its limits"
			}
		}
	}
	return alloy.Composition{Mean: map[string]float64{}, Doubt: map[string]map[string]float64{}}, "not known"
}

// measured reads a certificate; a figure without a deviation is known to the
// last digit kept in the book, or to 2 % of itself, whichever is more: an
// assumption for papers that state none.
func measured(origin string, cert *ledger.Certificate) alloy.Composition {
	content := map[string]alloy.Estimate{}
	for _, el := range cert.Elements {
		pct := float64(el.PPM) / 1e4
		sd := float64(el.SDPPM) / 1e4
		if sd == 0 {
			sd = math.Max(pct*0.02, 0.002)
			if pct > 50 {
				sd = 0.3
			}
		}
		content[el.Symbol] = alloy.Estimate{Mean: pct, SD: sd}
	}
	comp, err := alloy.Measured(origin, content, "")
	if err != nil {
		return alloy.Composition{Mean: map[string]float64{}, Doubt: map[string]map[string]float64{}}
	}
	return comp
}

// content mixes what a vessel took in, in a heat with what the fire does to it.
func (c *carrier) content(key string) (alloy.Composition, error) {
	v, ok := c.of[key]
	if !ok {
		comp, _ := c.byAlloy(key, c.alloys[key])
		return comp, nil
	}
	if v.done {
		return v.mixed, nil
	}
	if len(v.inputs) > 1 {
		for i := range v.inputs {
			v.inputs[i].Of = c.whole(key, v.inputs[i].Of)
		}
	}
	m := alloy.Melt{Origin: key, Inputs: v.inputs}
	if ledger.Account(key).Kind() == ledger.InHeat {
		if a, err := c.table.Find(c.alloys[key]); err == nil {
			m.Effects = alloy.StartingEffects(a.Family)
		}
	}
	comp, _, err := m.Pour()
	if err != nil {
		return comp, fmt.Errorf("%s: %w", key, err)
	}
	v.mixed, v.done = condensed(comp, key), true
	c.of[key] = v
	return v.mixed, nil
}

func reversedEntries(r ledger.Reader) (map[int64]bool, error) {
	marks, err := kept{r}.records(ledger.RecReversal, "")
	if err != nil {
		return nil, err
	}
	out := map[int64]bool{}
	for _, rec := range marks {
		var v ledger.Reversal
		if err := rec.Into(&v); err != nil {
			return nil, err
		}
		out[v.Entry], out[v.By] = true, true
	}
	return out, nil
}

// RemeltForecast is how an alloy's elements go when its returns are melted again
// and again.
type RemeltForecast struct {
	Alloy    string
	Share    float64
	Steps    map[string][]alloy.RemeltStep // by element
	Greatest alloy.Share                   // the greatest share of returns that keeps every element inside, for ever
	Limits   alloy.LimitSet
}

// ForecastRemelts forecasts the elements of an alloy over n melts at a share of
// returns, starting from metal in the middle of its limits, with the starting
// beliefs about what each melt does. chance is how likely outside is still accepted.
func (s *Shop) ForecastRemelts(ctx context.Context, alloyName string, share float64, n int, chance float64) (out RemeltForecast, err error) {
	id, _, err := s.ResolveAlloy(ctx, alloyName)
	if err != nil {
		return out, err
	}
	table, err := s.Table(ctx)
	if err != nil {
		return out, err
	}
	a, err := table.Find(id)
	if err != nil {
		return out, scienceError("alloy", err)
	}
	if out.Limits, err = a.LimitSet(alloy.Casting, ""); err != nil {
		return out, scienceError("alloy", err)
	}
	out.Alloy, out.Share, out.Steps = id, share, map[string][]alloy.RemeltStep{}
	typical := a.Typical()
	var all []alloy.Remelt
	for _, e := range alloy.StartingEffects(a.Family) {
		v := alloy.Estimate{Mean: typical[e.Element], SD: typical[e.Element] * 0.02}
		// Loss is what the content falls by, as where heats are reckoned: what all metal
		// loses is not taken off once more, which made silicon rise that burns first.
		m := alloy.Remelt{Element: e.Element, Virgin: v, Start: v, Loss: e.Loss, Pickup: e.Pickup}
		if out.Steps[e.Element], err = m.Forecast(n, share); err != nil {
			return out, scienceError("share", err)
		}
		all = append(all, m)
	}
	out.Greatest, err = alloy.GreatestShare(all, out.Limits, alloy.Forever, chance)
	return out, scienceError("chance", err)
}
