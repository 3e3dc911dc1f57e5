package program

import (
	"context"
	"encoding/json"
	"math"
	"math/big"
	"os"
	"sort"
	"testing"
)

// example reads a published case and what it says about its source.
func example(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile("../../../testdata/examples/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, what string, got *big.Rat, want, tol float64) {
	t.Helper()
	f, _ := got.Float64()
	if math.Abs(f-want) > tol {
		t.Errorf("%s = %.15g, published %.15g (±%g)", what, f, want, tol)
	}
}

// Model PLAN of the GLPK Reference Manual: 2 000 lb of aluminium-silicon alloy
// from five scrap bins, aluminium and silicon, with its duals.
func TestAlloyScrapBlend(t *testing.T) {
	var c struct {
		Inputs struct {
			Variables []string
			Cost      []float64
			Rows      []struct {
				Name, Type string
				RHS        float64
				Coef       []float64
			}
			Lower, Upper []*float64
		}
		Expected struct {
			Cost     float64
			X, Duals map[string]float64
			Reduced  map[string]float64 `json:"reduced_cost"`
			Activity map[string]float64
		}
		Tolerance struct{ Cost, X, Duals float64 }
	}
	example(t, "g01-lp-alloy-scrap-blend", &c)
	p := &Problem{}
	opt := func(f *float64) *big.Rat {
		if f == nil {
			return nil
		}
		return Decimal(*f)
	}
	for j, name := range c.Inputs.Variables {
		p.AddCol(Col{Name: name, Cost: Decimal(c.Inputs.Cost[j]), Lo: opt(c.Inputs.Lower[j]), Hi: opt(c.Inputs.Upper[j])})
	}
	row := map[string]int{}
	for _, r := range c.Inputs.Rows {
		out := Row{Name: r.Name}
		if r.Type != "L" {
			out.Lo = Decimal(r.RHS)
		}
		if r.Type != "G" {
			out.Hi = Decimal(r.RHS)
		}
		for j, v := range r.Coef {
			out.Terms = append(out.Terms, Term{j, Decimal(v)})
		}
		row[r.Name] = p.AddRow(out)
	}
	got, err := Solve(context.Background(), p, Options{})
	if err != nil || got.Status != Optimal {
		t.Fatal(got, err)
	}
	near(t, "cost", got.Objective, c.Expected.Cost, c.Tolerance.Cost)
	for j, name := range c.Inputs.Variables {
		near(t, name, got.X[j], c.Expected.X[name], c.Tolerance.X)
		near(t, "reduced cost of "+name, got.Reduced[j], c.Expected.Reduced[name], c.Tolerance.Duals)
	}
	// The source has silicon as one range row with one dual, and prints only the
	// duals that are not zero.
	rename := map[string]string{"yield": "yield_", "si1": "si_min"}
	for name, i := range row {
		key := name
		if r, ok := rename[name]; ok {
			key = r
		}
		near(t, "dual of "+name, got.Duals[i], c.Expected.Duals[key], c.Tolerance.Duals)
	}
	for name, v := range c.Expected.Activity {
		near(t, "activity of "+name, p.Activity(row[name], got.X), v, c.Tolerance.X)
	}
}

// mpsCase is the form of the cases that come from MPS files.
type mpsCase struct {
	Inputs struct {
		Row  string `json:"objective_row"`
		Rows map[string]struct {
			Type string
			RHS  float64
		}
		Columns map[string]map[string]float64
		Upper   map[string]float64 `json:"upper_bounds"`
		Lower   map[string]float64 `json:"lower_bounds"`
	}
	Expected  struct{ Optimum float64 }
	Tolerance struct{ Rel, Abs float64 }
}

func (c *mpsCase) problem() *Problem {
	p := &Problem{}
	at := map[string]int{}
	for _, name := range keys(c.Inputs.Rows) {
		r := c.Inputs.Rows[name]
		out := Row{Name: name}
		if r.Type != "L" {
			out.Lo = Decimal(r.RHS)
		}
		if r.Type != "G" {
			out.Hi = Decimal(r.RHS)
		}
		at[name] = p.AddRow(out)
	}
	for _, name := range keys(c.Inputs.Columns) {
		col := Col{Name: name, Lo: Int(0)}
		if v, ok := c.Inputs.Lower[name]; ok {
			col.Lo = Decimal(v)
		}
		if v, ok := c.Inputs.Upper[name]; ok {
			col.Hi = Decimal(v)
		}
		j := p.AddCol(col)
		for _, r := range keys(c.Inputs.Columns[name]) {
			v := Decimal(c.Inputs.Columns[name][r])
			if r == c.Inputs.Row {
				p.Cols[j].Cost = v
			} else {
				p.Rows[at[r]].Terms = append(p.Rows[at[r]].Terms, Term{j, v})
			}
		}
	}
	return p
}

func keys[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// Netlib AFIRO (optimum in lp/data/readme), and the two-product blend of the
// HiGHS test instances.
func TestPublishedOptima(t *testing.T) {
	for _, name := range []string{"g04-lp-netlib-afiro", "g05-lp-two-product-blend"} {
		var c mpsCase
		example(t, name, &c)
		got, err := Solve(context.Background(), c.problem(), Options{})
		if err != nil || got.Status != Optimal {
			t.Fatal(name, got, err)
		}
		near(t, name, got.Objective, c.Expected.Optimum, max(c.Tolerance.Abs, c.Tolerance.Rel*math.Abs(c.Expected.Optimum)))
		t.Logf("%s: %v after %d pivots, exact simplex needed: %d", name, got.Objective, got.Pivots, got.Exact)
	}
}
