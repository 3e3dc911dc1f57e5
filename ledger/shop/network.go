package shop

import (
	"fmt"
	"math"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/balance"
	"example.org/remelt/ledger/unit"
)

// The book as a network of weighed streams. Heats are nodes (crucible and molds
// together); a lot is one node until it is weighed again, which makes the next
// version of it with the weighing as the stream between. What was weighed is a
// measured stream with the uncertainty of its scale; what is known by difference,
// a whole lot charged for one, is unmeasured and joins its ends; what a heat lost
// unseen is a stream with the belief learned from the shop's other heats. A heat
// still waiting for weighings has an unmeasured stream to outside.

// netStream says what a stream of the network is to people.
type netStream struct {
	seq   int64
	heat  string
	what  string
	dirty bool // weighed with sand or shell on it
	clean bool // weighed after that was taken off
	guess bool // estimated, not weighed
}

type netBuilder struct {
	net      balance.Network
	about    map[string]netStream
	index    map[string]int // of a stream in net
	scales   map[string]balance.Scale
	coarsest string
	shop     ledger.Shop
	version  map[ledger.Account]int
	lots     map[string]ledger.Lot
	heats    map[string]ledger.Heat
	charged  map[string]float64 // kg
	rate     map[string]float64 // kg unaccounted, of settled heats
	off      []offBy
	dirty    []dirtyWeighing
	asDirty  map[ledger.Account]ledger.Mass // lots by their dirty weight less the dirt taken off
	cleaned  []float64                      // shares of dirty weights that cleaning showed to be no metal, beyond what was taken off
	n        int
	doubt    float64 // standard uncertainty of the share of dirt
}

// dirtyWeighing is a stream that was weighed dirty, to be judged again when the
// shop's cleaning has said how dirty returns are here.
type dirtyWeighing struct {
	stream  int
	weighed ledger.Weighing
}

const (
	whatBelief  = "unaccounted for"
	dirtDoubt   = 0.025 // standard uncertainty of the share of dirt in a dirty weighing until the shop's own cleaning says: common practice, no source
	dirtPairs   = 6     // lots weighed dirty and clean that the starting doubt is worth
	estimatedBy = 0.1   // relative standard uncertainty of an amount that somebody estimated: an assumption, to be weighed instead
)

func newNetBuilder(r ledger.Reader) (*netBuilder, error) {
	b := &netBuilder{about: map[string]netStream{}, index: map[string]int{}, scales: map[string]balance.Scale{}, version: map[ledger.Account]int{},
		lots: map[string]ledger.Lot{}, heats: map[string]ledger.Heat{}, charged: map[string]float64{}, rate: map[string]float64{}, doubt: dirtDoubt, asDirty: map[ledger.Account]ledger.Mass{}}
	shops, err := r.Records(ledger.RecShop, "", "", 1)
	if err != nil {
		return nil, err
	}
	for _, rec := range shops {
		if err := rec.Into(&b.shop); err != nil {
			return nil, err
		}
	}
	recs, err := kept{r}.records(ledger.RecScale, "")
	if err != nil {
		return nil, err
	}
	most := 0.0
	for _, rec := range recs {
		var s ledger.Scale
		if err := rec.Into(&s); err != nil {
			return nil, err
		}
		b.scales[s.ID] = scaleOf(s, b.shop.MassUnit)
		if d := float64(s.Division.Mass); d > most {
			most, b.coarsest = d, s.ID
		}
	}
	if b.coarsest == "" {
		b.scales[""] = balance.Scale{Name: unknownScale, Division: balance.Milligrams(int64(unnamedDivision))}
	}
	return b, nil
}

// scaleOf is a scale as the science sees it, its division as an exact fraction.
func scaleOf(s ledger.Scale, massUnit string) balance.Scale {
	out := balance.Scale{Name: s.Name, Division: stepOf(s.Division, massUnit), Interval: stepOf(s.Interval, massUnit),
		Repeatability: float64(s.Repeats), Readings: s.Readings}
	if c, err := balance.ParseClass(s.Class); err == nil {
		out.Class = c
	}
	if s.Rule == ledger.RuleHB44 {
		out.Rule = balance.HB44Maintenance
	}
	if s.CheckLoad > 0 {
		out.Check = &balance.Check{Load: int64(s.CheckLoad), Error: int64(s.CheckError), U: float64(s.CheckU)}
	}
	return out
}

// stepOf is a typed division as an exact fraction of a milligram: 0.1 lb is
// 45359237/1000 (1 lb = 453592.37 mg, NIST SP 811).
func stepOf(q ledger.Quantity, massUnit string) balance.Step {
	if q.Mass == 0 {
		return balance.Step{}
	}
	text := strings.ToLower(q.Typed)
	for _, u := range []struct {
		name     string
		unit     unit.MassUnit
		num, den int64
	}{{"lb", unit.LB, 45_359_237, 100}, {"oz", unit.OZ, 28_349_523_125, 1_000_000}} {
		if !strings.Contains(text, u.name) && (strings.ContainsAny(text, "abcdefghijklmnopqrstuvwxyz") || massUnit != string(u.unit)) {
			continue
		}
		for pow := int64(1); pow <= 10_000; pow *= 10 {
			k := int64(math.Round(float64(q.Mass) * float64(u.den) * float64(pow) / float64(u.num)))
			if k > 0 && math.Abs(float64(k)*float64(u.num)/float64(u.den*pow)-float64(q.Mass)) <= 0.5 {
				return balance.Step{Num: k * u.num, Den: u.den * pow}
			}
		}
	}
	return balance.Milligrams(int64(q.Mass))
}

func (b *netBuilder) add(s balance.Stream, about netStream) {
	b.n++
	s.ID = fmt.Sprintf("e%d.%d", about.seq, b.n)
	s.Label = about.what
	b.index[s.ID] = len(b.net.Streams)
	b.net.Streams = append(b.net.Streams, s)
	b.about[s.ID] = about
}

// node is where an account's metal is in the network; "" is outside.
func (b *netBuilder) node(a ledger.Account) string {
	switch a.Kind() {
	case ledger.InHeat, ledger.InMolds:
		return "heat/" + a.Ref()
	case ledger.OfLot, ledger.OfCasting:
		return fmt.Sprintf("%s#%d", a, b.version[a])
	case ledger.Heel:
		return string(a)
	}
	return ""
}

// weighed returns the standard uncertainty in kg of a weighing, and the share of
// it that is the scale's own, common to all its weighings.
func (b *netBuilder) weighed(g ledger.Weighing, dirty bool) float64 {
	id := g.Scale
	if _, ok := b.scales[id]; !ok {
		id = b.coarsest
	}
	w := balance.Weighing{Gross: int64(g.Net.Mass + g.Tare.Mass + g.Before.Mass), Tare: balance.Tare{Mass: int64(g.Tare.Mass + g.Before.Mass)}}
	if g.DirtPPM > 0 || dirty {
		w.Dirt = float64(g.DirtPPM) / float64(ledger.Whole)
		w.DirtU = math.Max(w.Dirt, b.doubt)
	}
	budget, err := b.scales[id].Weigh(w)
	if err != nil || budget.U <= 0 { // beyond the scale's table: a per cent
		return math.Max(float64(g.Net.Mass)*0.01, 1000) / 1e6
	}
	return budget.U / 1e6
}

func (b *netBuilder) learn(e *ledger.Entry) error {
	for _, rec := range e.Records {
		switch rec.Kind {
		case ledger.RecLot:
			var l ledger.Lot
			if err := rec.Into(&l); err != nil {
				return err
			}
			b.lots[rec.ID] = l
		case ledger.RecHeat:
			var h ledger.Heat
			if err := rec.Into(&h); err != nil {
				return err
			}
			b.heats[rec.ID] = h
		}
	}
	return nil
}

// entry adds an entry's streams.
func (b *netBuilder) entry(e *ledger.Entry) error {
	if err := b.learn(e); err != nil {
		return err
	}
	for _, p := range e.Postings {
		if h := p.Account.Ref(); p.Account.Kind() == ledger.Unaccounted && b.heats[h].State == ledger.Settled {
			b.rate[h] += p.Mass.Kg()
		}
	}
	switch e.Kind {
	case ledger.KindClean, ledger.KindStocktake:
		b.again(e)
		return nil
	case ledger.KindSettle, ledger.KindShipCasting: // a casting that is shipped stays where it was last weighed
		return nil
	case ledger.KindWeighCasting:
		b.casting(e)
		return nil
	case ledger.KindSkim:
		b.skim(e)
		return nil
	}
	for _, t := range transfersOf(e) {
		b.transfer(e, ledger.Account(t.From), ledger.Account(t.To), ledger.Mass(t.Mg))
	}
	return nil
}

func (b *netBuilder) transfer(e *ledger.Entry, from, to ledger.Account, m ledger.Mass) {
	s := balance.Stream{From: b.node(from), To: b.node(to), Value: m.Kg()}
	if s.From == s.To { // within a heat, or from outside to outside
		return
	}
	about := netStream{seq: e.Seq, heat: heatOf(from, to), what: b.describe(e, from, to)}
	if e.Kind == ledger.KindCharge {
		b.charged[to.Ref()] += m.Kg()
	}
	if to.Kind() == ledger.Unaccounted || from.Kind() == ledger.Unaccounted {
		s.Given = balance.Unmeasured // a balancing item, not a weighing
		switch {
		case to.Kind() == ledger.OfLot || from.Kind() == ledger.OfLot || to.Kind() == ledger.OfCasting:
			s.From, s.To = b.settledEnd(from, s.From), b.settledEnd(to, s.To)
			s.Given = balance.Measured
		case from.Kind() == ledger.OfCasting: // gating sawn off it, which its heat gives to a lot
			s.To = b.settledEnd(to, s.To)
		}
	}
	found := false
	for _, g := range e.Weighings {
		if g.Subject == from || g.Subject == to {
			about.dirty = b.dirtyThen(g.Subject, e)
			s.U, found = b.weighed(g, about.dirty), true
			if about.dirty {
				b.dirty = append(b.dirty, dirtyWeighing{len(b.net.Streams), g})
			}
			break
		}
	}
	switch {
	case s.Given == balance.Unmeasured:
	case found && basisOf(e, from, to) == ledger.Estimated && e.Kind != ledger.KindWeighIn:
		s.U, about.guess = math.Max(s.Value*estimatedBy, 0.001), true
	case found:
	case basisOf(e, from, to) == ledger.Estimated || to.IsLoss() || from == "":
		s.U, about.guess = math.Max(s.Value*estimatedBy, 0.001), true
	default:
		s.Given = balance.Unmeasured
	}
	if s.From == s.To {
		return
	}
	b.add(s, about)
	if to.Kind() == ledger.OfLot && about.dirty {
		b.asDirty[to] = m
	}
}

// learnDirt widens or narrows the doubt about dirty weighings to what cleaning has
// shown in this shop; its tail is long, since a core may be left in a riser.
func (b *netBuilder) learnDirt() {
	if len(b.cleaned) == 0 {
		return
	}
	around := make([]float64, 0, 2*len(b.cleaned))
	for _, d := range b.cleaned { // about nothing: what was taken off is what the shop believes
		around = append(around, d, -d)
	}
	_, sd := longTailed(around)
	n := float64(len(b.cleaned))
	b.doubt = math.Sqrt((n*sd*sd + dirtPairs*dirtDoubt*dirtDoubt) / (n + dirtPairs))
	for _, d := range b.dirty {
		if d.stream < len(b.net.Streams) && b.about[b.net.Streams[d.stream].ID].dirty && b.net.Streams[d.stream].Given == balance.Measured {
			b.net.Streams[d.stream].U = b.weighed(d.weighed, true)
		}
	}
}

// dirtyThen reports whether a lot was weighed dirty in an entry.
func (b *netBuilder) dirtyThen(a ledger.Account, e *ledger.Entry) bool {
	l, ok := b.lots[a.Ref()]
	return ok && a.Kind() == ledger.OfLot && (e.Kind == ledger.KindWeighIn || e.Kind == ledger.KindReceive || e.Kind == ledger.KindReceiveOrder) &&
		(l.Condition == ledger.ToClean || l.HeldFrom == ledger.ToClean)
}

// settledEnd: metal found after a heat was settled comes from the heat all the same.
func (b *netBuilder) settledEnd(a ledger.Account, node string) string {
	if a.Kind() == ledger.Unaccounted {
		return "heat/" + a.Ref()
	}
	return node
}

func basisOf(e *ledger.Entry, from, to ledger.Account) ledger.Basis {
	for _, p := range e.Postings {
		if p.Account == from || p.Account == to {
			return p.Basis
		}
	}
	return ledger.Weighed
}

func heatOf(as ...ledger.Account) string {
	for _, a := range as {
		if h := a.Heat(); h != "" {
			return h
		}
	}
	return ""
}

// again is a lot weighed once more: a measured stream to its next version.
func (b *netBuilder) again(e *ledger.Entry) {
	for _, g := range e.Weighings {
		from := b.node(g.Subject)
		b.version[g.Subject]++
		metal := g.Net.Mass - g.DirtPPM.Of(g.Net.Mass)
		s := balance.Stream{From: from, To: b.node(g.Subject), Value: metal.Kg(), U: b.weighed(g, false)}
		what, clean := "lot "+g.Subject.Ref()+", counted", false
		if e.Kind == ledger.KindClean {
			what, clean = b.lotWords(g.Subject.Ref())+", weighed clean", true
			if was, ok := b.asDirty[g.Subject]; ok && was > 0 && was+change(e, g.Subject) == metal { // the whole of it, and nothing else
				b.cleaned = append(b.cleaned, float64(was-metal)/float64(was))
			}
			delete(b.asDirty, g.Subject)
		}
		if metal == 0 { // not there: what happened to it nobody weighed
			s.To, s.Given = "", balance.Unmeasured
		}
		b.add(s, netStream{seq: e.Seq, heat: b.lotHeat(g.Subject.Ref()), what: what, clean: clean})
	}
}

// change is what an entry put into an account.
func change(e *ledger.Entry, a ledger.Account) (m ledger.Mass) {
	for _, p := range e.Postings {
		if p.Account == a {
			m += p.Mass
		}
	}
	return m
}

// casting weighs a casting: the first time from its heat, later to its next
// version, with what it lost going back to the heat or away, unmeasured.
func (b *netBuilder) casting(e *ledger.Entry) {
	if len(e.Weighings) == 0 {
		return
	}
	g := e.Weighings[0]
	first := b.version[g.Subject] == 0
	from := b.node(g.Subject)
	b.version[g.Subject]++
	var k ledger.Casting
	if found, err := e.First(ledger.RecCasting, &k); err != nil || !found {
		return
	}
	s := balance.Stream{From: from, To: b.node(g.Subject), Value: g.Net.Mass.Kg(), U: b.weighed(g, false)}
	about := netStream{seq: e.Seq, heat: k.Heat, what: fmt.Sprintf("casting %s of heat %s, %s", k.ID, k.Heat, k.Stage)}
	if first {
		s.From = "heat/" + k.Heat
		b.add(s, about)
		return
	}
	b.add(s, about)
	rest := balance.Stream{From: from, Given: balance.Unmeasured}
	for _, p := range e.Postings {
		if kind := p.Account.Kind(); kind == ledger.InMolds || kind == ledger.Unaccounted {
			rest.To = "heat/" + k.Heat
		}
	}
	b.add(rest, netStream{seq: e.Seq, heat: k.Heat, what: "cut or ground off casting " + k.ID})
}

// skim has two parts that are wrong together: what is guessed to be trapped is
// taken from the oxide.
func (b *netBuilder) skim(e *ledger.Entry) {
	var l ledger.Lot
	if found, err := e.First(ledger.RecLot, &l); err != nil || !found || l.Skim == nil || len(e.Weighings) == 0 {
		return
	}
	rest := (l.Skim.Net - l.Skim.Added).Kg()
	share := float64(l.Skim.Share) / float64(ledger.Whole)
	sigma := rest * balance.Uniform(float64(b.shop.TrappedSpan)/float64(ledger.Whole))
	u := b.weighed(e.Weighings[0], false)
	effect := fmt.Sprintf("trapped share %d", e.Seq)
	heat := "heat/" + l.Skim.Heat
	b.add(balance.Stream{From: heat, To: b.node(ledger.Acct(ledger.OfLot, l.ID)), Value: l.Skim.Trapped.Kg(), U: math.Max(u/2, 1e-4),
		Shared: []balance.Shared{{Effect: effect, Size: sigma}}},
		netStream{seq: e.Seq, heat: l.Skim.Heat, what: "metal in the skimmings of heat " + l.Skim.Heat, guess: true})
	b.add(balance.Stream{From: heat, Value: l.Skim.InOxide.Kg(), U: math.Max(u/2*share, 1e-4),
		Shared: []balance.Shared{{Effect: effect, Size: -sigma * share}}},
		netStream{seq: e.Seq, heat: l.Skim.Heat, what: "oxide in the skimmings of heat " + l.Skim.Heat, guess: true})
}

func (b *netBuilder) lotHeat(id string) string {
	for _, s := range b.lots[id].From {
		if h := s.Account.Heat(); h != "" {
			return h
		}
	}
	return ""
}

// lotWords names a lot for people: "the cups of heat 41 (L12-3)".
func (b *netBuilder) lotWords(id string) string {
	l := b.lots[id]
	word := map[ledger.Form]string{ledger.Cup: "the cups", ledger.Gating: "the gating", ledger.Riser: "the risers", ledger.Pig: "the pigs",
		ledger.Ingot: "the ingot", ledger.ScrapCast: "the broken casting", ledger.SpillForm: "the spill", ledger.Skimmings: "the skimmings",
		ledger.Prills: "the prills"}[l.Form]
	if word == "" {
		word = "the metal"
	}
	if h := b.lotHeat(id); h != "" && l.Form != ledger.Ingot {
		return fmt.Sprintf("%s of heat %s (%s)", word, h, id)
	}
	return fmt.Sprintf("%s %s", word, id)
}

func (b *netBuilder) describe(e *ledger.Entry, from, to ledger.Account) string {
	switch {
	case e.Kind == ledger.KindCharge && from.Kind() == ledger.OfLot:
		return fmt.Sprintf("%s, charged into heat %s", b.lotWords(from.Ref()), to.Ref())
	case to.Kind() == ledger.OfLot && from == "":
		return b.lotWords(to.Ref()) + ", received"
	case to.Kind() == ledger.OfLot:
		return b.lotWords(to.Ref())
	case to.IsLoss():
		return fmt.Sprintf("%s of heat %s", to.Kind(), to.Ref())
	case from.Kind() == ledger.OfLot:
		return b.lotWords(from.Ref()) + ", " + string(e.Kind)
	}
	return fmt.Sprintf("%s of heat %s", e.Kind, heatOf(from, to))
}

// familyIn gives the family of a heat's alloy.
func familyIn(table alloy.Table, h ledger.Heat) string { return familyOf(table, h.Alloy) }
