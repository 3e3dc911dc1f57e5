package shop_test

import (
	"errors"
	"fmt"
	"maps"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// day is a random day in a foundry: any use case at any moment, with a reason
// always given, so that facts are never held back.
type day struct {
	*ledgertest.Shop
	r        *rapid.T
	lots     []string
	heats    []string
	molds    map[string][]string
	castings []string
	orders   []string
	projects []string // commissions
}

func (d *day) grams(label string) ledger.Quantity {
	return ledger.Quantity{Mass: ledger.Mass(rapid.Int64Range(1, 40_000_000).Draw(d.r, label))}
}

func (d *day) weighing() ledger.WeighingIn {
	w := ledger.WeighingIn{Scale: "floor", Net: d.grams("net"), Pieces: rapid.Int64Range(0, 4).Draw(d.r, "pieces")}
	if rapid.Bool().Draw(d.r, "gross") {
		w = ledger.WeighingIn{Gross: ledger.Quantity{Mass: w.Net.Mass + 500_000}, Tare: ledger.Quantity{Mass: 500_000}}
	}
	w.Dirt = ledger.PPM(rapid.SampledFrom([]int64{0, 0, 20_000, 333_333}).Draw(d.r, "dirt"))
	return w
}

func (d *day) pick(from []string, label string) string {
	if len(from) == 0 {
		return "none"
	}
	return rapid.SampledFrom(from).Draw(d.r, label)
}

func (d *day) meta() ledger.Meta {
	d.Now = d.Now.Add(time.Duration(rapid.Int64Range(-2, 48).Draw(d.r, "hours")) * time.Hour)
	return ledger.Meta{Reason: "it happened", Happened: d.Now.Add(-time.Hour)}
}

// did notes what an entry made; a refusal must be one the caller can act on.
func (d *day) did(e *ledger.Entry, err error) {
	if err != nil {
		var le *ledger.Error
		if !errors.As(err, &le) || errors.Is(err, ledger.ErrCorrupt) {
			d.r.Fatalf("refused without saying why: %v", err)
		}
		return
	}
	for _, rec := range e.Records {
		switch {
		case rec.Kind == ledger.RecLot:
			d.lots = append(d.lots, rec.ID)
		case rec.Kind == ledger.RecOrder:
			d.orders = append(d.orders, rec.ID)
		case rec.Kind == ledger.RecCommission:
			d.projects = append(d.projects, rec.ID)
		case rec.Kind == ledger.RecHeat:
			d.heats = append(d.heats, rec.ID)
		case rec.Kind == ledger.RecCasting:
			d.castings = append(d.castings, rec.ID)
		case rec.Kind == ledger.RecMold:
			var m ledger.Mold
			if err := rec.Into(&m); err != nil {
				d.r.Fatal(err)
			}
			d.molds[m.Heat] = append(d.molds[m.Heat], m.ID)
		}
	}
}

// do are the actions of a day, those about commissions and offers among them.
func (d *day) do() map[string]func(*rapid.T) {
	all := d.actions()
	maps.Copy(all, d.commissionActions())
	maps.Copy(all, d.orderActions())
	return all
}

func (d *day) actions() map[string]func(*rapid.T) {
	alloy := func() string { return rapid.SampledFrom([]string{"C87300", "C83600", "356.0"}).Draw(d.r, "alloy") }
	heat := func() string { return d.pick(d.heats, "heat") }
	lot := func() string { return d.pick(d.lots, "lot") }
	order := func() string { return d.pick(d.orders, "order") }
	return map[string]func(*rapid.T){
		"receive": func(*rapid.T) {
			c := ledger.Receive{Supplier: "northmetal", Alloy: alloy(), Weighing: d.weighing(), Dirty: rapid.Bool().Draw(d.r, "dirty"),
				Price: rapid.SampledFrom([]string{"", "7.77 USD/kg", "123.45 USD"}).Draw(d.r, "price")}
			if c.HereAlready = rapid.Bool().Draw(d.r, "here already"); c.HereAlready {
				c.Supplier = ""
			}
			d.did(d.Receive(ctx, d.meta(), c))
		},
		"write order": func(*rapid.T) {
			d.did(d.WriteOrder(ctx, d.meta(), ledger.WriteOrder{Supplier: "northmetal", Freight: rapid.SampledFrom([]string{"", "33.33 USD"}).Draw(d.r, "freight"), Lines: []ledger.OrderItem{
				{Alloy: alloy(), Mass: d.grams("ordered"), Price: rapid.SampledFrom([]string{"", "7.77 USD/kg", "123.45 USD"}).Draw(d.r, "price")},
				{Supply: "borax", Pieces: rapid.Int64Range(1, 4).Draw(d.r, "sacks"), Each: d.grams("sack"), Price: "9.99 USD/pc"}}}))
		},
		"place order": func(*rapid.T) { d.did(d.PlaceOrder(ctx, d.meta(), ledger.PlaceOrder{Order: order()})) },
		"receive order": func(*rapid.T) {
			c := ledger.ReceiveOrder{Order: order(), Freight: rapid.SampledFrom([]string{"", "", "11.11 USD"}).Draw(d.r, "freight")}
			for range rapid.IntRange(1, 3).Draw(d.r, "lines") {
				c.Lines = append(c.Lines, ledger.Delivered{Line: rapid.IntRange(1, 2).Draw(d.r, "line"), Last: rapid.IntRange(0, 3).Draw(d.r, "last") == 0, Weighing: d.weighing(),
					Price: rapid.SampledFrom([]string{"", "", "8.88 USD/kg", "77.77 USD", "5.55 EUR/kg at 1.0832 USD/EUR"}).Draw(d.r, "invoiced")})
			}
			d.did(d.ReceiveOrder(ctx, d.meta(), c))
		},
		"give up order": func(*rapid.T) { d.did(d.GiveUpOrder(ctx, d.meta(), ledger.GiveUpOrder{Order: order()})) },
		"plan": func(*rapid.T) {
			e, err := d.PlanHeat(ctx, d.meta(), ledger.PlanHeat{Alloy: alloy(), Crucible: "A60", Molds: []ledger.MoldPlan{{Metal: d.grams("metal"), Commission: d.project()}, {}}})
			d.did(e, err)
			if err == nil {
				d.did(d.OpenHeat(ctx, d.meta(), d.heats[len(d.heats)-1]))
			}
		},
		"charge": func(*rapid.T) {
			it := ledger.ChargeItem{Lot: lot()}
			if rapid.Bool().Draw(d.r, "part") {
				it.Mass = d.grams("mass")
			}
			d.did(d.Charge(ctx, d.meta(), ledger.ChargeHeat{Heat: heat(), Items: []ledger.ChargeItem{it}, Heel: rapid.Bool().Draw(d.r, "heel")}))
		},
		"skim": func(*rapid.T) {
			d.did(d.Skim(ctx, d.meta(), ledger.SkimHeat{Heat: heat(), Weighing: d.weighing()}))
		},
		"pour off": func(*rapid.T) {
			d.did(d.PourOff(ctx, d.meta(), ledger.PourPigs{Heat: heat(), Weighing: d.weighing()}))
		},
		"spill": func(*rapid.T) {
			w := d.weighing()
			d.did(d.Spill(ctx, d.meta(), ledger.SpillMetal{Heat: heat(), Weighing: &w, Lost: d.grams("lost")}))
		},
		"pour": func(*rapid.T) {
			h := heat()
			d.did(d.Pour(ctx, d.meta(), ledger.PourMold{Heat: h, Mold: d.pick(d.molds[h], "mold"), Amount: d.grams("poured")}))
		},
		"finish": func(*rapid.T) {
			d.did(d.FinishPour(ctx, d.meta(), ledger.FinishPour{Heat: heat(), Heel: ledger.Quantity{Mass: ledger.Mass(rapid.Int64Range(0, 1_000_000).Draw(d.r, "heel"))}}))
		},
		"weigh in": func(*rapid.T) {
			c := ledger.WeighIn{Alloy: alloy(), Weighing: d.weighing(), Dirty: rapid.Bool().Draw(d.r, "dirty")}
			switch rapid.IntRange(0, 3).Draw(d.r, "whose") {
			case 0:
				c.Heats = []ledger.HeatShare{{Heat: heat()}}
			case 1:
				c.Heats = []ledger.HeatShare{{Heat: heat(), Share: 300_000}, {Heat: heat(), Share: 700_000}}
			case 2:
				c.Casting = d.pick(d.castings, "casting")
			}
			if rapid.Bool().Draw(d.r, "into") {
				c.Into = lot()
			}
			d.did(d.WeighIn(ctx, d.meta(), c))
		},
		"clean": func(*rapid.T) { d.did(d.Clean(ctx, d.meta(), ledger.CleanLot{Lot: lot(), Weighing: d.weighing()})) },
		"assign": func(*rapid.T) {
			d.did(d.Assign(ctx, d.meta(), ledger.AssignLot{Lot: lot(), Heats: []ledger.HeatShare{{Heat: heat()}}}))
		},
		"identify": func(*rapid.T) {
			d.did(d.Identify(ctx, d.meta(), ledger.IdentifyLot{Lot: lot(), Alloy: alloy()}))
		},
		"split": func(*rapid.T) {
			d.did(d.Split(ctx, d.meta(), ledger.SplitLot{Lot: lot(), Parts: []ledger.Part{{Weighing: d.weighing()}, {Weighing: d.weighing()}}}))
		},
		"combine": func(*rapid.T) {
			d.did(d.Combine(ctx, d.meta(), ledger.CombineLots{Lots: []string{lot(), lot()}}))
		},
		"casting": func(*rapid.T) {
			c := ledger.WeighCasting{Heat: heat(), Stage: rapid.SampledFrom([]ledger.Stage{ledger.AsCast, ledger.CutOff, ledger.Finished}).Draw(d.r, "stage"), Commission: d.project(), Weighing: d.weighing()}
			if rapid.Bool().Draw(d.r, "again") {
				c.ID = d.pick(d.castings, "casting")
			}
			d.did(d.WeighCasting(ctx, d.meta(), c))
		},
		"saw off": func(*rapid.T) { // gating of a casting as cast, which may be cut off after it, whatever became of its heat
			e, err := d.WeighCasting(ctx, d.meta(), ledger.WeighCasting{Heat: heat(), Stage: ledger.AsCast, Commission: d.project(), Weighing: d.weighing()})
			if d.did(e, err); err != nil {
				return
			}
			id := d.castings[len(d.castings)-1]
			if rapid.Bool().Draw(d.r, "settled") {
				d.did(d.Settle(ctx, d.meta(), d.castingOf(id).Heat))
			}
			d.did(d.WeighIn(ctx, d.meta(), ledger.WeighIn{Casting: id, Dirty: rapid.Bool().Draw(d.r, "dirty"), Weighing: d.weighing()}))
			if rapid.Bool().Draw(d.r, "cut off") {
				d.did(d.WeighCasting(ctx, d.meta(), ledger.WeighCasting{ID: id, Stage: ledger.CutOff, Weighing: d.weighing()}))
			}
		},
		"break up": func(*rapid.T) {
			d.did(d.BreakUp(ctx, d.meta(), ledger.BreakUp{Casting: d.pick(d.castings, "casting"), Weighing: d.weighing()}))
		},
		"ship": func(*rapid.T) {
			d.did(d.ShipCasting(ctx, d.meta(), ledger.ShipCasting{Casting: d.pick(d.castings, "casting")}))
		},
		"write off": func(*rapid.T) {
			d.did(d.WriteOff(ctx, d.meta(), ledger.WriteOff{Heat: heat(), Cause: rapid.SampledFrom([]ledger.AccountKind{ledger.Kerf, ledger.Vapour}).Draw(d.r, "cause"), Amount: d.grams("gone")}))
		},
		"give": func(*rapid.T) {
			d.did(d.Give(ctx, d.meta(), ledger.GiveMetal{Heat: heat(), To: "a visitor", Amount: d.grams("given")}))
		},
		"work up": func(*rapid.T) { d.did(d.WorkUp(ctx, d.meta(), ledger.WorkUp{Lot: lot(), Recovered: d.weighing()})) },
		"remove": func(*rapid.T) {
			d.did(d.Remove(ctx, d.meta(), ledger.RemoveLot{Lot: lot(), How: "sold", Mass: d.grams("sold")}))
		},
		"stocktake": func(*rapid.T) {
			d.did(d.TakeStock(ctx, d.meta(), ledger.TakeStock{Lines: []ledger.CountLine{{Lot: lot(), Weighing: d.weighing()}}}))
		},
		"settle": func(*rapid.T) { d.did(d.Settle(ctx, d.meta(), heat())) },
		"reverse": func(*rapid.T) {
			head, err := d.HeadOf(ctx)
			if err != nil {
				d.r.Fatal(err)
			}
			d.did(d.Reverse(ctx, d.meta(), ledger.ReverseEntry{Entry: rapid.Int64Range(9, head.Seq).Draw(d.r, "entry")}))
		},
	}
}

// TestAnyDayAddsUp: whatever happens in whatever order, the book verifies, every
// heat's metal in equals its metal out, and every alloy's flow adds up.
func TestAnyDayAddsUp(t *testing.T) {
	bought := 0
	rapid.Check(t, func(r *rapid.T) {
		d := &day{Shop: ledgertest.Open(t), r: r, molds: map[string][]string{}}
		start := d.Now
		d.Do(d.SetParty(ctx, ledger.Meta{}, ledger.Party{ID: "calder", Name: "Calder Ingot", Roles: []string{ledger.RoleSupplier}}))
		d.Do(d.SetCosting(ctx, ledger.Meta{}, ledger.Costing{From: start.AddDate(-1, 0, 0), Method: rapid.SampledFrom(ledger.CostMethods).Draw(r, "method"),
			Normal: []ledger.AlloyShare{rapid.SampledFrom([]ledger.AlloyShare{{Alloy: "C87300", PPM: 10_000}, {Alloy: "C87300", Learned: true}}).Draw(r, "normal loss")}}))
		d.actions()["receive"](r)
		d.actions()["plan"](r)
		r.Repeat(d.do())
		v, err := ledger.Verify(ctx, d.Store, d.Book.Shop, nil)
		if err != nil || v.Fault != nil {
			r.Fatalf("verify: %+v %v", v.Fault, err)
		}
		kept, err := d.Stock(ctx, shop.AsOf{}, "")
		if err != nil {
			r.Fatal(err)
		}
		folded, err := d.Stock(ctx, shop.AsOf{Recorded: d.Now.AddDate(100, 0, 0)}, "")
		if err != nil {
			r.Fatal(err)
		}
		if diff := cmp.Diff(kept.Positions, folded.Positions); diff != "" {
			r.Fatalf("the kept position differs from the log folded again: %s", diff)
		}
		heats, err := ledger.List[ledger.Heat](ctx, d.Book, ledger.RecHeat, "", "", 0)
		if err != nil {
			r.Fatal(err)
		}
		for _, h := range heats {
			b, err := d.Balance(ctx, h.Value.ID, shop.AsOf{})
			if err != nil {
				r.Fatal(err)
			}
			if b.In() != b.Out() {
				r.Fatalf("heat %s: in %d, out %d: %+v\n%s", h.Value.ID, b.In(), b.Out(), b.Terms, d.story("heat/"+h.Value.ID))
			}
		}
		d.cast(heats)
		d.traced()
		d.commissions(start)
		bought += d.buying()
		d.money(start)
		p, err := d.Period(ctx, shop.PeriodQuery{From: start.Add(40 * time.Hour), To: start.AddDate(5, 0, 0)})
		if err != nil {
			r.Fatal(err)
		}
		for _, f := range p.Flows {
			if in := f.Opening + f.HereAlready + f.Received + f.Customers + f.Additives + f.Counted + f.FromOtherAlloys; in != f.Left+f.Lost+f.Closing {
				r.Fatalf("flow of %s: in %d, out %d: %+v", f.Alloy, in, f.Left+f.Lost+f.Closing, f)
			}
		}
	})
	if bought == 0 {
		t.Error("nothing was ever advised to be bought by an offer")
	}
}

func (d *day) castingOf(id string) ledger.Casting {
	v, err := ledger.Get[ledger.Casting](ctx, d.Book, ledger.RecCasting, id)
	if err != nil {
		d.r.Fatal(err)
	}
	return v.Value
}

// cast checks that what a heat's balance says of its castings is what they hold, here or
// shipped, and that cost has lost what the balance has, less what was ground off castings,
// which bear it, and takes none for broken up that was not.
func (d *day) cast(heats []ledger.Stamped[ledger.Heat]) {
	kinds, held, ground := map[int64]ledger.Kind{}, map[string]ledger.Mass{}, map[string]ledger.Mass{}
	for _, e := range d.log() {
		kinds[e.Seq] = e.Kind
		kind := e.Kind
		if e.Reverses != 0 {
			kind = kinds[e.Reverses]
		}
		shipped := ""
		for _, p := range e.Postings {
			switch p.Account.Kind() {
			case ledger.OfCasting:
				shipped = d.castingOf(p.Account.Ref()).Heat
				held[shipped] += p.Mass
			case ledger.Left:
				if kind == ledger.KindShipCasting {
					held[shipped] += p.Mass
				}
			case ledger.Kerf:
				if kind == ledger.KindWeighCasting || kind == ledger.KindBreakUp {
					ground[p.Account.Ref()] += p.Mass
				}
			}
		}
	}
	c, err := d.Costs(ctx, shop.AsOf{})
	if err != nil {
		d.r.Fatal(err)
	}
	for _, h := range heats {
		id := h.Value.ID
		b, err := d.Balance(ctx, id, shop.AsOf{})
		if err != nil {
			d.r.Fatal(err)
		}
		if b.Castings != held[id] {
			d.r.Fatalf("heat %s has castings of %d by its balance, they hold %d\n%s", id, b.Castings, held[id], d.story("heat/"+id))
		}
		of := c.Heat(id)
		if gone := b.Gone() - ground[id]; of.Lost != int64(gone) {
			d.r.Fatalf("heat %s lost %d by cost, %d by its balance\n%s", id, of.Lost, gone, d.story("heat/"+id))
		}
		for _, k := range of.Castings {
			if was := d.castingOf(k.ID).Gone; k.Gone == "broken up" && was != k.Gone {
				d.r.Fatalf("casting %s is %q by cost, and %q", k.ID, k.Gone, was)
			}
		}
	}
}

// traced checks that the lineage has in every account what the book has.
func (d *day) traced() {
	if fault := notTraced(d.Shop, d.log()); fault != "" {
		d.r.Fatal(fault)
	}
}

// money checks that all the cost is somewhere, lies on the metal that is here, and that
// the lines of two periods in a row, the first one closed, sum.
func (d *day) money(start time.Time) {
	c, err := d.Costs(ctx, shop.AsOf{})
	if err != nil {
		d.r.Fatal(err)
	}
	moneyAdds(d.r, c)
	if spent := d.spent(); c.Where().In != spent {
		d.r.Fatalf("%d came in by cost, %d by the entries", c.Where().In, spent)
	}
	mass := map[string]int64{}
	held, err := d.lotMass()
	if err != nil {
		d.r.Fatal(err)
	}
	for _, p := range c.Stock() {
		mass[p.Pool] += p.Mass
		if _, lots := held[p.Pool]; lots && (p.Free < 0 || p.Free > p.Mass) {
			d.r.Fatalf("of %d of %s %d came without a price", p.Mass, p.Pool, p.Free)
		}
	}
	for alloy, m := range held {
		if mass[alloy] != int64(m) {
			d.r.Fatalf("%s holds %d by cost, %d by the book", alloy, mass[alloy], m)
		}
	}
	middle := start.Add(d.Now.Sub(start) / 2)
	if !middle.After(start) {
		return
	}
	first, err := d.CostStatement(ctx, start.AddDate(-1, 0, 0), middle)
	if err != nil {
		d.r.Fatal(err)
	}
	statementSums(d.r, first)
	d.did(d.CloseMonth(ctx, ledger.Meta{}, start.AddDate(-1, 0, 0), middle))
	d.did(d.Receive(ctx, ledger.Meta{Happened: start, Reason: "what it cost"}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(1_000), Price: "9.99 USD"}))
	second, err := d.CostStatement(ctx, middle, d.Now.AddDate(0, 0, 1))
	if err != nil {
		d.r.Fatal(err)
	}
	statementSums(d.r, second)
	if first.Closing == second.Opening {
		d.r.Fatalf("a delivery dated back changed nothing: %+v", second.Figures())
	}
}

// log is all entries.
func (d *day) log() (all []*ledger.Entry) {
	for after := int64(0); ; after = all[len(all)-1].Seq {
		es, err := d.Entries(ctx, after, 0)
		if err != nil {
			d.r.Fatal(err)
		}
		if len(es) == 0 {
			return all
		}
		all = append(all, es...)
	}
}

// spent is the money of all entries, those that take others back with it.
func (d *day) spent() (sum int64) {
	for _, e := range d.log() {
		for _, c := range e.Costs {
			sum += c.Minor
		}
	}
	return sum
}

// lotMass is what the shop's own lots hold, by alloy.
func (d *day) lotMass() (map[string]ledger.Mass, error) {
	out := map[string]ledger.Mass{}
	err := d.Store.View(ctx, d.Book.Shop, func(r ledger.Reader) error {
		held, err := r.Holdings(ledger.OfLot, ledger.RecLot, "", 100_000)
		for _, h := range held {
			var l ledger.Lot
			if err := h.Record.Into(&l); err != nil {
				return err
			}
			if l.Owner == "" {
				out[l.Alloy] += h.Mass
			}
		}
		return err
	})
	return out, err
}

func (d *day) story(subject string) (s string) {
	es, _ := d.History(ctx, subject, 0, 0)
	for _, e := range es {
		s += fmt.Sprintf("%d %s %v\n", e.Seq, e.Kind, e.Postings)
	}
	return s
}
