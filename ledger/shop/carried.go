package shop

import (
	"maps"
	"math"
	"sync"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

// carriage keeps carried compositions between questions. At each question it is
// brought up to the head by the entries that are new since the last one, so it is
// never staler than the question. It starts again from the first entry when a new
// one changes what earlier ones mean (a reversal, a change of the shop's alloys,
// another alloy of a heat), or when the book is another. It holds nothing that the log does not.
type carriage struct {
	believes bool // see carrier.believes

	mu      sync.Mutex
	carrier carrier
	tail    // of what is carried
	began   bool
}

// at calls fn with the compositions at the head of the book, or a little after it
// when a later question was faster. Nothing of the carrier may be kept or changed.
func (k *carriage) at(r ledger.Reader, fn func(c *carrier) error) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.catchUp(r); err != nil {
		k.began = false // an entry may be half carried
		return err
	}
	return fn(&k.carrier)
}

func (k *carriage) catchUp(r ledger.Reader) error {
	if k.began {
		same, err := k.still(r)
		if err != nil {
			return err
		}
		stale := !same
		if same {
			err = eachEntryAfter(r, k.seq, func(e *ledger.Entry) error {
				if stale = k.carrier.revises(e); stale {
					return errStop
				}
				k.add(e.Seq, e.Hash)
				return k.carrier.entry(e, false)
			})
		}
		if err != nil || !stale {
			return err
		}
	}
	table, err := tableIn(r)
	if err != nil {
		return err
	}
	reversed, err := reversedEntries(r)
	if err != nil {
		return err
	}
	k.carrier, k.tail, k.began = newCarrier(table), tail{}, true
	k.carrier.believes = k.believes
	return eachEntryAfter(r, 0, func(e *ledger.Entry) error {
		k.add(e.Seq, e.Hash)
		return k.carrier.entry(e, reversed[e.Seq])
	})
}

// revises reports whether an entry changes what earlier entries mean.
func (c *carrier) revises(e *ledger.Entry) bool {
	if e.Reverses != 0 {
		return true
	}
	for _, rec := range e.Records {
		switch rec.Kind {
		case ledger.RecAlloy:
			return true
		case ledger.RecHeat:
			var h ledger.Heat
			if was, known := c.alloys[string(rec.Kind)+"/"+rec.ID]; known && (rec.Into(&h) != nil || h.Alloy != was) {
				return true
			}
		}
	}
	return false
}

// certified is the composition that a certificate states of a lot's metal.
func (c *carrier) certified(lot string, cert *ledger.Certificate) alloy.Composition {
	comp := measured(lot, cert)
	if c.believes {
		c.believe(c.alloys[lot], comp, func(string) string { return believedOrigin })
	}
	return comp
}

// remeasured is what a lot holds after an analysis: what the analysis does not name is
// what was carried to the lot or certified of it before. What was thought only because of
// its alloy is as well thought anew.
func (c *carrier) remeasured(lot string, v vessel, sameAlloy bool, cert *ledger.Certificate) (vessel, error) {
	comp, basis := c.certified(lot, cert), "measured"
	if sameAlloy && v.known {
		before, err := c.content(lot)
		if err != nil {
			return v, err
		}
		if full := before.Corrected(measured(lot, cert)); len(full.Mean) > len(cert.Elements) {
			if c.believes {
				c.believe(c.alloys[lot], full, func(string) string { return believedOrigin })
			}
			comp, basis = full, "measured, what the analysis does not name as before"
		}
	}
	v.inputs = []alloy.Input{{Mass: max(v.kg, 0), Of: comp}}
	v.basis, v.mixed, v.done, v.known = basis, comp, true, true
	return v, nil
}

// whole is a lot's metal as it goes together with other metal. What its certificate does
// not name is not known of the lot by itself; in a mixture it would count as none of it, and
// is believed to be anywhere within the limits of its alloy, as all of a lot without a
// certificate is.
func (c *carrier) whole(lot string, comp alloy.Composition) alloy.Composition {
	if c.believes || ledger.Account(lot).Kind() != ledger.OfLot || len(comp.Mean) == 0 {
		return comp
	}
	full := alloy.Composition{Mean: comp.Means(), Doubt: maps.Clone(comp.Doubt)}
	c.believe(c.alloys[lot], full, func(e string) string { return lot + "/" + e })
	return full
}

// believedOrigin is the one origin of all doubt that is only belief. What is believed
// to be within limits is so in any mixture: it widens what is said of a content, and
// is no chance of being outside.
const believedOrigin = "believed"

// believe adds to a certificate the elements that it does not name and the limits
// of its alloy do: anywhere from the least to the greatest that the limits and the
// part that is not named allow (rectangular, GUM clause 4.3.7), the base metal what
// is left. A charge that is to keep limits cannot do without an idea of them; it is
// a belief, which a fuller certificate replaces. origin names what the doubt about an
// element comes from.
func (c *carrier) believe(id string, comp alloy.Composition, origin func(element string) string) {
	a, err := c.table.Find(id)
	if err != nil {
		return
	}
	set, err := a.LimitSet(alloy.Casting, "")
	if err != nil {
		return
	}
	rest := unnamedPart(comp)
	base := alloy.Most(a.Typical())
	_, baseNamed := comp.Mean[base]
	for _, l := range set.Limits {
		if _, named := comp.Mean[l.Element]; named || l.Element == base || !isElement(l) {
			continue
		}
		high := rest
		if l.HasMax {
			high = math.Min(high, l.Max)
		} else if l.HasMin {
			high = math.Min(high, l.Min)
		}
		low := math.Min(l.Min, high)
		comp.Mean[l.Element] = (low + high) / 2
		doubt, sd := comp.Doubt[origin(l.Element)], (high-low)/math.Sqrt(12)
		if doubt == nil {
			doubt = map[string]float64{}
			comp.Doubt[origin(l.Element)] = doubt
		}
		doubt[l.Element] = sd
		if !baseNamed {
			doubt[base] -= sd
		}
	}
	if left := unnamedPart(comp); !baseNamed && base != "" && left > 0 {
		comp.Mean[base] = left
	}
}

// onlyBelieved makes all doubt of a composition belief.
func onlyBelieved(comp alloy.Composition) alloy.Composition {
	doubt := map[string]float64{}
	for _, by := range comp.Doubt {
		for e, s := range by {
			doubt[e] += s
		}
	}
	comp.Doubt = map[string]map[string]float64{believedOrigin: doubt}
	return comp
}

// condensed is a composition with few origins of doubt, belief apart from the rest.
func condensed(comp alloy.Composition, key string) alloy.Composition {
	belief, has := comp.Doubt[believedOrigin]
	if !has {
		return comp.Condensed(key, keepDoubts)
	}
	out := withoutBelief(comp).Condensed(key, keepDoubts)
	doubt := map[string]map[string]float64{believedOrigin: belief}
	for k, by := range out.Doubt {
		doubt[k] = by
	}
	out.Doubt = doubt
	return out
}

// withoutBelief is a composition with the doubt of what was measured alone.
func withoutBelief(comp alloy.Composition) alloy.Composition {
	doubt := map[string]map[string]float64{}
	for k, by := range comp.Doubt {
		if k != believedOrigin {
			doubt[k] = by
		}
	}
	return alloy.Composition{Mean: comp.Mean, Doubt: doubt}
}

// isElement reports whether a row of limits is of an element with a bound.
func isElement(l alloy.Limit) bool {
	switch l.Element {
	case alloy.CopperAndNamed, alloy.OthersEach, alloy.OthersTotal:
		return false
	}
	return !l.Remainder && (l.HasMin || l.HasMax)
}

// unnamedPart is the weight % that no element accounts for.
func unnamedPart(c alloy.Composition) float64 {
	rest := 100.0
	for _, e := range c.Elements() { // in order, so that sums are the same every time
		rest -= c.Mean[e]
	}
	return math.Max(0, rest)
}
