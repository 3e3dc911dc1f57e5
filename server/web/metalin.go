package web

import (
	"slices"

	pb "example.org/remelt/api/remelt/v1"
)

// metalInPage is where metal is put in the book that no heat gave back.
type metalInPage struct {
	Path   string // where the form is posted
	Ways   []wayIn
	Price  asked   // of what is or becomes the shop's
	Fields []asked // whatever way it came
	Seldom []asked
	Says   []asked // its certificate
	Lately []came
}

// wayIn is how metal came to be here, with what is asked of that.
type wayIn struct {
	ID, Name string
	On       bool // chosen at first
	Fields   []asked
	Says     string
	Nobody   bool // whom it asks for, nobody is known of
}

// came is metal that came in lately.
type came struct {
	*pb.Entry
	Lot string
}

const latelyShown = 8

func (p *Pages) metalIn(v *visit) (frame, error) {
	page := metalInPage{Path: "/v1/shops/" + v.ID + "/lots:receive"}
	lists := deedLists{}
	if err := p.weighingLists(v, &lists); err != nil {
		return frame{}, err
	}
	alloys, some, err := p.alloysHereFirst(v)
	if err != nil {
		return frame{}, err
	}
	if page.Ways, err = p.waysIn(v, some); err != nil {
		return frame{}, err
	}
	single, money := string(v.Single()), v.Shop.GetCurrency()
	page.Price = asked{Name: "price", Label: "What it cost or is worth, by weight or in all", Holder: "4.85 " + money + "/" + single + ", or 310.00 " + money}
	weighing := weighingFields("weighing", single, lists)
	page.Fields = slices.Concat([]asked{
		{Name: "alloy", Label: "Alloy", Options: orNone(append(alloys, choice{"unknown", "not known: it is set apart"}), ""), Need: true, Stays: true},
		{Name: "form", Label: "What it is", Picks: formsIn(), Stays: true},
		{Name: "dirty", Label: "still dirty: sand, paint, oil, iron in it", Check: true, Stays: true}},
		often(weighing), []asked{{Name: "weighing.pieces", Label: "Pieces, if they are counted", Number: true},
			{Name: "place", Label: "Put where", Options: orNone(lists.Places, "not said"), Stays: true},
			{Name: "label", Label: "What is written on it"}})
	page.Seldom = slices.Concat(seldom(weighing), []asked{{Name: "lotId", Label: "Name of the lot, if not the next number"}, {Name: "happenedTime", Label: "When, if not now", Moment: true, Stays: true}})
	page.Says = certificateFields("certificate")
	if page.Lately, err = p.lately(v); err != nil {
		return frame{}, err
	}
	return frame{Title: "Metal came in", Here: "stock", Live: true, Part: "lately", From: v.Page("metal-in"), Main: page}, nil
}

// waysIn are how metal comes to be here; a book without metal begins with what lies there.
func (p *Pages) waysIn(v *visit, some bool) ([]wayIn, error) {
	suppliers, err := p.parties(v, pb.Role_ROLE_SUPPLIER)
	if err != nil {
		return nil, err
	}
	customers, err := p.parties(v, pb.Role_ROLE_CUSTOMER)
	return []wayIn{
		{ID: "bought", Name: "bought", On: some, Nobody: len(suppliers) == 0, Says: "What was ordered in this book is received on the page of its order.",
			Fields: []asked{{Name: "supplier", Label: "From whom", Options: orNone(suppliers, ""), Need: true, Stays: true}}},
		{ID: "theirs", Name: "a customer’s own", Nobody: len(customers) == 0, Says: "It stays the customer’s: it costs the shop nothing, and goes into nobody else’s castings unasked.",
			Fields: []asked{{Name: "customer", Label: "Whose it is", Options: orNone(customers, ""), Need: true, Stays: true}}},
		{ID: "here", Name: "here already", On: !some, Says: "It was here before the book began. Without a price it counts as having cost nothing: what is cast of it looks that much cheaper, and its cost says so.",
			Fields: []asked{{Name: "hereAlready", Label: "it was here before the book began", Check: true, Always: true}}},
	}, err
}

// formsIn are the forms in which metal comes in, as often as they do.
func formsIn() (out []choice) {
	for _, f := range []pb.Form{pb.Form_FORM_INGOT, pb.Form_FORM_BOUGHT_SCRAP, pb.Form_FORM_PIG, pb.Form_FORM_GATING, pb.Form_FORM_CUP, pb.Form_FORM_RISER, pb.Form_FORM_SCRAP_CASTING, pb.Form_FORM_SPILL, pb.Form_FORM_GRINDINGS} {
		out = append(out, choice{f.String(), word(f)})
	}
	return out
}

// alloysHereFirst are the alloys, those of which metal is here first, and whether any is.
func (p *Pages) alloysHereFirst(v *visit) (all []choice, some bool, err error) {
	if all, err = p.alloys(v); err != nil {
		return nil, false, err
	}
	got, err := p.call.stock.GetStock(v.ctx, &pb.GetStockRequest{Name: v.name("stock")})
	here := map[string]bool{}
	for _, pos := range got.GetStock().GetPositions() {
		here[last(pos.GetAlloy())] = true
	}
	slices.SortStableFunc(all, func(a, b choice) int {
		switch {
		case here[a.ID] == here[b.ID]:
			return 0
		case here[a.ID]:
			return -1
		}
		return 1
	})
	return all, len(here) > 0, err
}

// lately is what came in last, the newest first.
func (p *Pages) lately(v *visit) (out []came, err error) {
	got, err := p.call.entries.ListEntries(v.ctx, &pb.ListEntriesRequest{Parent: "shops/" + v.ID, OrderBy: "sequence desc", View: pb.EntryView_ENTRY_VIEW_FULL, PageSize: 100})
	for _, e := range got.GetEntries() {
		if e.GetKind() != "receive" || len(out) == latelyShown {
			continue
		}
		c := came{Entry: e}
		for _, x := range e.GetChanges() {
			if x.GetKind() == "lot" {
				c.Lot = x.GetId()
			}
		}
		out = append(out, c)
	}
	return out, err
}

// often and seldom are the fields that are always shown, and the others.
func often(all []asked) []asked  { return deed{Fields: all}.Often() }
func seldom(all []asked) []asked { return deed{Fields: all}.Seldom() }
