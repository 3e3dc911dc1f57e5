package web

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/server/web/picture"
)

// lineage is where a lot's metal came from, through any number of melts, and where it is.
type lineage struct {
	Flow    *picture.Flow
	Whole   bool // its right side is where all the metal went
	Sources []source
	Holders []holder
	Melted  string // how often, on average
}

// source is something by which metal entered the book.
type source struct {
	*pb.MetalSource
	Name string
	To   string // its page, within the shop's; "" when it has none
}

// holder is what has some of the metal now.
type holder struct {
	*pb.MetalHolding
	Name string
	To   string
}

// mostStreams are drawn at one side; the rest are put together, and are in the table.
const mostStreams = 6

// contentOf is what a lot or a heat is thought to hold; nil when it never held metal.
func (p *Pages) contentOf(v *visit, name string) (*pb.Content, error) {
	got, err := p.call.analysis.GetContent(v.ctx, &pb.GetContentRequest{Name: name + "/content"})
	if status.Code(err) == codes.NotFound {
		return nil, nil //nolint:nilnil // nothing to judge
	}
	return got.GetContent(), err
}

// lineage traces a lot both ways; nil when it never held metal.
func (p *Pages) lineage(v *visit, lot string) (*lineage, error) {
	back, err := p.call.analysis.TraceBack(v.ctx, &pb.TraceBackRequest{Name: lot})
	if status.Code(err) == codes.NotFound {
		return nil, nil //nolint:nilnil // nothing to trace
	}
	if err != nil {
		return nil, err
	}
	ahead, err := p.call.analysis.TraceForward(v.ctx, &pb.TraceForwardRequest{Name: lot})
	if err != nil {
		return nil, err
	}
	out := &lineage{}
	for _, s := range back.GetSources() {
		x := source{MetalSource: s, Name: origin(s.GetAccount()), To: pageOf(s.GetSubject())}
		if s.GetParty() != "" {
			x.Name += ", " + last(s.GetParty())
		}
		out.Sources = append(out.Sources, x)
	}
	slices.SortStableFunc(out.Sources, func(a, b source) int { return cmp.Compare(b.GetMass().GetMg(), a.GetMass().GetMg()) })
	for _, h := range ahead.GetHoldings() {
		if h.GetHeld().GetMg() != 0 {
			out.Holders = append(out.Holders, holder{MetalHolding: h, Name: holderName(h, lot), To: pageOf(h.GetSubject())})
		}
	}
	slices.SortStableFunc(out.Holders, func(a, b holder) int { return cmp.Compare(b.GetHeld().GetMg(), a.GetHeld().GetMg()) })
	if back.GetMeanMelts() > 0 {
		out.Melted = fmt.Sprintf("%.1f", back.GetMeanMelts())
	}
	out.draw(v, last(lot), back.GetMass().GetMg(), ahead.GetMass().GetMg())
	return out, nil
}

// draw makes the picture: at the left what the metal is from, at the right where it is.
// When more went through the lot than it holds, or last held, the right is only the lot
// itself, since the left speaks of no more.
func (l *lineage) draw(v *visit, id string, held, ever int64) {
	if held <= 0 {
		return
	}
	f := &picture.Flow{Title: "Where the metal of lot " + id + " is from, and where it is", Middle: "lot " + id, Show: func(mg int64) string { return v.Mass(&pb.Mass{Mg: mg}) }}
	for _, s := range l.Sources {
		f.In = append(f.In, picture.Stream{Name: origin(s.GetAccount()), Amount: s.GetMass().GetMg(), Sort: picture.Charged})
	}
	f.In = fewer(f.In, held)
	const rounding = 10 // milligrams, of all shares together
	if l.Whole = max(held-ever, ever-held) <= rounding; l.Whole {
		f.Out = l.groups()
	} else {
		f.Out = []picture.Stream{{Name: "in this lot", Amount: held, Sort: picture.Back}}
	}
	l.Flow = f
}

// fewer puts the smallest streams together when there are many, or hardly anything of them.
func fewer(all []picture.Stream, whole int64) []picture.Stream {
	n := 0
	for n < min(len(all), mostStreams) && all[n].Amount*200 >= whole {
		n++
	}
	if n = min(n, mostStreams-1); len(all)-n < 2 {
		return all
	}
	more := picture.Stream{Name: fmt.Sprintf("%d others", len(all)-n), Sort: all[n].Sort}
	for _, s := range all[n:] {
		more.Amount += s.Amount
	}
	return append(slices.Clone(all[:n]), more)
}

// groups are what has the metal now, put together by what it is to the shop.
func (l *lineage) groups() (out []picture.Stream) {
	out = []picture.Stream{{Name: inThisLot, Sort: picture.Back}, {Name: "other lots", Sort: picture.Back}, {Name: "castings here", Sort: picture.Product},
		{Name: "shipped, sold", Sort: picture.Product}, {Name: "in molds, melts", Sort: picture.Waiting}, {Name: "lost", Sort: picture.Gone}}
	for _, h := range l.Holders {
		at := 5
		switch kind, _, _ := strings.Cut(h.GetAccount(), "/"); kind {
		case "lot":
			at = 1
			if h.Name == inThisLot {
				at = 0
			}
		case "casting":
			at = 2
		case "left":
			at = 3
		case "heat", "molds", "heel":
			at = 4
		}
		out[at].Amount += h.GetHeld().GetMg()
	}
	return slices.DeleteFunc(out, func(s picture.Stream) bool { return s.Amount == 0 })
}

const inThisLot = "still in this lot"

// holderName says what has some of the metal.
func holderName(h *pb.MetalHolding, lot string) string {
	kind, ref, _ := strings.Cut(h.GetAccount(), "/")
	switch {
	case h.GetSubject() == lot:
		return inThisLot
	case kind == "lot":
		return word(h.GetForm()) + " " + ref
	case kind == "casting" && h.GetGone() != "":
		return "casting " + ref + ", " + h.GetGone()
	case kind == "heat":
		return "in the crucible, heat " + ref
	case kind == "molds":
		return "in molds, heat " + ref
	case kind == "left":
		return "left: " + ref
	case kind == "count":
		return "missing at a count"
	case kind == "unaccounted":
		return "unaccounted for in heat " + ref
	case kind == "heel":
		return "heel in " + ref
	case kind == "casting":
		return "casting " + ref
	}
	return kind + " of heat " + ref // oxide, vapour, spill, kerf
}

// pageOf is a thing's page within the shop's, for things that have one.
func pageOf(name string) string {
	parts := strings.SplitN(name, "/", 3)
	if len(parts) == 3 && (strings.HasPrefix(parts[2], "lots/") || strings.HasPrefix(parts[2], "heats/")) {
		return parts[2]
	}
	return ""
}
