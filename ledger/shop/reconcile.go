package shop

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/balance"
	"example.org/remelt/ledger/unit"
)

// Reconciliation is what all weighings of the book say of each other.
type Reconciliation struct {
	Seq      int64
	Level    balance.Level
	Global   balance.GlobalTest
	Streams  []Weighed // measured streams, oldest first
	Suspects []Suspect // most suspect first
	Stop     string    // why the search for more ended

	// Doubted are heats whose balance is off by more than they can have lost, and
	// why: a weighing is wrong, or a lot is on the wrong heat. One that may simply
	// have lost much is not among them.
	Doubted map[string]string
}

// Weighed is one weighing beside what the others make of it, in kg.
type Weighed struct {
	Entry    int64
	Heat     string
	What     string
	Status   balance.Status
	Measured float64
	U        float64
	Adjusted float64
	SD       float64
	Z        float64
	Detects  float64 // smallest error that would be found with the stated power
}

// Suspect is a weighing that the others contradict, in kg.
type Suspect struct {
	Entry      int64 // 0 for a loss that is believed and not weighed
	Heat       string
	What       string
	Measured   float64
	Expected   float64 // what all others say
	ExpectedSD float64
	Sigma      float64
	Sentence   string // in the shop's unit
	// Unusual says that the heat may simply have lost that much more than such
	// heats do here: the books cannot tell it from a wrong weighing.
	Unusual bool
	LostBy  string // the heat that may have lost it
	// OtherHeat, when set, says that the weight is right and the heat is wrong: it
	// is probably of this heat.
	OtherHeat string
	Alike     []Alternative // weighings that would explain it exactly as well
	Nearly    []Alternative // or nearly as well
}

// Alternative is another weighing that would explain a contradiction.
type Alternative struct {
	Entry int64
	Heat  string
	What  string
}

// Reconcile holds all weighings of the book against each other. heat narrows
// what is given back to one heat and its lots, not what is looked at.
func (s *Shop) Reconcile(ctx context.Context, heat string) (out Reconciliation, err error) {
	if heat != "" {
		if _, err := ledger.Get[ledger.Heat](ctx, s.Book, ledger.RecHeat, heat); err != nil {
			return out, err
		}
	}
	all, err := recall(ctx, s, "reconciled", func() (Reconciliation, error) { return s.reconcile(ctx) })
	if err != nil || heat == "" {
		return all, err
	}
	out = all
	out.Streams, out.Suspects = nil, nil
	for i := range all.Streams {
		if all.Streams[i].Heat == heat {
			out.Streams = append(out.Streams, all.Streams[i])
		}
	}
	of := func(a Alternative) bool { return a.Heat == heat }
	for i := range all.Suspects {
		if x := &all.Suspects[i]; x.Heat == heat || x.OtherHeat == heat || slices.ContainsFunc(x.Alike, of) || slices.ContainsFunc(x.Nearly, of) {
			out.Suspects = append(out.Suspects, *x)
		}
	}
	return out, nil
}

// reconcile is the reckoning behind it, of the whole book.
func (s *Shop) reconcile(ctx context.Context) (out Reconciliation, err error) {
	b, seq, err := s.network(ctx)
	if err != nil {
		return out, err
	}
	out.Seq = seq
	if len(b.net.Streams) == 0 {
		return out, nil
	}
	searched := balance.Options{Alpha: FalseCall / 2, MaxSuspects: mostSuspects, Possible: b.possible}
	asBooked, found := searched, b.misbooked()
	if len(found) > 0 { // who is suspect is asked with these lots elsewhere
		asBooked.MaxSuspects = -1
	}
	res, err := balance.Reconcile(&b.net, asBooked)
	if err != nil {
		var contra *balance.ContradictionError
		if errors.As(err, &contra) || errors.Is(err, balance.ErrInvalid) || errors.Is(err, balance.ErrConditioning) {
			return out, scienceError("weighings", err)
		}
		return out, err
	}
	out.Level, out.Global, out.Stop = res.Level, res.Adjusted.Global, string(res.Stop)
	for _, st := range res.Streams {
		about := b.about[st.ID]
		if st.Status == balance.Observable || st.Status == balance.Unobservable {
			continue
		}
		out.Streams = append(out.Streams, Weighed{Entry: about.seq, Heat: about.heat, What: about.what, Status: st.Status,
			Measured: st.Measured, U: st.U, Adjusted: st.Adjusted, SD: st.SD, Z: st.Z, Detects: st.Detectable})
	}
	var suspects []Suspect
	if len(found) > 0 {
		for _, m := range found {
			suspects = append(suspects, b.onWrongHeat(m))
		}
		net := b.elsewhere(found)
		if res, err = balance.Reconcile(&net, searched); err != nil {
			return out, scienceError("weighings", err)
		}
		out.Stop = string(res.Stop)
	}
	for _, su := range res.Suspects {
		suspects = append(suspects, b.suspect(su))
	}
	out.Doubted = b.doubted(res, suspects)
	out.Suspects = suspects
	return out, nil
}

// doubted are the heats that suspects explain as wrong in the book.
func (b *netBuilder) doubted(res *balance.Result, suspects []Suspect) map[string]string {
	out, lost := map[string]string{}, map[string]bool{}
	for _, x := range suspects {
		if x.OtherHeat != "" {
			out[x.Heat], out[x.OtherHeat] = "a lot may be on the wrong heat: "+x.What, "a lot may be on the wrong heat: "+x.What
		}
		if x.Unusual {
			lost[x.LostBy] = true
		}
	}
	for _, st := range res.Streams {
		heat, ok := b.believedLoss(st.ID)
		if ok && st.Status == balance.Redundant && math.Abs(st.Z) > res.Level.Critical && !lost[heat] && out[heat] == "" {
			out[heat] = "a weighing is in doubt: see the weighings that the rest of the book contradicts"
		}
	}
	return out
}

func (b *netBuilder) suspect(su balance.Suspect) Suspect {
	about := b.about[su.ID]
	x := Suspect{Entry: about.seq, Heat: about.heat, What: about.what, Measured: su.Measured, Expected: su.Expected, Sigma: su.Sigma}
	x.ExpectedSD = su.ExpectedSD
	x.Sentence = fmt.Sprintf("%s: %s weighed, %s expected, %.1f σ", about.what, b.say(su.Measured), b.say(su.Expected), su.Sigma)
	alt := func(id string) Alternative { a := b.about[id]; return Alternative{a.seq, a.heat, a.what} }
	for _, id := range su.Twins {
		x.Alike = append(x.Alike, alt(id))
	}
	for _, r := range su.Rivals {
		x.Nearly = append(x.Nearly, alt(r.ID))
	}
	for _, id := range append([]string{su.ID}, su.Twins...) {
		if heat, ok := b.believedLoss(id); ok && b.missing(&x, heat) {
			b.unusual(&x, heat, math.Abs(x.Measured-x.Expected))
		}
	}
	for _, r := range su.Rivals { // what a heat may have lost explains it nearly as well
		if heat, ok := b.believedLoss(r.ID); ok && !x.Unusual && r.Error < 0 {
			b.unusual(&x, heat, -r.Error)
		}
	}
	if about.clean && x.Expected > x.Measured && x.Expected-x.Measured <= mostDirt*x.Expected {
		x.Unusual = true
		x.Sentence = fmt.Sprintf("%s: %s weighed, %s expected, %.1f σ: more dirt on it before than was taken off, metal gone with the dirt, or a wrong weighing", about.what, b.say(su.Measured), b.say(su.Expected), su.Sigma)
	}
	if about.dirty && x.Expected < x.Measured && x.Measured-x.Expected <= mostDirt*x.Measured {
		x.Unusual = true
		x.Sentence = fmt.Sprintf("%s: %s taken for metal, %s expected, %.1f σ: more dirt on it than was taken off, or a wrong weighing", about.what, b.say(su.Measured), b.say(su.Expected), su.Sigma)
	}
	return x
}

// believedLoss says whose unseen loss a stream is, if it is one.
func (b *netBuilder) believedLoss(id string) (heat string, ok bool) {
	return strings.CutPrefix(b.about[id].what, whatBelief+" in heat ")
}

// say writes kg in the shop's unit.
func (b *netBuilder) say(kg float64) string {
	return unit.FormatMass(int64(math.Round(kg*1e6)), unit.MassUnit(b.shop.MassUnit), 0)
}

// FalseCall is the stated chance that a book without any mistake has a weighing called
// wrong or a lot called booked on the wrong heat: half of it is spent on each search.
// A heat called unusual is no such call, it may have lost that much.
const FalseCall = 0.05

// mostSuspects bounds the search; a book with more in doubt wants a stocktake.
const mostSuspects = 30

// wrongBy is the largest factor by which a weighing is written wrong: a decimal
// point in the wrong place. Common practice, no source.
const wrongBy = 10.5

// possible says what a stream can have carried: a weighing is off by no more than a
// slipped decimal point, an estimate by less, and a heat loses no tenth of its charge
// unseen and gains nothing.
func (b *netBuilder) possible(id string, expected float64) bool {
	s := b.net.Streams[b.index[id]]
	if heat, ok := b.believedLoss(id); ok {
		return math.Abs(expected) <= mostUnseen*b.charged[heat]
	}
	if b.about[id].guess {
		return expected >= -s.U && expected <= 3*s.Value+s.U
	}
	return expected >= s.Value/wrongBy && expected <= s.Value*wrongBy
}

// The most that is still taken for what may happen in a shop; more is a wrong
// weighing. Common practice, no source: 5 % and more is lost of thin or dirty
// returns, hardly ever a tenth; a quarter of a dirty weight is much shell.
const (
	mostUnseen = 0.1  // share of a charge lost unseen
	mostDirt   = 0.25 // share of a dirty weighing that was no metal, beyond what was taken off
)

// unusual marks a suspect that may be a loss: metal is missing, and not more of
// it than a heat can lose.
func (b *netBuilder) unusual(x *Suspect, heat string, missing float64) {
	if missing > mostUnseen*b.charged[heat] {
		return
	}
	x.Unusual, x.LostBy = true, heat
	x.Sentence = fmt.Sprintf("heat %s is short of %s beyond what such heats lose here, %.1f σ: an unusual loss, or a weighing is wrong (%s first)", heat, b.say(missing), x.Sigma, x.What)
	if strings.HasPrefix(x.What, whatBelief) {
		x.Sentence = fmt.Sprintf("heat %s is short of %s beyond what such heats lose here, %.1f σ: an unusual loss, or one of its weighings is wrong", heat, b.say(missing), x.Sigma)
	}
}

// missing reports whether a suspect says that metal of a heat is missing: what
// went in is weighed too heavy or what came out too light.
func (b *netBuilder) missing(x *Suspect, heat string) bool {
	for _, s := range b.net.Streams {
		if about := b.about[s.ID]; about.seq == x.Entry && about.what == x.What {
			return (s.From == "heat/"+heat) == (x.Expected > x.Measured)
		}
	}
	return false
}
