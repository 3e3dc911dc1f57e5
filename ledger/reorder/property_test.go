package reorder_test

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"example.org/remelt/ledger/reorder"
)

func amountUpTo(most int64) *rapid.Generator[int64] { return rapid.Int64Range(0, most) }

func drawHistory(t *rapid.T) reorder.History {
	h := reorder.History{To: rapid.IntRange(20, 400).Draw(t, "days")}
	for range rapid.IntRange(0, 25).Draw(t, "uses") {
		known := rapid.IntRange(0, h.To-1).Draw(t, "known")
		h.Uses = append(h.Uses, reorder.Use{Known: known, Day: known + rapid.IntRange(0, 12).Draw(t, "notice"), Amount: rapid.Int64Range(1, 100_000).Draw(t, "amount")})
	}
	return h
}

func drawLeads(t *rapid.T) []int { return rapid.SliceOfN(rapid.IntRange(1, 60), 1, 4).Draw(t, "leads") }

// More service never means a lower point, and other units mean the same amount.
func TestPointProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h, leads := drawHistory(t), drawLeads(t)
		m := rapid.SampledFrom([]reorder.Method{reorder.Choose, reorder.Normal, reorder.Windows}).Draw(t, "method")
		lo, hi := rapid.Float64Range(0.5, 0.99).Draw(t, "service"), rapid.Float64Range(0.5, 0.99).Draw(t, "other")
		at := func(h reorder.History, s float64) reorder.Point {
			p, err := reorder.Reorder(h, leads, s, m)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
		a, b := at(h, min(lo, hi)), at(h, max(lo, hi))
		if a.Amount > b.Amount {
			t.Fatalf("point %d at %v and %d at %v", a.Amount, min(lo, hi), b.Amount, max(lo, hi))
		}
		grams := reorder.History{From: h.From, To: h.To}
		for _, u := range h.Uses {
			u.Amount *= 1000
			grams.Uses = append(grams.Uses, u)
		}
		if g := at(grams, lo); math.Abs(float64(g.Amount)-1000*float64(at(h, lo).Amount)) > 1001 {
			t.Fatalf("point %d and in another unit %d", at(h, lo).Amount, g.Amount)
		}
	})
}

// The enumeration finds what a brute force in exact fractions finds.
func TestCheapestAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := reorder.Offer{Pack: rapid.Int64Range(1, 30).Draw(t, "pack"), Freight: amountUpTo(5000).Draw(t, "freight"), Work: amountUpTo(3000).Draw(t, "work"),
			Least: amountUpTo(60).Draw(t, "least"), FreightPer: reorder.Price{Minor: amountUpTo(30).Draw(t, "freight_per"), Per: 7}}
		from, price := int64(0), rapid.Int64Range(500, 900).Draw(t, "price")
		for range rapid.IntRange(1, 4).Draw(t, "breaks") {
			o.Breaks = append(o.Breaks, reorder.Break{From: from, Price: reorder.Price{Minor: price, Per: 1}})
			from += rapid.Int64Range(1, 300).Draw(t, "from")
			price -= amountUpTo(60).Draw(t, "off")
		}
		w := reorder.Wish{Need: amountUpTo(400).Draw(t, "need"), Most: rapid.Int64Range(1, 900).Draw(t, "most"),
			Yearly: float64(rapid.Int64Range(0, 2000).Draw(t, "yearly")), Carry: float64(rapid.IntRange(0, 40).Draw(t, "carry")) / 128}
		got, next, err := reorder.Cheapest(o, w)
		if err != nil {
			t.Fatal(err)
		}
		if got.Amount < w.Need || got.Amount < o.Least || got.Amount != got.Packs*o.Pack || got.Packs < 1 {
			t.Fatalf("%+v does not meet %+v of %+v", got, w, o)
		}
		var least *big.Rat
		for n := int64(1); n*o.Pack <= max(w.Most, w.Need+o.Pack, o.Least+o.Pack); n++ {
			a := n * o.Pack
			smaller := a - o.Pack
			if a < w.Need || a < o.Least || a > w.Most && smaller >= max(w.Need, o.Least) && smaller > 0 {
				continue
			}
			unit := o.Breaks[0].Price.Minor
			for _, b := range o.Breaks {
				if a >= b.From {
					unit = b.Price.Minor
				}
			}
			freight, half := (a*o.FreightPer.Minor)/7, (a*o.FreightPer.Minor)%7
			if half >= 4 { // sevenths have no half
				freight++
			}
			c := big.NewRat(a*unit+freight+o.Freight+o.Work, 1)
			if w.Yearly > 0 {
				c.Mul(c, new(big.Rat).Mul(new(big.Rat).SetFloat64(w.Yearly), big.NewRat(1, a)))
				c.Add(c, new(big.Rat).Mul(new(big.Rat).SetFloat64(w.Carry), big.NewRat(a*unit, 2)))
			}
			if least == nil || c.Cmp(least) < 0 {
				least = c
			}
		}
		if want, _ := least.Float64(); math.Abs(got.PerYear-want) > 1e-9*want {
			t.Fatalf("%+v costs %v; %v is possible", got, got.PerYear, want)
		}
		if next != nil && next.Amount <= got.Amount {
			t.Fatalf("the next break %d is not beyond %d", next.Amount, got.Amount)
		}
	})
}

// Heats get what they need, never more returns than allowed, no metal is made, and no other
// way of dealing leaves less to be bought.
func TestNetProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var heats []reorder.Heat
		for range rapid.IntRange(0, 6).Draw(t, "heats") {
			g := amountUpTo(1000).Draw(t, "gross")
			day := rapid.IntRange(-3, 40).Draw(t, "day")
			heats = append(heats, reorder.Heat{ID: fmt.Sprint(len(heats)), Day: day, Gross: g, Most: amountUpTo(g).Draw(t, "most"),
				Back: amountUpTo(g).Draw(t, "back"), BackOn: day + rapid.IntRange(0, 20).Draw(t, "lag")})
		}
		arrivals := func(name string) (out []reorder.Arrival) {
			for range rapid.IntRange(0, 3).Draw(t, name) {
				out = append(out, reorder.Arrival{Day: rapid.IntRange(0, 50).Draw(t, "day"), Amount: amountUpTo(800).Draw(t, "amount")})
			}
			return out
		}
		m := reorder.Metal{New: amountUpTo(1500).Draw(t, "new"), Returns: amountUpTo(1500).Draw(t, "returns"), NewComing: arrivals("coming"), BackAgain: arrivals("back")}
		n, err := reorder.Net(heats, m)
		if err != nil {
			t.Fatal(err)
		}
		in, short := m.New+m.Returns, int64(0)
		for _, a := range append(append([]reorder.Arrival{}, m.NewComing...), m.BackAgain...) {
			in += a.Amount
		}
		for i, l := range n.Lines {
			if l.Returns+l.New+l.Short != l.Gross || l.Returns < 0 || l.New < 0 || l.Short < 0 {
				t.Fatalf("line %+v", l)
			}
			in -= l.Returns + l.New
			short += l.Short
			if i > 0 && n.Lines[i-1].Day > l.Day {
				t.Fatal("not by day")
			}
		}
		for _, h := range heats {
			in += h.Back
		}
		if in < n.New+n.Returns || short != n.Short {
			t.Fatalf("%d left in all and %d on the shelf; short %d and %d", in, n.New+n.Returns, short, n.Short)
		}
		allowed := int64(0)
		for _, h := range heats {
			allowed += h.Most
		}
		used, most := map[string]int64{}, map[string]int64{}
		for _, l := range n.Lines {
			used[l.Heat] = l.Returns
		}
		for _, h := range heats {
			most[h.ID] = h.Most
		}
		for id, v := range used {
			if v > most[id] {
				t.Fatalf("heat %s takes %d of returns, %d allowed", id, v, most[id])
			}
		}
		// More returns on the shelf never mean more to buy, and never less than the cap leaves.
		more := m
		more.Returns += 100_000
		full, err := reorder.Net(heats, more)
		if err != nil {
			t.Fatal(err)
		}
		gross := int64(0)
		for _, h := range heats {
			gross += h.Gross
		}
		fresh := m.New
		for _, a := range m.NewComing {
			fresh += a.Amount
		}
		if full.Short > n.Short || full.Short < gross-allowed-fresh {
			t.Fatalf("with a full shelf %d to buy, %d without; at least %d by the cap", full.Short, n.Short, gross-allowed-fresh)
		}
	})
}

// A shelf full of returns, and ingot is wanted all the same.
func TestFullShelfStillBuys(t *testing.T) {
	n, err := reorder.Net([]reorder.Heat{{ID: "7", Day: 3, Gross: 100, Most: 60}}, reorder.Metal{New: 10, Returns: 500})
	if err != nil {
		t.Fatal(err)
	}
	if want := (reorder.NetLine{Heat: "7", Day: 3, Gross: 100, Returns: 60, New: 10, Short: 30}); n.Lines[0] != want || n.Short != 30 || n.By != 3 || n.Capped != 30 || n.Returns != 440 {
		t.Errorf("%+v", n)
	}
}

// A lumpy demand of ten years, known only when it is there: by the shop's own history the
// stated share of delivery times is kept, by the normal curve it is not. The share is that
// of the continuous rule, so both are simulated, with a fixed seed.
func TestReplayKeepsWhatIsStated(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	h := reorder.History{To: 3650}
	for day := range h.To {
		if rng.Float64() < 1./18 {
			h.Uses = append(h.Uses, reorder.Use{Known: day, Day: day, Amount: 20_000 + rng.Int64N(50_000)})
		}
	}
	for _, service := range []float64{0.8, 0.9, 0.95} {
		p := reorder.Past{History: h, Start: 730, Leads: []int{7, 10, 21}, Service: service, Method: reorder.Windows, Pack: 10_000, Lot: 60_000}
		own, err := reorder.Replay(p)
		if err != nil {
			t.Fatal(err)
		}
		p.Method = reorder.Normal
		normal, err := reorder.Replay(p)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%.0f %%: own history kept %.1f %% of %d cycles with %d here on the average, normal curve %.1f %% of %d with %d",
			100*service, 100*own.Share(), own.Cycles, own.AverageStock, 100*normal.Share(), normal.Cycles, normal.AverageStock)
		if low, high := own.Interval(0.99); service < low || service > high {
			t.Errorf("stated %v, kept %v of %d cycles (%v to %v)", service, own.Share(), own.Cycles, low, high)
		}
		if normal.Share() >= own.Share() {
			t.Errorf("the normal curve kept %v, the own history %v", normal.Share(), own.Share())
		}
	}
}

// Clopper and Pearson for 8 of 10 at 95 %: 0.444 to 0.975 (tables; from memory).
func TestInterval(t *testing.T) {
	low, high := reorder.Replayed{Cycles: 10, Kept: 8}.Interval(0.95)
	near(t, "low", low, 0.444, 0.001)
	near(t, "high", high, 0.975, 0.001)
}

// Without chance the curve is arithmetic.
func TestProjectWithoutChance(t *testing.T) {
	days, err := reorder.Project(reorder.Outlook{Here: 50, Coming: []reorder.Arrival{{Day: 4, Amount: 30}}, Named: []reorder.Arrival{{Day: 2, Amount: 60}},
		Past: reorder.History{To: 10}, Leads: []int{9}, Days: 6, Level: 0.8})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []int64{50, 50, -10, -10, 20, 20} {
		d := days[i]
		if d.Day != i || d.Low != want || d.Middle != want || d.High != want || (d.Out == 1) != (want < 0) {
			t.Errorf("day %d: %+v, want %d", i, d, want)
		}
	}
}

// The interval holds the usual share of what a like past goes on to do.
func TestProjectWidens(t *testing.T) {
	h := reorder.History{To: 300}
	for d := 5; d < 300; d += 20 {
		h.Uses = append(h.Uses, reorder.Use{Known: d, Day: d, Amount: 100})
	}
	days, err := reorder.Project(reorder.Outlook{Here: 1000, Past: h, Leads: []int{5}, Days: 61, Level: 0.8})
	if err != nil {
		t.Fatal(err)
	}
	if d := days[60]; d.Middle != 700 || d.Low < 600 || d.High > 800 {
		t.Errorf("after three periods %+v", d)
	}
	if days[10].Low != 900 || days[10].High != 1000 {
		t.Errorf("after half a period %+v", days[10])
	}
}

func TestRefused(t *testing.T) {
	h := reorder.History{To: 100}
	price := []reorder.Break{{Price: reorder.Price{Minor: 5, Per: 1}}}
	outlook := reorder.Outlook{Past: h, Leads: []int{1}, Days: 5, Level: 0.9}
	for field, do := range map[string]func() error{
		"service": func() error { _, err := reorder.Reorder(h, []int{1}, 1, reorder.Choose); return err },
		"leads":   func() error { _, err := reorder.Reorder(h, nil, 0.9, reorder.Choose); return err },
		"history": func() error { _, err := reorder.Reorder(reorder.History{}, []int{1}, 0.9, reorder.Choose); return err },
		"horizon": func() error { o := outlook; o.Days = -3; _, err := reorder.Project(o); return err },
		"level":   func() error { o := outlook; o.Level = 0; _, err := reorder.Project(o); return err },
		"pack": func() error {
			_, _, err := reorder.Cheapest(reorder.Offer{Breaks: price}, reorder.Wish{Need: 1})
			return err
		},
		"breaks": func() error { _, _, err := reorder.Cheapest(reorder.Offer{Pack: 1}, reorder.Wish{Need: 1}); return err },
		"breaks[1]": func() error {
			o := reorder.Offer{Pack: 1, Breaks: append(price[:1:1], reorder.Break{From: 10, Price: reorder.Price{Minor: 6, Per: 1}})}
			_, _, err := reorder.Cheapest(o, reorder.Wish{Need: 1})
			return err
		},
		"need": func() error {
			_, _, err := reorder.Cheapest(reorder.Offer{Pack: 1, Breaks: price}, reorder.Wish{Need: -1})
			return err
		},
		"heats[0].gross": func() error { _, err := reorder.Net([]reorder.Heat{{Gross: -1}}, reorder.Metal{}); return err },
		"heats[0].most":  func() error { _, err := reorder.Net([]reorder.Heat{{Gross: 9, Most: 10}}, reorder.Metal{}); return err },
		"start":          func() error { _, err := reorder.Replay(reorder.Past{History: h, Start: 100, Pack: 1}); return err },
	} {
		var f *reorder.FieldError
		if err := do(); !errors.As(err, &f) || f.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	for _, s := range []float64{0, 1, -0.1, math.NaN()} {
		if reorder.Service(s) == nil {
			t.Errorf("a service of %v is taken", s)
		}
	}
}

// Packs of a gram, of which a year takes millions, are no reason to say nothing: the
// answer costs what the economic quantity does, and a price break is met exactly.
func TestCheapestOfTinyPacks(t *testing.T) {
	const gram, kilogram = 1_000, 1_000_000
	o := reorder.Offer{Pack: gram, Work: 2500, Breaks: []reorder.Break{{Price: reorder.Price{Minor: 1000, Per: kilogram}}}}
	w := reorder.Wish{Need: gram, Yearly: 5000 * kilogram, Carry: 0.2}
	best, _, err := reorder.Cheapest(o, w)
	economic := reorder.Lot(5000, 2500, 0.2*1000) // kilograms: √(2·5000·25.00/2.00) = 353.6
	if err != nil || math.Abs(float64(best.Amount)/kilogram-economic) > 0.001*economic {
		t.Errorf("%d mg, not %.1f kg: %v", best.Amount, economic, err)
	}
	o.Breaks = []reorder.Break{{Price: reorder.Price{Minor: 1_000_000, Per: kilogram}}, {From: 1_234_620 * gram, Price: reorder.Price{Minor: 500_000, Per: kilogram}}}
	if best, _, err = reorder.Cheapest(o, w); err != nil || best.Amount != 1_234_620*gram {
		t.Errorf("%d mg, not at the break: %v", best.Amount, err)
	}
}
