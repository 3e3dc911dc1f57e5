package web

import (
	"fmt"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
	"example.org/remelt/server/web/picture"
)

// toBuyPage answers what is to be ordered, by when, and why.
type toBuyPage struct {
	Now, Enough []buying
	Surplus     []*pb.SurplusMetal
	Notes       []string
}

type buying struct {
	*pb.OrderAdvice
	Chart *picture.Chart
	Link  string // to a new order with it
}

func (p *Pages) toBuy(v *visit) (frame, error) {
	got, err := p.call.ordering.AdviseOrders(v.ctx, &pb.AdviseOrdersRequest{Parent: "shops/" + v.ID})
	if err != nil {
		return frame{}, err
	}
	page := toBuyPage{Surplus: got.GetSurplus(), Notes: got.GetNotes()}
	for i, a := range got.GetAdvice() {
		b := buying{OrderAdvice: a, Chart: stockCurve(v, fmt.Sprintf("curve%d", i), a)}
		if a.GetOrder() {
			if b.Link, err = p.orderLink(v, a); err != nil {
				return frame{}, err
			}
			page.Now = append(page.Now, b)
		} else {
			page.Enough = append(page.Enough, b)
		}
	}
	return frame{Title: "What to buy", Here: "to-buy", Main: page}, nil
}

// advice is what the next heats need of an alloy, and what to order of it; nil when none
// is asked for, or the planner has nothing to say of it.
func (p *Pages) advice(v *visit, alloy string) (*buying, error) {
	if alloy == "" {
		return nil, nil //nolint:nilnil // none asked for
	}
	got, err := p.call.ordering.AdviseOrders(v.ctx, &pb.AdviseOrdersRequest{Parent: "shops/" + v.ID, Alloy: v.name("alloys/" + alloy)})
	if _, ok := refusal(err); ok || err == nil && len(got.GetAdvice()) == 0 {
		return nil, nil //nolint:nilnil // unknown metal, for one
	}
	if err != nil {
		return nil, err
	}
	a := got.GetAdvice()[0]
	b := &buying{OrderAdvice: a, Chart: stockCurve(v, "curve", a)}
	if a.GetOrder() {
		b.Link, err = p.orderLink(v, a)
	}
	return b, err
}

// stockCurve draws how a stock will last, with the order that is advised.
func stockCurve(v *visit, id string, a *pb.OrderAdvice) *picture.Chart {
	if len(a.GetCurve()) < 2 {
		return nil
	}
	what, named := last(a.GetAlloy()), "pieces"
	if a.GetSupply() != "" {
		what = last(a.GetSupply())
	}
	amount := func(n int64) float64 { return float64(n) }
	if a.GetMass() != nil {
		named = string(v.Single())
		amount = func(n int64) float64 { return unit.MassInUnit(n, v.Single()) }
	}
	c := &picture.Chart{ID: id, Title: "How long the " + what + " lasts", Unit: named}
	first := a.GetCurve()[0].GetDayTime()
	missing, day := 0.0, first
	for _, d := range a.GetCurve() {
		c.Places = append(c.Places, d.GetDayTime().AsTime().In(v.zone).Format("2 Jan"))
		c.Low, c.High = append(c.Low, amount(d.GetLow())), append(c.High, amount(d.GetHigh()))
		c.Line = append(c.Line, amount(d.GetMiddle()))
		if d.GetMissingPercent() > missing {
			missing, day = d.GetMissingPercent(), d.GetDayTime()
		}
	}
	c.Levels = append(c.Levels, picture.Level{Value: 0, Words: "nothing left"})
	if r := amount(a.GetReorderPoint()); r > 0 {
		c.Levels = append(c.Levels, picture.Level{Value: r, Words: "order below this"})
	}
	c.Words = fmt.Sprintf("From %s to %s, with the order advised. The chance that something is missing is greatest on %s, %.0f of 100.",
		v.Day(first), v.Day(a.GetCurve()[len(a.GetCurve())-1].GetDayTime()), v.Day(day), missing)
	return c
}
