package lineage

import (
	"cmp"
	"math/big"
	"slices"
)

// book is the oracle: it keeps the transfers as they were written, and answers
// by carrying every milligram through the corrected history with exact
// fractions. It shares no code and no representation with Graph: masses by
// source in each vessel instead of versions.
type book struct {
	lines []line
	place map[int64]int64
	count int64
}

type line struct {
	Transfer
	place, after int64 // after orders lines of one place: order of recording
}

func (b *book) placeOf(seq int64) int64 {
	if p, ok := b.place[seq]; ok {
		return p
	}
	return seq
}

func (b *book) add(after int64, t Transfer) {
	p := b.placeOf(after)
	if p != t.Seq {
		b.place[t.Seq] = p
	}
	b.count++
	b.lines = append(b.lines, line{t, p, b.count})
}

func (b *book) reverse(old int64) {
	b.lines = slices.DeleteFunc(b.lines, func(l line) bool { return l.Seq == old })
}

// history returns the transfers up to a place in the order they happened.
func (b *book) history(at int64) []line {
	h := slices.DeleteFunc(slices.Clone(b.lines), func(l line) bool { return l.place > at })
	slices.SortStableFunc(h, func(x, y line) int {
		return cmp.Or(cmp.Compare(x.place, y.place), cmp.Compare(x.after, y.after))
	})
	return h
}

// amounts are exact masses by some key.
type amounts[K comparable] map[K]*big.Rat

func (a amounts[K]) add(k K, x *big.Rat) {
	if a[k] == nil {
		a[k] = new(big.Rat)
	}
	a[k].Add(a[k], x)
}

// take removes share f of everything and returns it.
func (a amounts[K]) take(f *big.Rat) amounts[K] {
	out := amounts[K]{}
	for k, x := range a {
		part := new(big.Rat).Mul(x, f)
		out[k] = part
		x.Sub(x, part)
	}
	return out
}

func (a amounts[K]) addAll(o amounts[K]) {
	for k, x := range o {
		a.add(k, x)
	}
}

func (a amounts[K]) of(whole *big.Rat) map[K]float64 {
	out := map[K]float64{}
	for k, x := range a {
		if x.Sign() != 0 {
			out[k], _ = new(big.Rat).Quo(x, whole).Float64()
		}
	}
	return out
}

// metal is a mass with all that is asked about it.
type metal struct {
	mg      *big.Rat
	sources amounts[string]
	melts   amounts[int]
	via     amounts[string]
	tagged  *big.Rat
}

func newMetal() *metal {
	return &metal{new(big.Rat), amounts[string]{}, amounts[int]{}, amounts[string]{}, new(big.Rat)}
}

func (m *metal) take(mg *big.Rat) *metal {
	f := new(big.Rat).Quo(mg, m.mg)
	out := &metal{mg: mg, sources: m.sources.take(f), melts: m.melts.take(f), via: m.via.take(f),
		tagged: new(big.Rat).Mul(m.tagged, f)}
	m.mg = new(big.Rat).Sub(m.mg, mg)
	m.tagged = new(big.Rat).Sub(m.tagged, out.tagged)
	return out
}

func (m *metal) pour(o *metal) {
	m.mg = new(big.Rat).Add(m.mg, o.mg)
	m.tagged = new(big.Rat).Add(m.tagged, o.tagged)
	m.sources.addAll(o.sources)
	m.melts.addAll(o.melts)
	m.via.addAll(o.via)
}

type vessel struct {
	*metal
	owed     *big.Rat
	inflows  int
	received *big.Rat // tagged metal that came in
	settled  *big.Rat // tagged metal that made a debt good
	last     struct { // the mixture last put together
		sources, via map[string]float64
		melts        map[int]float64
	}
}

// oracle is the state of a book, with metal of one node tagged.
type oracle struct {
	vessels map[string]*vessel
	tag     string
	total   *big.Rat // tagged metal ever
}

func (b *book) oracle(at int64, tag string) *oracle {
	o := &oracle{map[string]*vessel{}, tag, new(big.Rat)}
	for _, l := range b.history(at) {
		mg := new(big.Rat).SetInt64(l.Mg)
		if l.From == "" {
			o.receive(l, o.own(l.To, mg, false))
			continue
		}
		from := o.vessel(l.From)
		if from.mg.Sign() > 0 {
			part := mg
			if mg.Cmp(from.mg) > 0 {
				part = from.mg
			}
			mg = new(big.Rat).Sub(mg, part)
			o.receive(l, from.take(part))
		}
		if mg.Sign() > 0 {
			from.owed = new(big.Rat).Add(from.owed, mg)
			if l.From == tag {
				o.total.Add(o.total, mg)
			}
			o.receive(l, o.own(l.From, mg, l.From == tag))
		}
	}
	return o
}

func (o *oracle) vessel(name string) *vessel {
	v := o.vessels[name]
	if v == nil {
		v = &vessel{metal: newMetal(), owed: new(big.Rat), received: new(big.Rat), settled: new(big.Rat)}
		o.vessels[name] = v
	}
	return v
}

func (o *oracle) own(name string, mg *big.Rat, tagged bool) *metal {
	m := newMetal()
	m.mg = mg
	m.sources.add(name, mg)
	m.melts.add(0, mg)
	if tagged {
		m.tagged = mg
	}
	return m
}

func (o *oracle) receive(l line, m *metal) {
	to := o.vessel(l.To)
	to.inflows++
	m.via.add(l.To, m.mg)
	if l.Melt {
		older := amounts[int]{}
		for k, x := range m.melts {
			older.add(k+1, x)
		}
		m.melts = older
	}
	if l.To == o.tag {
		to.received.Add(to.received, m.mg)
	} else {
		to.received.Add(to.received, m.tagged)
	}
	if to.owed.Sign() > 0 {
		c := to.owed
		if m.mg.Cmp(c) < 0 {
			c = m.mg
		}
		gone := m.take(c)
		to.settled.Add(to.settled, gone.tagged)
		to.owed = new(big.Rat).Sub(to.owed, c)
	}
	if m.mg.Sign() == 0 {
		return
	}
	if l.To == o.tag {
		o.total.Add(o.total, new(big.Rat).Sub(m.mg, m.tagged))
		m.tagged = m.mg
	}
	to.pour(m)
	to.last.sources, to.last.via, to.last.melts = to.sources.of(to.mg), to.via.of(to.mg), to.melts.of(to.mg)
}
