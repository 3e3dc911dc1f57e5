package web

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// weighInPage is what a person with gloves on chooses from. All of it is kept in
// the browser too, so that it is there without the network.
type weighInPage struct {
	Facts  facts
	Heats  []heatChoice
	Forms  []choice
	Alloys []choice
}

type choice struct{ ID, Name string }

type heatChoice struct {
	choice
	Alloy string
	Note  string
}

// facts is what the page's script needs to know, as JSON in the page.
type facts struct {
	Shop    string             `json:"shop"`
	Unit    string             `json:"unit"`
	Heats   []heatFacts        `json:"heats"`
	Tares   []tareFacts        `json:"tares"`
	Usual   map[string]lengths `json:"usual"` // by form: what pieces of it weighed
	Places  []choice           `json:"places"`
	Scales  []scaleFacts       `json:"scales"`
	Alloys  []string           `json:"alloys"`
	Unknown string             `json:"unknown"`
	Dirty   []dirtyLot         `json:"dirty"` // lots that wait to be cleaned and weighed again

	Sequence int64 `json:"sequence"` // the last entry that all this is of; there may be later ones in it
}

// scaleFacts is a scale with what it says over its serial port, if that is known.
type scaleFacts struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	Line string `json:"line,omitempty"`
	Port string `json:"port,omitempty"`
}

type dirtyLot struct {
	ID    string `json:"id"`
	Alloy string `json:"alloy"`
	Words string `json:"words"`
	Mg    int64  `json:"mg"`
}

type heatFacts struct {
	ID    string `json:"id"`
	Alloy string `json:"alloy"`
	Left  int64  `json:"leftMg"` // in molds by the book
}

type tareFacts struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	Mg   int64  `json:"mg"`
}

// lengths are the least and the most that a piece of a form usually weighs: the
// range of the last hundred of them, widened by half each way.
type lengths struct {
	Least int64 `json:"leastMg"`
	Most  int64 `json:"mostMg"`
	Of    int   `json:"of"`
}

func (p *Pages) weighIn(v *visit) (frame, error) {
	page := weighInPage{Facts: facts{Shop: v.ID, Unit: string(v.Unit), Usual: map[string]lengths{}, Unknown: "unknown",
		Heats: []heatFacts{}, Tares: []tareFacts{}, Places: []choice{}, Scales: []scaleFacts{}, Alloys: []string{}, Dirty: []dirtyLot{}}} // the script reads lists, never null
	// First, so that an entry made meanwhile is warned of twice and never not at all.
	stock, err := p.call.stock.GetStock(v.ctx, &pb.GetStockRequest{Name: v.name("stock")})
	if err != nil {
		return frame{}, err
	}
	page.stocked(stock.GetStock())
	heats, err := p.allHeats(v, pb.Heat_STATE_LATE, pb.Heat_STATE_MELTING, pb.Heat_STATE_SETTLED)
	if err != nil {
		return frame{}, err
	}
	slices.SortStableFunc(heats, func(a, b *pb.Heat) int {
		return cmp.Or(cmp.Compare(settled(a), settled(b)), heatTime(b).Compare(heatTime(a)))
	})
	const most = 40 // the ones still waiting first, then those settled last
	for _, h := range heats[:min(len(heats), most)] {
		c := heatChoice{choice{last(h.GetName()), "Heat " + last(h.GetName())}, last(h.GetAlloy()), heatDay(v, h)}
		if settled(h) == 1 {
			c.Note += ", settled"
		}
		page.Heats = append(page.Heats, c)
		page.Facts.Heats = append(page.Facts.Heats, heatFacts{c.ID, c.Alloy, h.GetInMolds().GetMg()})
	}
	for _, f := range []pb.Form{pb.Form_FORM_GATING, pb.Form_FORM_CUP, pb.Form_FORM_RISER, pb.Form_FORM_PIG, pb.Form_FORM_SCRAP_CASTING, pb.Form_FORM_SPILL, pb.Form_FORM_GRINDINGS} {
		page.Forms = append(page.Forms, choice{f.String(), word(f)})
	}
	if err := p.choices(v, &page); err != nil {
		return frame{}, err
	}
	return frame{Title: "Weigh in", Here: "weigh-in", Main: page}, nil
}

func settled(h *pb.Heat) int {
	if h.GetState() == pb.Heat_STATE_SETTLED {
		return 1
	}
	return 0
}

// choices reads the places, scales, tares, alloys and usual weights.
func (p *Pages) choices(v *visit, page *weighInPage) error {
	places, err := p.places(v)
	if err != nil {
		return err
	}
	page.Facts.Places = append(page.Facts.Places, places...)
	scales, err := p.allScales(v)
	if err != nil {
		return err
	}
	for _, x := range scales {
		page.Facts.Scales = append(page.Facts.Scales, scaleFacts{last(x.GetName()), cmp.Or(x.GetDisplayName(), last(x.GetName())), x.GetLinePattern(), x.GetLineSettings()})
	}
	tares, err := p.allTares(v)
	if err != nil {
		return err
	}
	for _, x := range tares {
		page.Facts.Tares = append(page.Facts.Tares, tareFacts{last(x.GetName()), cmp.Or(x.GetDisplayName(), last(x.GetName())), x.GetMass().GetMg()})
	}
	lots, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Lot, string, error) {
		l, err := p.call.lots.ListLots(ctx, &pb.ListLotsRequest{Parent: "shops/" + v.ID, Condition: pb.Condition_CONDITION_TO_BE_CLEANED, PageSize: 500, PageToken: token})
		return l.GetLots(), l.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	for _, l := range lots {
		if l.GetMass().GetMg() > 0 {
			page.Facts.Dirty = append(page.Facts.Dirty, dirtyLot{last(l.GetName()), last(l.GetAlloy()), strings.TrimSpace(word(l.GetForm()) + " " + l.GetLabel()), l.GetMass().GetMg()})
		}
	}
	return p.usual(v, page)
}

// usual reads what the pieces weighed in lately weigh.
func (p *Pages) usual(v *visit, page *weighInPage) error {
	got, err := p.call.entries.ListEntries(v.ctx, &pb.ListEntriesRequest{Parent: "shops/" + v.ID, OrderBy: "sequence desc", View: pb.EntryView_ENTRY_VIEW_FULL, PageSize: 300})
	if err != nil {
		return err
	}
	seen := map[string][]int64{}
	for _, e := range got.GetEntries() {
		if e.GetKind() != "weigh-in" || e.GetReversedBy() != "" {
			continue
		}
		form := formOf(e)
		for _, w := range e.GetWeighings() {
			if net := w.GetNet().GetMg(); form != "" && net > 0 {
				seen[form] = append(seen[form], net/max(w.GetPieces(), 1))
			}
		}
	}
	for form, all := range seen {
		if len(all) >= 5 { // fewer say nothing
			page.Facts.Usual[form] = lengths{slices.Min(all) / 2, slices.Max(all) * 3 / 2, len(all)}
		}
	}
	return nil
}

// stocked takes down the alloys that are there, and how far the book was.
func (page *weighInPage) stocked(stock *pb.Stock) {
	page.Facts.Sequence = stock.GetSequence()
	have := map[string]bool{}
	for _, pos := range stock.GetPositions() {
		if id := last(pos.GetAlloy()); !have[id] {
			have[id] = true
			page.Alloys = append(page.Alloys, choice{id, id})
			page.Facts.Alloys = append(page.Facts.Alloys, id)
		}
	}
}

// Units are what a weight may be typed in on the page.
func (weighInPage) Units() []unit.MassUnit { return []unit.MassUnit{unit.KG, unit.G, unit.LB, unit.OZ} }

// formOf is the form of the lot that an entry weighed in, as the API writes it.
func formOf(e *pb.Entry) string {
	for _, c := range e.GetChanges() {
		var lot struct {
			Form string `json:"form"`
		}
		if c.GetKind() == "lot" && json.Unmarshal([]byte(c.GetContent()), &lot) == nil && lot.Form != "" {
			return "FORM_" + strings.ToUpper(strings.ReplaceAll(lot.Form, "-", "_"))
		}
	}
	return ""
}
