package web

import (
	pb "example.org/remelt/api/remelt/v1"
)

// lotPage is one lot: what it is, where it came from, and what happened to it.
type lotPage struct {
	Lot     *pb.Lot
	Content *pb.Content // nil when it never held metal
	Lineage *lineage    // nil when it never held metal
	History []change
	More    bool // there is more history than is shown

	Deeds, Later []deed   // what may be done to it now: often, and seldom
	Lots         []choice // that it may be put with
}

// change is an entry as a lot's history tells it.
type change struct {
	*pb.Entry
	Moved  *pb.Mass // of this lot
	Typed  string   // as it was typed at the scale
	Undone bool
}

const historyShown = 50

func (p *Pages) lot(v *visit) (frame, error) {
	name := v.name("lots/" + v.r.PathValue("lot"))
	got, err := p.call.lots.GetLot(v.ctx, &pb.GetLotRequest{Name: name})
	if err != nil {
		return frame{}, err
	}
	past, err := p.call.entries.ListHistory(v.ctx, &pb.ListHistoryRequest{Name: name, PageSize: historyShown})
	if err != nil {
		return frame{}, err
	}
	id := last(name)
	page := lotPage{Lot: got.GetLot(), More: past.GetNextPageToken() != ""}
	if page.Lot.GetForm() != pb.Form_FORM_SKIMMINGS { // of which nothing is cast
		if page.Content, err = p.contentOf(v, name); err != nil {
			return frame{}, err
		}
	}
	if page.Lineage, err = p.lineage(v, name); err != nil {
		return frame{}, err
	}
	if err := p.lotWrites(v, &page); err != nil {
		return frame{}, err
	}
	for _, e := range past.GetEntries() {
		page.History = append(page.History, changeOf(e, "lot/"+id))
	}
	return frame{Title: "Lot " + id, Here: "stock", Live: true, Cautioned: len(page.Lot.GetCautions()) > 0, Main: page}, nil
}

// changeOf is what an entry did to one account.
func changeOf(e *pb.Entry, account string) change {
	c := change{Entry: e, Undone: e.GetReversedBy() != ""}
	var mg int64
	for _, post := range e.GetPostings() {
		if post.GetAccount() == account {
			mg += post.GetMass().GetMg()
		}
	}
	if mg != 0 {
		c.Moved = &pb.Mass{Mg: mg}
	}
	for _, w := range e.GetWeighings() {
		if w.GetSubject() == account {
			c.Typed = typed(w)
		}
	}
	return c
}

// typed is a weighing as it was read off the scale.
func typed(w *pb.Weighing) string {
	for _, m := range []*pb.Mass{w.GetGross(), w.GetNet()} {
		if m.GetTyped() != "" {
			return m.GetTyped()
		}
	}
	return ""
}
