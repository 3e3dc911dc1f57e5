package paper

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// Tables are those that can be written for other programs.
var Tables = []string{"postings", "stock", "lots", "heats", "castings", "period", "money", "charge-back", "charge-back-by-commission"}

// OfPeriod reports whether a table is of a period, which has to be said.
func OfPeriod(table string) bool {
	return slices.Contains([]string{"period", "money", "charge-back", "charge-back-by-commission"}, table)
}

// Table is a list of things, a row each. UNIT in a heading stands for the unit of
// its masses.
type Table struct {
	Name     string
	Head     []string
	Rows     [][]any         // text, bool, numbers, *pb.Mass, Number, *timestamppb.Timestamp
	Messages []proto.Message // what each row is made of, as the API gave it

	unit unit.MassUnit
	zone *time.Location
}

// Number is the text of an exact decimal number, "" for none.
type Number string

// Table reads one of Tables. when is read by those that are OfPeriod only.
func (p *Press) Table(ctx context.Context, shop, name string, when Period) (*Table, error) {
	j, err := p.begin(ctx, shop, Size{})
	if err != nil {
		return nil, err
	}
	t := &Table{Name: name, unit: single(j.unit), zone: j.zone}
	read := map[string]func(context.Context, string, Period, *Table) error{"postings": p.postings, "stock": p.positions, "lots": p.lotTable, "heats": p.heatTable,
		"castings": p.castingTable, "period": p.flows, "money": p.money,
		"charge-back": p.chargeBack(pb.ChargedTo_CHARGED_TO_CUSTOMER), "charge-back-by-commission": p.chargeBack(pb.ChargedTo_CHARGED_TO_COMMISSION)}[name]
	if read == nil {
		return nil, refuse("UNKNOWN_TABLE", "table", name, "must be one of "+strings.Join(Tables, ", "))
	}
	return t, read(ctx, shop, when, t)
}

// single is the unit of masses as numbers, which have one: pounds where pounds and
// ounces are shown.
func single(u unit.MassUnit) unit.MassUnit {
	if u == unit.LBOZ {
		return unit.LB
	}
	return u
}

func (t *Table) head(names ...string) { t.Head = names }

func (t *Table) add(m proto.Message, cells ...any) {
	t.Rows = append(t.Rows, cells)
	t.Messages = append(t.Messages, m)
}

// money splits an amount into its exact decimal number and its currency.
func money(m *pb.Money) (Number, string) {
	if m == nil {
		return "", ""
	}
	amount, _, _ := strings.Cut(unit.FormatMoney(m.GetMinor(), m.GetCurrency()), " ")
	return Number(amount), m.GetCurrency()
}

// postings are all postings of the book, each with its entry.
func (p *Press) postings(ctx context.Context, shop string, _ Period, t *Table) error {
	t.head("entry", "happened", "recorded", "kind", "account", "mass_UNIT", "pieces", "basis", "who", "reason", "flags", "reverses", "reversed_by")
	entries, err := all(func(token string) ([]*pb.Entry, string, error) {
		l, err := p.call.entries.ListEntries(ctx, &pb.ListEntriesRequest{Parent: shop, PageSize: 1000, PageToken: token})
		return l.GetEntries(), l.GetNextPageToken(), err
	})
	for _, e := range entries {
		var flags []string
		for _, f := range e.GetFlags() {
			flags = append(flags, f.GetCode())
		}
		for _, post := range e.GetPostings() {
			t.add(e, e.GetSequence(), e.GetHappenedTime(), e.GetRecordedTime(), e.GetKind(), post.GetAccount(), post.GetMass(), post.GetPieces(), dashed(post.GetBasis()), e.GetWho(), e.GetReason(),
				strings.Join(flags, " "), last(e.GetReverses()), last(e.GetReversedBy()))
		}
	}
	return err
}

func (p *Press) positions(ctx context.Context, shop string, _ Period, t *Table) error {
	t.head("alloy", "owner", "usable_UNIT", "spoken_for_UNIT", "free_UNIT", "to_clean_UNIT", "set_apart_UNIT", "skimmings_UNIT",
		"in_crucible_UNIT", "in_molds_UNIT", "expected_UNIT", "castings_UNIT", "lots")
	got, err := p.call.stock.GetStock(ctx, &pb.GetStockRequest{Name: shop + "/stock"})
	for _, o := range got.GetStock().GetPositions() {
		t.add(o, last(o.GetAlloy()), last(o.GetOwner()), o.GetUsable(), o.GetSpokenFor(), o.GetFree(), o.GetToClean(), o.GetSetApart(), o.GetSkimmings(),
			o.GetInCrucible(), o.GetInMolds(), o.GetExpected(), o.GetCastings(), int64(o.GetLots()))
	}
	return err
}

func (p *Press) lotTable(ctx context.Context, shop string, _ Period, t *Table) error {
	t.head("lot", "alloy", "alloy_sure", "form", "condition", "held_why", "usable", "mass_UNIT", "free_UNIT", "pieces", "place", "owner", "label", "origin", "price", "currency")
	lots, err := p.lots(ctx, &pb.ListLotsRequest{Parent: shop})
	for _, l := range lots {
		price, currency := money(l.GetPrice().GetMoney())
		t.add(l, last(l.GetName()), last(l.GetAlloy()), l.GetAlloySure(), dashed(l.GetForm()), dashed(l.GetCondition()), l.GetHeldWhy(), l.GetUsable(),
			l.GetMass(), l.GetFree(), l.GetPieces(), last(l.GetPlace()), last(l.GetOwner()), l.GetLabel(), Origins(l), price, currency)
	}
	return err
}
