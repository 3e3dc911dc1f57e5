package web

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	pb "example.org/remelt/api/remelt/v1"
)

// ratesForm are the rates that hold now, to be set anew from a day on.
type ratesForm struct {
	Now  *pb.RateCard // nil when none were set
	Work []*pb.WorkRate
	Past []past // the latest first, those to come too
}

// costingForm is how cost is reckoned now, to be set anew from a day on.
type costingForm struct {
	Now       *pb.Costing
	Methods   []choice
	Recovered []*pb.AlloyPrice
	Skimmings []*pb.AlloyPrice
	Normal    []*pb.NormalLoss
	Wear      []*pb.CrucibleWear
	Alloys    []choice
	Pots      []choice
	Past      []past
}

// past is what was set from a day on.
type past struct{ From, Says string }

// methodWords are the ways to cost stock, in the shop's words.
var methodWords = []choice{
	{pb.Costing_METHOD_BY_LOT.String(), "each lot keeps its own cost"},
	{pb.Costing_METHOD_FIRST_IN.String(), "the oldest metal of an alloy is used first"},
	{pb.Costing_METHOD_MOVING_AVERAGE.String(), "the average of what is there at that moment"},
	{pb.Costing_METHOD_MONTH_AVERAGE.String(), "one average for each month"},
}

func methodSays(m pb.Costing_Method) string {
	if i := slices.IndexFunc(methodWords, func(c choice) bool { return c.ID == m.String() }); i >= 0 {
		return methodWords[i].Name
	}
	return "not said"
}

// Today is the day of the visit where the shop is, as a browser's field wants it.
func (v *visit) Today() string { return v.now.In(v.zone).Format(time.DateOnly) }

// rateCards are all that were set, by day, and the one that holds now.
func (p *Pages) rateCards(v *visit) (cards []*pb.RateCard, now *pb.RateCard, err error) {
	cards, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.RateCard, string, error) {
		l, err := p.call.commissions.ListRateCards(ctx, &pb.ListRateCardsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetRateCards(), l.GetNextPageToken(), err
	})
	for _, card := range cards {
		if from := card.GetFromTime().AsTime(); !from.After(v.now) && (now == nil || from.After(now.GetFromTime().AsTime())) {
			now = card
		}
	}
	return cards, now, err
}

func (p *Pages) rateSettings(v *visit, part *settingsPart) error {
	cards, now, err := p.rateCards(v)
	f := &ratesForm{Now: now, Work: append(slices.Clone(now.GetWork()), &pb.WorkRate{}, &pb.WorkRate{})}
	for _, c := range cards {
		f.Past = append([]past{{v.Day(c.GetFromTime()), rateSays(c)}}, f.Past...)
	}
	part.Rates, part.Answer = f, "Not set: no work is in a quote, and no hours can be booked."
	if now != nil {
		part.Answer = sentence(rateSays(now))
	}
	return err
}

// rateSays is a card of rates in a line.
func rateSays(c *pb.RateCard) string {
	var says []string
	for _, w := range c.GetWork() {
		says = append(says, w.GetKind()+" "+w.GetHourPrice()+" an hour")
	}
	for _, x := range [][2]string{{c.GetOverheadPercent(), "% of labour for overhead"}, {c.GetMarginPercent(), "% of the price as margin"}} {
		if x[0] != "" && x[0] != "0" {
			says = append(says, x[0]+" "+x[1])
		}
	}
	for _, x := range [][2]string{{"a mold ", c.GetMoldPrice()}, {"consumables ", c.GetConsumablesPrice()}, {"fuel ", c.GetFuelPrice()}} {
		if x[1] != "" {
			says = append(says, x[0]+x[1])
		}
	}
	if len(says) == 0 {
		return "nothing"
	}
	return strings.Join(says, ", ")
}

func (p *Pages) costingSettings(v *visit, part *settingsPart) error {
	got, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Costing, string, error) {
		l, err := p.call.costs.ListCostings(ctx, &pb.ListCostingsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetCostings(), l.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	f := &costingForm{Methods: methodWords}
	for _, c := range got {
		if from := c.GetFromTime().AsTime(); !from.After(v.now) && (f.Now == nil || from.After(f.Now.GetFromTime().AsTime())) {
			f.Now = c
		}
		f.Past = append([]past{{v.Day(c.GetFromTime()), costingSays(c)}}, f.Past...)
	}
	f.Recovered = append(slices.Clone(f.Now.GetRecovered()), &pb.AlloyPrice{}, &pb.AlloyPrice{})
	f.Skimmings = append(slices.Clone(f.Now.GetSkimmings()), &pb.AlloyPrice{}, &pb.AlloyPrice{})
	f.Normal = append(slices.Clone(f.Now.GetNormalLosses()), &pb.NormalLoss{}, &pb.NormalLoss{})
	f.Wear = append(slices.Clone(f.Now.GetWear()), &pb.CrucibleWear{}, &pb.CrucibleWear{})
	if f.Alloys, err = p.alloys(v); err != nil {
		return err
	}
	pots, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Pot, string, error) {
		l, err := p.call.pots.ListPots(ctx, &pb.ListPotsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetPots(), l.GetNextPageToken(), err
	})
	for _, x := range pots {
		f.Pots = append(f.Pots, choiceOf(x))
	}
	part.Costing, part.Answer = f, "Not set: "+methodSays(pb.Costing_METHOD_BY_LOT)+", and no loss is normal."
	if f.Now != nil {
		part.Answer = sentence(costingSays(f.Now))
	}
	return err
}

// costingSays is how cost is reckoned in a line.
func costingSays(c *pb.Costing) string {
	says := []string{methodSays(c.GetMethod())}
	var losses []string
	for _, n := range c.GetNormalLosses() {
		percent := n.GetPercent() + " %"
		if n.GetPercent() == "learned" {
			percent = "as the shop's heats teach it"
		}
		losses = append(losses, last(n.GetAlloy())+" "+percent)
	}
	if len(losses) > 0 {
		says = append(says, "normal is a loss of "+strings.Join(losses, ", "))
	}
	for _, x := range c.GetRecovered() {
		says = append(says, fmt.Sprintf("returns of %s at %s", last(x.GetAlloy()), x.GetPrice()))
	}
	for _, x := range c.GetSkimmings() {
		says = append(says, fmt.Sprintf("metal in skimmings of %s at %s", last(x.GetAlloy()), x.GetPrice()))
	}
	for _, x := range c.GetWear() {
		says = append(says, fmt.Sprintf("a heat wears %s off %s", x.GetPrice(), last(x.GetPot())))
	}
	return strings.Join(says, "; ")
}

// sentence is a phrase that stands by itself.
func sentence(phrase string) string {
	first, size := utf8.DecodeRuneInString(phrase)
	return string(unicode.ToUpper(first)) + phrase[size:] + "."
}
