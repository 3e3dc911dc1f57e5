package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/unit"
	"example.org/remelt/server/paper"
	"example.org/remelt/server/signin"
)

// visit is one request for a page: whose book, and how figures are shown.
type visit struct {
	r    *http.Request
	ctx  context.Context
	Shop *pb.Shop // nil when none was chosen and there is not just one
	ID   string
	Unit unit.MassUnit
	now  time.Time

	Caller *signin.Caller // nil where nobody needs to sign in
	zone   *time.Location
	may    func(*signin.Caller, string) (allowed, known bool)

	takesBack func(*signin.Caller, ledger.Kind, string) bool

	shops []string // all there are, when none was chosen
}

func (p *Pages) visit(r *http.Request) (*visit, error) {
	v := &visit{r: r, ctx: r.Context(), ID: r.PathValue("shop"), now: p.cfg.Now(), zone: time.UTC, may: p.cfg.May, takesBack: p.cfg.TakesBack}
	if c, signedIn := signin.From(v.ctx); signedIn {
		v.Caller = &c
	}
	if v.ID == "" {
		v.ID = r.URL.Query().Get("shop")
	}
	if v.ID == "" {
		shops, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Shop, string, error) {
			l, err := p.call.shops.ListShops(ctx, &pb.ListShopsRequest{PageToken: token})
			return l.GetShops(), l.GetNextPageToken(), err
		})
		if err != nil {
			return v, err
		}
		for _, s := range shops {
			v.shops = append(v.shops, last(s.GetName()))
		}
		if len(shops) != 1 {
			return v, nil
		}
		v.ID = v.shops[0]
	}
	got, err := p.call.shops.GetShop(v.ctx, &pb.GetShopRequest{Name: "shops/" + v.ID})
	if err != nil {
		return v, err
	}
	v.Shop = got.GetShop()
	if loc, err := time.LoadLocation(v.Shop.GetTimeZone()); err == nil {
		v.zone = loc
	}
	v.Unit = unit.MassUnit(v.Shop.GetMassUnit())
	if asked := r.URL.Query().Get("unit"); asked != "" {
		u, err := unit.ParseMassUnit(asked)
		if err != nil {
			return v, badUnit(asked)
		}
		v.Unit = u
	}
	return v, nil
}

// May says whether whoever asks may call a method of the API, said as
// HeatService/SkimHeat, or see a page, by its pattern: what would be refused is not
// offered. The server's own rules answer, so that a page cannot say otherwise.
func (v *visit) May(what string) (bool, error) {
	allowed, known := v.may(v.Caller, what)
	if !known {
		return false, fmt.Errorf("there is no %s that somebody may use", what)
	}
	return allowed, nil
}

// TakesBack says whether whoever asks may take an entry back, which stands and is no
// reversal itself.
func (v *visit) TakesBack(e *pb.Entry) bool {
	return e.GetReversedBy() == "" && e.GetKind() != string(ledger.KindReverse) && v.takesBack(v.Caller, ledger.Kind(e.GetKind()), e.GetWho())
}

// name is the resource name of something in the shop: "lots/L7-9".
func (v *visit) name(rest string) string { return "shops/" + v.ID + "/" + rest }

// Page is the address of a page of the shop, in the unit chosen.
func (v *visit) Page(rest string) string {
	u := url.URL{Path: "/shops/" + v.ID}
	if rest != "" {
		u.Path += "/" + rest
	}
	if v.Unit != unit.MassUnit(v.Shop.GetMassUnit()) {
		u.RawQuery = url.Values{"unit": {string(v.Unit)}}.Encode()
	}
	return u.String()
}

// Paper is the address of a document of the shop; each pair is asked of it.
func (v *visit) Paper(rest string, pairs ...string) string {
	u := url.URL{Path: "/shops/" + v.ID + "/paper/" + rest}
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		q.Set(pairs[i], pairs[i+1])
	}
	u.RawQuery = q.Encode()
	return u.String()
}

// Single is the page's unit for typing in: pounds, where pounds and ounces are shown.
func (v *visit) Single() unit.MassUnit {
	if v.Unit == unit.LBOZ {
		return unit.LB
	}
	return v.Unit
}

// Other is the unit that the page offers to change to.
func (v *visit) Other() unit.MassUnit {
	switch v.Unit {
	case unit.LB, unit.OZ, unit.LBOZ, unit.ShortTon:
		return unit.KG
	}
	return unit.LB
}

// InOther is this page in the other unit.
func (v *visit) InOther() string {
	q := v.r.URL.Query()
	q.Set("unit", string(v.Other()))
	return v.r.URL.Path + "?" + q.Encode()
}

// Number is a mass in the page's unit, without the unit; a dash for nothing.
func (v *visit) Number(m *pb.Mass) string {
	if m.GetMg() == 0 {
		return "–"
	}
	return unit.FormatMassNumber(m.GetMg(), v.Unit, 0)
}

// Mass is a mass with its unit.
func (v *visit) Mass(m *pb.Mass) string { return unit.FormatMass(m.GetMg(), v.Unit, 0) }

// Less is a mass below zero, said as how much below.
func (v *visit) Less(m *pb.Mass) string { return unit.FormatMass(-m.GetMg(), v.Unit, 0) }

// Degrees is a temperature on the shop's scale, with what was typed if that is another.
func (v *visit) Degrees(t *pb.Temperature) string { return paper.Degrees(t, v.tempUnit()) }

// LossEffects are what is learned of losses, on the shop's scale.
func (v *visit) LossEffects(all []*pb.LossEffect) []*pb.LossEffect {
	return paper.LossEffects(all, v.tempUnit())
}

func (v *visit) tempUnit() unit.TempUnit { return unit.TempUnit(v.Shop.GetTemperatureUnit()) }

// Now is the moment of the visit in the shop's time zone, for reading.
func (v *visit) Now() string { return v.now.In(v.zone).Format("2 January 2006, 15:04 MST") }

// Day and When are a time in the shop's zone, for reading.
func (v *visit) Day(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().In(v.zone).Format("2 Jan 2006")
}

func (v *visit) When(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().In(v.zone).Format("2 Jan 2006, 15:04")
}

// last is the last part of a resource name: the id.
func last(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }
