package reorder_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"example.org/remelt/ledger/reorder"
)

// example reads a published worked example; its source is named in the file.
func example(t *testing.T, name string, inputs, expected any) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "examples", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Inputs, Expected json.RawMessage }
	if err := json.Unmarshal(raw, &file); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(file.Inputs, inputs); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(file.Expected, expected); err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %v, want %v ± %v", what, got, want, within)
	}
}

func normal(t *testing.T, d reorder.Spread, service float64) (z, safety, point float64) {
	t.Helper()
	z, safety, point, err := reorder.NormalPoint(d, service)
	if err != nil {
		t.Fatal(err)
	}
	return z, safety, point
}

// Stevenson, Operations Management 14e, ch. 12, example 8. The book's z is 1.88.
func TestGivenLeadTimeDemand(t *testing.T) {
	var in struct {
		Mean float64 `json:"mean_lt_demand"`
		SD   float64 `json:"sd_lt_demand"`
		Risk float64 `json:"stockout_risk"`
	}
	var want struct {
		Z, ROP float64
		Safety float64 `json:"safety_stock"`
	}
	example(t, "f01-rop-given-leadtime-demand", &in, &want)
	z, safety, point := normal(t, reorder.Spread{Mean: in.Mean, SD: in.SD}, 1-in.Risk)
	near(t, "z", z, want.Z, 0.02)
	near(t, "safety stock", safety, want.Safety, 0.02)
	near(t, "reorder point", point, want.ROP, 0.02)
}

// Taylor, Introduction to Management Science, ch. 16 (answers from memory; the book's z is 1.65).
func TestVariableDemand(t *testing.T) {
	var in struct {
		D, L, Service float64
		SD            float64 `json:"sd_d"`
	}
	var want struct {
		ROP    float64
		Safety float64 `json:"safety_stock"`
	}
	example(t, "f02-rop-variable-demand", &in, &want)
	_, safety, point := normal(t, reorder.LeadDemand(reorder.Spread{Mean: in.D, SD: in.SD}, reorder.Spread{Mean: in.L}), in.Service)
	near(t, "safety stock", safety, want.Safety, 0.15)
	near(t, "reorder point", point, want.ROP, 0.15)
}

// Textbook exercise (inputs read; the answer is arithmetic).
func TestVariableLeadTime(t *testing.T) {
	var in struct {
		D, L, Service float64
		SDD           float64 `json:"sd_d"`
		SDL           float64 `json:"sd_L"`
	}
	var want struct {
		SD float64 `json:"sd_lt_demand"`
	}
	example(t, "f04-rop-variable-leadtime", &in, &want)
	d := reorder.LeadDemand(reorder.Spread{Mean: in.D, SD: in.SDD}, reorder.Spread{Mean: in.L, SD: in.SDL})
	near(t, "standard deviation", d.SD, want.SD, 1e-9)
	_, safety, point := normal(t, d, in.Service)
	near(t, "safety stock", safety, 16.45, 0.01)
	near(t, "reorder point", point, 31.45, 0.01)
}

// Taylor, ch. 16 (order cost and answers from memory).
func TestEconomicLot(t *testing.T) {
	var in struct {
		D, Co, Cc, Days float64
		Rate            float64 `json:"production_rate"`
	}
	var want struct {
		EOQ  float64
		Cost float64 `json:"total_cost"`
		Made float64 `json:"production_q"`
	}
	example(t, "f06-eoq-and-production-lot", &in, &want)
	near(t, "lot", reorder.Lot(in.D, in.Co, in.Cc), want.EOQ, 0.1)
	near(t, "made lot", reorder.MadeLot(in.D, in.Co, in.Cc, 32.2, in.Rate), want.Made, 0.1) // the book rounds daily demand to 32.2
	// The same lot among all whole yards: at 7.50 a yard 10 % of it is the 0.75 of keeping.
	best, next, err := reorder.Cheapest(reorder.Offer{Pack: 1, Work: int64(100 * in.Co), Breaks: []reorder.Break{{From: 1, Price: reorder.Price{Minor: 750, Per: 1}}}},
		reorder.Wish{Yearly: in.D, Carry: in.Cc / 7.5})
	if err != nil {
		t.Fatal(err)
	}
	if best.Amount != int64(want.EOQ) || next != nil {
		t.Errorf("order %d, next break %v; want %v and none", best.Amount, next, want.EOQ)
	}
	near(t, "cost beside the goods", best.PerYear/100-7.5*in.D, want.Cost, 0.01)
}

// Two worked examples of all-units discounts: toy cars (Render and Stair, answers from memory) and
// five prices (inputs and answers read).
func TestQuantityDiscounts(t *testing.T) {
	for _, name := range []string{"f07-quantity-discount-toy-cars", "f08-quantity-discount-five-prices"} {
		t.Run(name, func(t *testing.T) {
			var in struct {
				Yearly, Order, Carry float64
				Breaks               []struct {
					From  int64
					Price float64
				}
			}
			var want struct {
				Quantity int64
				Cost     float64 `json:"total_cost"`
				At       []struct {
					Quantity int64
					Cost     float64
				}
			}
			example(t, name, &in, &want)
			o := reorder.Offer{Pack: 1, Work: int64(100 * in.Order)}
			for _, b := range in.Breaks {
				o.Breaks = append(o.Breaks, reorder.Break{From: b.From, Price: reorder.Price{Minor: int64(math.Round(100 * b.Price)), Per: 1}})
			}
			w := reorder.Wish{Yearly: in.Yearly, Carry: in.Carry}
			best, _, err := reorder.Cheapest(o, w)
			if err != nil {
				t.Fatal(err)
			}
			if best.Amount != want.Quantity {
				t.Errorf("order %d, want %d", best.Amount, want.Quantity)
			}
			near(t, "cost of a year", best.PerYear/100, want.Cost, 0.1)
			for _, at := range want.At {
				w.Need, w.Most = at.Quantity, at.Quantity
				c, _, err := reorder.Cheapest(o, w)
				if err != nil {
					t.Fatal(err)
				}
				near(t, "cost of a year", c.PerYear/100, at.Cost, 0.1)
			}
		})
	}
}
