package web

import (
	"cmp"
	"context"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// ordersPage lists what is ordered by what is to be done about it, and begins a new
// order with what was advised.
type ordersPage struct {
	Says      string
	Groups    []orderGroup
	Suppliers []choice
	Alloys    []choice
	Supplies  []choice
	New       map[string]string // the fields of the new order, as the address has them
	Blank     []int
}

type orderGroup struct {
	Title  string
	Orders []order
	Folded bool
}

type order struct {
	*pb.PurchaseOrder
	From string // the supplier's name
	What string // is ordered
	Due  string // when it comes
	Late bool
}

// orderPage is one order: what is still to come of it, and where what came is booked in.
type orderPage struct {
	order
	Lines  []orderLine
	Places []choice
	Scales []choice
}

type orderLine struct {
	*pb.PurchaseLine
	N    int // 1 for the first
	What string
	Done bool
	Says []asked // the certificate of what came
}

func (p *Pages) orders(v *visit) (frame, error) {
	got, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.PurchaseOrder, string, error) {
		l, err := p.call.orders.ListPurchaseOrders(ctx, &pb.ListPurchaseOrdersRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetPurchaseOrders(), l.GetNextPageToken(), err
	})
	if err != nil {
		return frame{}, err
	}
	names, err := p.partyNames(v)
	if err != nil {
		return frame{}, err
	}
	page := ordersPage{New: map[string]string{}, Blank: []int{1, 2, 3, 4}}
	groups := []orderGroup{{Title: "Late"}, {Title: "On their way"}, {Title: "Being written, not ordered yet"}, {Title: "All here", Folded: true}, {Title: "Given up", Folded: true}}
	slices.SortStableFunc(got, func(a, b *pb.PurchaseOrder) int {
		return a.GetExpectedTime().AsTime().Compare(b.GetExpectedTime().AsTime())
	})
	for _, o := range got {
		x, at := orderOf(v, o, names), 1
		switch o.GetState() {
		case pb.PurchaseOrder_STATE_BEING_WRITTEN:
			at = 2
		case pb.PurchaseOrder_STATE_ALL_HERE:
			at = 3
		case pb.PurchaseOrder_STATE_GIVEN_UP:
			at = 4
		case pb.PurchaseOrder_STATE_UNSPECIFIED, pb.PurchaseOrder_STATE_ORDERED, pb.PurchaseOrder_STATE_SOME_HERE:
			if x.Late {
				at = 0
			}
		}
		groups[at].Orders = append(groups[at].Orders, x)
	}
	page.Says = ordersSay(groups[0].Orders, groups[1].Orders)
	page.Groups = slices.DeleteFunc(groups, func(g orderGroup) bool { return len(g.Orders) == 0 })
	if page.Suppliers, err = p.parties(v, pb.Role_ROLE_SUPPLIER); err != nil {
		return frame{}, err
	}
	if page.Alloys, err = p.alloys(v); err != nil {
		return frame{}, err
	}
	if page.Supplies, err = p.supplies(v); err != nil {
		return frame{}, err
	}
	for key, values := range v.r.URL.Query() {
		page.New[key] = values[0]
	}
	return frame{Title: "Orders", Here: "orders", Main: page}, nil
}

// ordersSay answers what is ordered and when it comes.
func ordersSay(late, coming []order) string {
	switch {
	case len(late) == 1:
		return last(late[0].GetName()) + " from " + late[0].From + " is late: " + late[0].Due + "."
	case len(late) > 1:
		return strconv.Itoa(len(late)) + " orders are late."
	case len(coming) > 0:
		return "Next comes " + last(coming[0].GetName()) + " from " + coming[0].From + ", " + coming[0].Due + "."
	}
	return "Nothing is on its way."
}

// orderOf says of an order what it is and when it comes.
func orderOf(v *visit, o *pb.PurchaseOrder, names map[string]string) order {
	x := order{PurchaseOrder: o, From: names[o.GetSupplier()]}
	var what []string
	for _, l := range o.GetLines() {
		what = append(what, lineWords(l))
	}
	x.What = strings.Join(what, ", ")
	day, today := midnight(o.GetExpectedTime().AsTime().In(v.zone)), midnight(v.now.In(v.zone))
	days := int(day.Sub(today).Round(24*time.Hour) / (24 * time.Hour))
	switch {
	case o.GetExpectedTime() == nil:
		x.Due = "no day agreed"
	case days < 0:
		x.Due, x.Late = fmt.Sprintf("due %s, %s ago", v.Day(o.GetExpectedTime()), counted(-days, "day")), true
	case days == 0:
		x.Due = "due today"
	default:
		x.Due = fmt.Sprintf("due %s, in %s", v.Day(o.GetExpectedTime()), counted(days, "day"))
	}
	return x
}

func midnight(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())
}

func counted(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + one + "s"
}

// lineWords is a line of an order as a person says it.
func lineWords(l *pb.PurchaseLine) string {
	what := last(l.GetSupply())
	if l.GetAlloy() != "" {
		what = last(l.GetAlloy()) + " " + word(l.GetForm())
	}
	switch {
	case l.GetPieces() > 0 && l.GetEach().GetMg() > 0:
		return fmt.Sprintf("%d × about %s %s", l.GetPieces(), cmp.Or(l.GetEach().GetTyped(), l.GetEach().GetText()), what)
	case l.GetPieces() > 0:
		return fmt.Sprintf("%d × %s", l.GetPieces(), what)
	}
	return cmp.Or(l.GetMass().GetTyped(), l.GetMass().GetText()) + " " + what
}

func (p *Pages) order(v *visit) (frame, error) {
	name := v.name("purchaseOrders/" + v.r.PathValue("order"))
	got, err := p.call.orders.GetPurchaseOrder(v.ctx, &pb.GetPurchaseOrderRequest{Name: name})
	if err != nil {
		return frame{}, err
	}
	names, err := p.partyNames(v)
	if err != nil {
		return frame{}, err
	}
	page := orderPage{order: orderOf(v, got.GetPurchaseOrder(), names)}
	for i, l := range page.PurchaseOrder.GetLines() {
		page.Lines = append(page.Lines, orderLine{l, i + 1, lineWords(l), l.GetMissing().GetMg() == 0 && l.GetMissingPieces() == 0, certificateFields(fmt.Sprintf("certificates.of%d", i+1))})
	}
	if page.Places, err = p.places(v); err != nil {
		return frame{}, err
	}
	if page.Scales, err = p.scales(v); err != nil {
		return frame{}, err
	}
	return frame{Title: "Order " + last(name), Here: "orders", Main: page}, nil
}

// Zone is the shop's distance from UTC now, as times are written.
func (v *visit) Zone() string { return v.now.In(v.zone).Format("-07:00") }

// DayField is a day as a browser's field for days wants it.
func (v *visit) DayField(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().In(v.zone).Format(time.DateOnly)
}

// orderLink is the address of a new order, begun with what was advised. An order counts
// pieces, also of what is sold in bundles.
func (p *Pages) orderLink(v *visit, a *pb.OrderAdvice) (string, error) {
	q := url.Values{"alloy": {last(a.GetAlloy())}, "supply": {last(a.GetSupply())}, "supplier": {last(a.GetSupplier())}}
	pieces := a.GetPacks()
	if a.GetCost() != nil {
		q.Set("price", a.GetCost().GetText())
	}
	if a.GetOffer() != "" {
		got, err := p.call.offers.GetOffer(v.ctx, &pb.GetOfferRequest{Name: a.GetOffer()})
		if err != nil {
			return "", err
		}
		o := got.GetOffer()
		pieces *= max(o.GetBundlePieces(), 1)
		for _, b := range o.GetBreaks() {
			if b.GetFrom().GetMg() <= a.GetMass().GetMg() && b.GetFromPieces() <= pieces {
				q.Set("price", b.GetPrice())
			}
		}
		q.Set("freight", o.GetFreight())
		q.Set("due", v.now.In(v.zone).AddDate(0, 0, int(o.GetLeadDays())).Format(time.DateOnly))
	}
	mg := a.GetMass().GetMg()
	switch {
	case pieces > 0 && mg > 0:
		q.Set("each", unit.FormatMass(mg/pieces, v.Unit, 0))
	case mg > 0:
		q.Set("mass", a.GetMass().GetText())
	}
	if pieces > 0 {
		q.Set("pieces", strconv.FormatInt(pieces, 10))
	}
	for key, values := range q {
		if values[0] == "" {
			q.Del(key)
		}
	}
	return v.Page("orders") + map[bool]string{true: "&", false: "?"}[strings.Contains(v.Page("orders"), "?")] + q.Encode() + "#new", nil
}
