package web

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/server/paper"
)

// funcs are what templates may call.
func (s *static) funcs() template.FuncMap {
	return template.FuncMap{
		"asset": s.url,
		"id":    last,
		"word":  word,
		"way":   way,
		"pair":  func(a, b any) any { return struct{ A, B any }{a, b} },
		"pattern": func(v *visit, i int, p *pb.CommissionPattern) any {
			return struct {
				V *visit
				I int
				P *pb.CommissionPattern
			}{v, i, cmp.Or(p, &pb.CommissionPattern{})}
		},
		"orderline": func(v *visit, i int, f map[string]string) any {
			return struct {
				V *visit
				I int
				F map[string]string
			}{v, i, f}
		},
		"waits": func(s pb.PurchaseOrder_State) bool {
			return s == pb.PurchaseOrder_STATE_ORDERED || s == pb.PurchaseOrder_STATE_SOME_HERE
		},
		"orderState": func(s pb.PurchaseOrder_State) string {
			return map[pb.PurchaseOrder_State]string{pb.PurchaseOrder_STATE_BEING_WRITTEN: "not ordered yet", pb.PurchaseOrder_STATE_ALL_HERE: "all here", pb.PurchaseOrder_STATE_GIVEN_UP: "given up"}[s]
		},
		"came": func(v *visit, l *pb.PurchaseLine) string {
			return lineAmount(v, l.GetReceived(), l.GetReceivedPieces())
		},
		"missing":     func(v *visit, l *pb.PurchaseLine) string { return lineAmount(v, l.GetMissing(), l.GetMissingPieces()) },
		"plus":        func(m *pb.Money) string { return plus(m.GetMinor(), m.GetCurrency()) },
		"lotPath":     func(l *pb.Lot) string { return "lots/" + last(l.GetName()) },
		"lotState":    lotState,
		"state":       paper.HeatState,
		"origin":      origin,
		"touched":     touched,
		"moved":       moved,
		"typed":       typed,
		"mg":          func(v *visit, mg int64) string { return v.Number(&pb.Mass{Mg: mg}) },
		"percent":     percent,
		"unsigned":    func(figure string) string { return strings.TrimPrefix(figure, "-") },
		"weighedLast": weighedLast,
		"tenth":       tenth,
		"signed":      signed,
		"learnt":      learnt,
		"fed":         fed,
		"planned":     func(h *pb.Heat) bool { return h.GetState() == pb.Heat_STATE_PLANNED },
		"chargeable":  chargeable,
		"waitsBack":   func(h *pb.Heat) bool { return h.GetState() == pb.Heat_STATE_LATE },
		"moldState":   moldState,
		"orNone":      func(all []choice) []choice { return orNone(all, "not said") },
		"cautions":    cautionsOf,
		"noMold":      func() *pb.Mold { return &pb.Mold{} },
		"heatOf":      func(mold string) string { return mold[:strings.Index(mold, "/molds/")] },
		"limits":      limits,
		"notInCost":   paper.NotInCost,
		"holds":       func(c *pb.Content) string { return capital(paper.Holds(c)) },
		"outside":     func(c *pb.Content) bool { return c.GetStanding() == pb.LimitStanding_LIMIT_STANDING_OUTSIDE },
		"inside": func(c *pb.Content) bool {
			return c.GetStanding() == pb.LimitStanding_LIMIT_STANDING_INSIDE || c.GetStanding() == pb.LimitStanding_LIMIT_STANDING_TAKEN_TO_BE_INSIDE
		},
		"content": func(percent float64) string { return strconv.FormatFloat(percent, 'f', 3, 64) },
		"outsidePercent": func(r *pb.LimitChance) string {
			if p := 100 * min(1, r.GetBelow()+r.GetAbove()); p >= 0.1 {
				return tenth(p)
			}
			return "under 0.1"
		},
		"percentOf":     func(f float64) string { return strconv.FormatFloat(f, 'f', 0, 64) },
		"tenthPercent":  func(f float64) string { return strconv.FormatFloat(100*f, 'f', 1, 64) },
		"chancePercent": func(f float64) string { return tenth(100 * f) },
		"stocked":       stocked,
		"heatDay":       heatDay,
		"kind":          func(kind string) string { return strings.ReplaceAll(kind, "-", " ") },
	}
}

type link struct {
	To, Word string
	Current  bool
}

func way(here, page, word, to string) link { return link{To: to, Word: word, Current: here == page} }

// word is an enum's value in plain words: FORM_SCRAP_CASTING is "scrap casting".
func word(v interface{ String() string }) string {
	name := v.String()
	for _, prefix := range []string{"FORM_", "CONDITION_", "STATE_", "STAGE_", "BASIS_"} {
		name = strings.TrimPrefix(name, prefix)
	}
	return strings.ToLower(strings.ReplaceAll(name, "_", " "))
}

// lotState says what may be done with a lot.
func lotState(l *pb.Lot) string {
	switch l.GetCondition() {
	case pb.Condition_CONDITION_TO_BE_CLEANED:
		return "to clean"
	case pb.Condition_CONDITION_HELD:
		if why := l.GetHeldWhy(); why != "" {
			return "set apart: " + why
		}
		return "set apart"
	}
	if l.GetUsable() {
		return "usable"
	}
	return "clean"
}

// cautionsOf is what to mind, with what every caution ends with said once.
func cautionsOf(all []*pb.Caution) any {
	type caution struct{ Text, Because string }
	out := struct {
		Each []caution
		End  string
	}{}
	for i, c := range all {
		text := c.GetText()
		if at := strings.LastIndex(text, ". "); i == 0 && at > 0 {
			out.End = text[at+2:]
		}
		out.Each = append(out.Each, caution{text, c.GetBecause()})
	}
	for _, c := range out.Each {
		if !strings.HasSuffix(c.Text, out.End) {
			out.End = ""
		}
	}
	for i := range out.Each {
		out.Each[i].Text = strings.TrimSpace(strings.TrimSuffix(out.Each[i].Text, out.End))
	}
	return out
}

// chargeable says whether a heat's charge is still going in.
func chargeable(h *pb.Heat) bool {
	return h.GetState() == pb.Heat_STATE_PLANNED || h.GetState() == pb.Heat_STATE_MELTING
}

// moldState says what became of a mold.
func moldState(m *pb.Mold) string {
	switch m.GetState() {
	case pb.Mold_STATE_POURED:
		return "poured"
	case pb.Mold_STATE_SHORT:
		return "did not fill"
	case pb.Mold_STATE_LEAKED:
		return "ran out"
	case pb.Mold_STATE_UNUSED:
		return "not poured"
	}
	return "to be poured"
}

// origin says where metal of a lot came from, for an account that is no heat's.
func origin(account string) string {
	kind, ref, _ := strings.Cut(account, "/")
	switch kind {
	case "supplier":
		return "bought from " + ref
	case "customer":
		return "brought by " + ref
	case "before":
		return "here before the book began"
	case "origin":
		return "a heat nobody wrote down"
	case "count":
		return "a count"
	case "lot":
		return "lot " + ref
	case "casting":
		return "casting " + ref
	case "additive":
		return "an addition"
	case "heat":
		return "additions to heat " + ref
	case "molds":
		return "more back of heat " + ref + " than poured"
	}
	return kind + " " + ref
}

// touched are the things an entry is about, the ones with a page as links.
func touched(e *pb.Entry) (out []link) {
	seen := map[string]bool{}
	for _, c := range e.GetChanges() {
		if key := c.GetKind() + c.GetId(); seen[key] || len(out) == 4 {
			continue
		} else {
			seen[key] = true
		}
		l := link{Word: c.GetKind() + " " + c.GetId()}
		switch c.GetKind() {
		case "lot":
			l.To = "lots/" + c.GetId()
		case "heat":
			l.To = "heats/" + c.GetId()
		}
		out = append(out, l)
	}
	return out
}

// movement is what an entry took from or put to a thing, for reading.
type movement struct {
	link
	Mass   *pb.Mass // nil where it changed and moved nothing
	Pieces int64    // of a supply that is counted
}

// moved are the lots, castings, supplies and heels that an entry moved something of, and
// the molds it is about: what is taken back with it.
func moved(e *pb.Entry) (out []movement) {
	at := map[string]int{}
	for _, post := range e.GetPostings() {
		kind, ref, _ := strings.Cut(post.GetAccount(), "/")
		m := movement{link: link{Word: kind + " " + ref}, Mass: &pb.Mass{}}
		switch ledger.AccountKind(kind) {
		case ledger.OfLot:
			m.To = "lots/" + ref
		case ledger.OfCasting, ledger.InSupply:
		case ledger.Heel:
			m.Word = "the heel of " + ref
		default:
			continue
		}
		i, seen := at[post.GetAccount()]
		if !seen {
			i = len(out)
			at[post.GetAccount()], out = i, append(out, m)
		}
		out[i].Mass.Mg += post.GetMass().GetMg()
		out[i].Pieces += post.GetPieces()
	}
	for i := range out {
		out[i].Mass.Mg = max(out[i].Mass.Mg, -out[i].Mass.Mg)
		out[i].Pieces = max(out[i].Pieces, -out[i].Pieces)
	}
	for _, c := range e.GetChanges() {
		if c.GetKind() == "mold" {
			out = append(out, movement{link: link{Word: "mold " + c.GetId()}})
		}
	}
	return out
}

// heatDay is the day a heat was poured, opened or is planned for.
func heatDay(v *visit, h *pb.Heat) string {
	at := heatTime(h)
	if at.IsZero() {
		return "no day yet"
	}
	return at.In(v.zone).Format("2 Jan 2006")
}

// percent is a share for reading: the API's exact one to a tenth.
func percent(exact string) string {
	f, err := strconv.ParseFloat(exact, 64)
	if err != nil {
		return exact
	}
	return strconv.FormatFloat(f, 'f', 1, 64)
}

// learnt says how much of a first doubt heats have taken away: the share of the
// variance that is left is what comes from the belief.
func learnt(fromBelief float64) string {
	return strconv.FormatFloat(100*max(0, 1-fromBelief), 'f', 0, 64) + " of 100"
}

// tenth is a figure to a tenth, or to two digits where a tenth says nothing.
func tenth(f float64) string {
	if f != 0 && math.Abs(f) < 0.05 {
		return strconv.FormatFloat(f, 'g', 2, 64)
	}
	return strconv.FormatFloat(f, 'f', 1, 64)
}

// signed is a difference, with its sign.
func signed(f float64) string {
	if math.Abs(f) < 0.05 {
		return "0.0"
	}
	return fmt.Sprintf("%+.1f", f)
}

// stocked is an amount of what is weighed, or a count of pieces when it is not.
func stocked(v *visit, weighed *pb.Mass, n int64) string {
	if weighed == nil {
		return strconv.FormatInt(n, 10)
	}
	return v.Number(&pb.Mass{Mg: n})
}

// lineAmount is what came or is missing of an order's line.
func lineAmount(v *visit, m *pb.Mass, pieces int64) string {
	var parts []string
	if m.GetMg() != 0 {
		parts = append(parts, v.Mass(m))
	}
	if pieces != 0 {
		parts = append(parts, counted(int(pieces), "piece"))
	}
	if len(parts) == 0 {
		return "–"
	}
	return strings.Join(parts, ", ")
}

// fed says when something is fed. Common practice, no source.
func fed(f pb.Feed) string {
	switch f {
	case pb.Feed_FEED_BED:
		return "as the bed, in the cold crucible"
	case pb.Feed_FEED_ON_TOP:
		return "preheated, loosely on the bed"
	case pb.Feed_FEED_AS_IT_SINKS:
		return "preheated, as the charge sinks"
	case pb.Feed_FEED_AT_THE_END:
		return "last, under the surface"
	}
	return ""
}

// limits are the limits of an element, as a range.
func limits(c *pb.PlannedContent) string {
	switch {
	case c.MinPercent != nil && c.MaxPercent != nil:
		return fmt.Sprintf("%g to %g", c.GetMinPercent(), c.GetMaxPercent())
	case c.MinPercent != nil:
		return fmt.Sprintf("at least %g", c.GetMinPercent())
	case c.MaxPercent != nil:
		return fmt.Sprintf("at most %g", c.GetMaxPercent())
	}
	return ""
}

// weighedLast is what a casting weighs; of one that is gone, what it weighed last.
func weighedLast(c *pb.Casting) *pb.Mass {
	if n := len(c.GetWeights()); c.GetGone() != "" && n > 0 {
		return c.GetWeights()[n-1].GetMass()
	}
	return c.GetMass()
}

// capital begins a sentence.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}
