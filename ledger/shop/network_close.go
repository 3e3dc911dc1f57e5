package shop

import (
	"context"
	"maps"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/balance"
)

// weighings keep the network of a book's weighings between questions, without what only
// the end of the book tells. At each question it is brought up to the head by the entries
// that are new. It starts again from the first entry when a new one changes what earlier
// ones mean: a reversal, a scale, the shop's own settings.
type weighings struct {
	mu      sync.Mutex
	builder *netBuilder
	seq     int64 // the last entry in it
	hash    ledger.Hash
}

// network builds the network of the whole book.
func (s *Shop) network(ctx context.Context) (b *netBuilder, seq int64, err error) {
	table, err := s.Table(ctx)
	if err != nil {
		return nil, 0, err
	}
	err = s.view(ctx, func(r ledger.Reader) error {
		head, err := r.Head()
		if err != nil {
			return err
		}
		seq = head.Seq
		if b, err = s.weighings.upTo(r, head); err != nil {
			return err
		}
		families := map[string]string{}
		for id, h := range b.heats {
			families[id] = familyIn(table, h)
		}
		b.close(families)
		return b.closeLots(r)
	})
	return b, seq, err
}

// upTo gives a network of its own that may be closed, of all entries up to the head.
func (w *weighings) upTo(r ledger.Reader, head ledger.Head) (*netBuilder, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.builder != nil && head.Seq < w.seq { // somebody else reads a later moment
		return startNetwork(r)
	}
	known := w.builder
	w.builder = nil // an entry may be half taken in
	if known != nil {
		again := false
		err := eachEntryAfter(r, max(w.seq-1, 0), func(e *ledger.Entry) error {
			if e.Seq == w.seq { // still the same book?
				again = e.Hash != w.hash
			} else if again = revisesWeighings(e); !again {
				return known.entry(e)
			}
			if again {
				return errStop
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
		if again {
			known = nil
		}
	}
	if known == nil {
		var err error
		if known, err = startNetwork(r); err != nil {
			return nil, err
		}
	}
	w.builder, w.seq, w.hash = known, head.Seq, head.Hash
	return known.clone(), nil
}

// revisesWeighings reports whether an entry changes what earlier entries mean.
func revisesWeighings(e *ledger.Entry) bool {
	return e.Reverses != 0 || slices.ContainsFunc(e.Records, func(rec ledger.Record) bool { return rec.Kind == ledger.RecScale || rec.Kind == ledger.RecShop })
}

// startNetwork takes in the whole log.
func startNetwork(r ledger.Reader) (*netBuilder, error) {
	b, err := newNetBuilder(r)
	if err != nil {
		return nil, err
	}
	reversed, err := reversedEntries(r)
	if err != nil {
		return nil, err
	}
	return b, eachEntry(r, func(e *ledger.Entry) error {
		if reversed[e.Seq] {
			return b.learn(e)
		}
		return b.entry(e)
	})
}

// clone is a network that may be closed while b goes on.
func (b *netBuilder) clone() *netBuilder {
	c := *b
	c.net.Streams, c.about, c.index = slices.Clone(b.net.Streams), maps.Clone(b.about), maps.Clone(b.index)
	c.version, c.lots, c.heats = maps.Clone(b.version), maps.Clone(b.lots), maps.Clone(b.heats)
	c.charged, c.rate, c.asDirty = maps.Clone(b.charged), maps.Clone(b.rate), maps.Clone(b.asDirty)
	return &c
}

// close gives each heat its unseen loss: a belief for a settled heat, learned
// robustly from the shop's settled heats of the family so that the heats with a
// wrong weighing do not set it; anything at all for one that is still waiting.
func (b *netBuilder) close(families map[string]string) {
	b.learnDirt()
	shares := map[string][]float64{}
	for _, id := range sortedKeys(b.rate) { // in order, so that sums are the same every time
		if c := b.charged[id]; c > 0 {
			shares[families[id]] = append(shares[families[id]], b.rate[id]/c)
			shares[""] = append(shares[""], b.rate[id]/c)
		}
	}
	for _, id := range sortedKeys(b.heats) {
		h := b.heats[id]
		about := netStream{heat: id, what: whatBelief + " in heat " + id}
		s := balance.Stream{From: "heat/" + id, Given: balance.Unmeasured}
		if _, settled := b.rate[id]; settled && h.State == ledger.Settled && b.charged[id] > 0 {
			all := believed(shares[""], belief{0.004, 0.006, 4})
			mean := believed(shares[families[id]], belief{all.mean, all.sd, 6})
			s.Given, s.Value, s.U = balance.Measured, mean.mean*b.charged[id], math.Max(mean.sd*b.charged[id], 0.005)
			b.off = append(b.off, offBy{id, b.rate[id] - s.Value, math.Hypot(s.U, 0.05)})
		} else if h.State == ledger.Planned || h.State == ledger.Dropped {
			continue
		}
		b.add(s, about)
	}
}

// belief is a mean and spread of unseen loss as a share of the charge, worth n
// heats. The starting one is an assumption: a few tenths of a per cent.
type belief struct {
	mean, sd float64
	n        int
}

// believed pulls what the shares show towards a belief: they are looked at together
// with the n heats that the belief stands for, spread evenly over its distribution, so
// that one wrong weighing among the few heats of an alloy does not set their spread.
func believed(shares []float64, start belief) belief {
	all := slices.Clone(shares)
	scale := start.sd / math.Sqrt(tailDof/(tailDof-2.0))
	for _, q := range spreadOut(start.n) {
		all = append(all, q*scale+start.mean)
	}
	mean, sd := longTailed(all)
	return belief{mean, sd, len(all)}
}

// spreadOut are n quantiles, evenly spread, of the standard distribution of shares.
func spreadOut(n int) []float64 {
	if kept, ok := quantiles.Load(n); ok { // finding one takes longer than all the rest
		return kept.([]float64)
	}
	d := distuv.StudentsT{Sigma: 1, Nu: tailDof}
	out := make([]float64, n)
	for i := range out {
		out[i] = d.Quantile((float64(i) + 0.5) / float64(n))
	}
	quantiles.Store(n, out)
	return out
}

var quantiles sync.Map // n → []float64

// tailDof are the degrees of freedom of the tail that shares are believed to have.
const tailDof = 4

// longTailed is the centre and the standard deviation of values with long tails, taken
// for Student's t with 4 degrees of freedom. The scale is the median deviation from the
// median over that distribution's upper quartile 0.7407, which up to half of the values
// may be wrong without moving far (a likelihood fit of the scale gives way at one in
// five, and a small shop has that many mistakes in an alloy's heats); the centre is the
// likelihood's at that scale (M-estimate of location: Huber, Robust Statistics, 1981,
// chapters 5 and 6; recalled from memory). The standard deviation is √(ν/(ν-2)) = √2 of
// the scale, as the GUM takes it (JCGM 101:2008, 6.4.9.4; from memory).
func longTailed(x []float64) (centre, sd float64) {
	const quartile = 0.7407
	centre = medianOf(x)
	dev := make([]float64, len(x))
	for i, v := range x {
		dev[i] = math.Abs(v - centre)
	}
	scale := math.Max(medianOf(dev)/quartile, 1e-9)
	for range 50 {
		var sw, swx float64
		for _, v := range x {
			z := (v - centre) / scale
			w := (tailDof + 1) / (tailDof + z*z)
			sw, swx = sw+w, swx+w*v
		}
		centre = swx / sw
	}
	return centre, scale * math.Sqrt(tailDof/(tailDof-2.0))
}

func medianOf(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// closeLots lets what lots, castings and heels still hold stay there, unmeasured.
func (b *netBuilder) closeLots(r ledger.Reader) error {
	for _, kind := range []ledger.AccountKind{ledger.OfLot, ledger.OfCasting, ledger.Heel} {
		held, err := kept{r}.holdings(kind, ledger.RecLot)
		if err != nil {
			return err
		}
		for _, h := range held {
			b.add(balance.Stream{From: b.node(h.Account), Given: balance.Unmeasured}, netStream{what: "still in " + string(h.Account)})
		}
	}
	left := map[ledger.Account]bool{}
	for a := range b.version {
		if a.Kind() == ledger.OfCasting {
			left[a] = true
		}
	}
	held, err := kept{r}.holdings(ledger.OfCasting, ledger.RecCasting)
	if err != nil {
		return err
	}
	for _, h := range held {
		delete(left, h.Account)
	}
	shipped := make([]ledger.Account, 0, len(left))
	for a := range left { // shipped: gone as it was last weighed; broken up: already a lot
		shipped = append(shipped, a)
	}
	slices.Sort(shipped)
	for _, a := range shipped {
		b.add(balance.Stream{From: b.node(a), Given: balance.Unmeasured}, netStream{what: "shipped " + string(a)})
	}
	return nil
}
