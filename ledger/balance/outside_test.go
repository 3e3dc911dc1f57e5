package balance

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// readExample reads an outside check value into v. Each file names its source.
func readExample(t *testing.T, name string, v any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "examples", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// fromRows builds a network from constraint rows in - out = 0: once with the rows as
// constraints, once as a graph.
func fromRows(rows [][]float64, streams []Stream) map[string]*Network {
	plain, graph := &Network{}, &Network{}
	for i, s := range streams {
		s.ID = fmt.Sprint(i + 1)
		plain.Streams = append(plain.Streams, s)
		for r, row := range rows {
			switch row[i] {
			case 1:
				s.To = fmt.Sprint("node ", r)
			case -1:
				s.From = fmt.Sprint("node ", r)
			}
		}
		graph.Streams = append(graph.Streams, s)
	}
	for r, row := range rows {
		c := Constraint{ID: fmt.Sprint("row ", r)}
		for i, v := range row {
			c.Terms = append(c.Terms, Term{fmt.Sprint(i + 1), v})
		}
		plain.Constraints = append(plain.Constraints, c)
	}
	return map[string]*Network{"rows": plain, "graph": graph}
}

type reconcileCase struct {
	Inputs struct {
		Measured       []float64
		Std            []float64   `json:"std_dev"`
		ConstraintRows [][]float64 `json:"constraint_rows"`
	}
	Expected struct {
		Reconciled   []float64
		Adjustment   []float64
		SD           []float64          `json:"reconciled_std_dev"`
		Cov          map[string]float64 `json:"cov_upper_triangle_entries"`
		Unobservable []int
		Redundant    []int
	}
	Tolerance map[string]any
}

func (c reconcileCase) tol(name string) float64 { return c.Tolerance[name].(float64) }

// Source: Basic Concepts in Data Reconciliation (NCSU / University of Ottawa teaching
// module, 2003), chapters 2 and 3, cooling-water network; read in print in a public
// university course copy.
func TestCoolingNetwork(t *testing.T) {
	var c reconcileCase
	readExample(t, "a01-reconcile-network-all-measured", &c)
	var streams []Stream
	for i, y := range c.Inputs.Measured {
		streams = append(streams, Stream{Value: y, U: c.Inputs.Std[i]})
	}
	for name, n := range fromRows(c.Inputs.ConstraintRows, streams) {
		t.Run(name, func(t *testing.T) {
			res, err := Reconcile(n, Options{})
			if err != nil {
				t.Fatal(err)
			}
			for i, s := range res.Streams {
				if s.Status != Redundant {
					t.Errorf("stream %s is %v, want redundant", s.ID, s.Status)
				}
				check(t, "reconciled "+s.ID, s.Adjusted, c.Expected.Reconciled[i], c.tol("reconciled"))
				check(t, "adjustment "+s.ID, s.Adjusted-s.Measured, c.Expected.Adjustment[i], c.tol("adjustment"))
				check(t, "standard deviation "+s.ID, s.SD, c.Expected.SD[i], c.tol("reconciled_std_dev"))
			}
			cov, err := res.Adjusted.Covariance("1", "2", "3")
			if err != nil {
				t.Fatal(err)
			}
			if len(c.Expected.Cov) != 6 {
				t.Fatalf("%d covariances in the file, want 6", len(c.Expected.Cov))
			}
			for key, want := range c.Expected.Cov {
				check(t, "covariance "+key, cov.At(int(key[0]-'1'), int(key[1]-'1')), want, c.tol("cov"))
			}
		})
	}
}

// Source: the same module; classification only.
func TestObservability(t *testing.T) {
	var values, c reconcileCase
	readExample(t, "a01-reconcile-network-all-measured", &values)
	var raw struct {
		Inputs struct {
			Measured       []int
			Unmeasured     []int
			ConstraintRows [][]float64 `json:"constraint_rows"`
		}
	}
	readExample(t, "a03-observability-classification", &raw)
	readExample(t, "a03-observability-classification", &c)
	streams := make([]Stream, len(raw.Inputs.Measured)+len(raw.Inputs.Unmeasured))
	for _, k := range raw.Inputs.Measured {
		streams[k-1] = Stream{Value: values.Inputs.Measured[k-1], U: values.Inputs.Std[k-1]}
	}
	for _, k := range raw.Inputs.Unmeasured {
		streams[k-1].Given = Unmeasured
	}
	want := make([]Status, len(streams))
	for _, k := range c.Expected.Unobservable {
		want[k-1] = Unobservable
	}
	for _, k := range c.Expected.Redundant {
		want[k-1] = Redundant
	}
	for name, n := range fromRows(raw.Inputs.ConstraintRows, streams) {
		t.Run(name, func(t *testing.T) {
			res, err := Reconcile(n, Options{})
			if err != nil {
				t.Fatal(err)
			}
			for i, s := range res.Streams {
				if s.Status != want[i] {
					t.Errorf("stream %s is %v, want %v", s.ID, s.Status, want[i])
				}
			}
			// Streams 2 and 3 are not fixed one by one, but together they are stream 1.
			sum, sd, err := res.Adjusted.Combine(Term{"2", 1}, Term{"3", 1})
			if err != nil {
				t.Fatal(err)
			}
			check(t, "2 + 3", sum, res.Adjusted.Values[0], 1e-9)
			check(t, "sd of 2 + 3", sd, res.Adjusted.SD[0], 1e-9)
			if _, _, err := res.Adjusted.Combine(Term{"2", 1}); !errors.Is(err, ErrInvalid) {
				t.Errorf("an unobservable stream was combined: %v", err)
			}
		})
	}
}

// Source: Narasimhan and Jordache, Data Reconciliation and Gross Error Detection
// (2000), chapter 1. The figures are from memory, not read in print.
func TestExchangerWithBypass(t *testing.T) {
	var c reconcileCase
	readExample(t, "a04-reconcile-exchanger-bypass", &c)
	var streams []Stream
	for i, y := range c.Inputs.Measured {
		streams = append(streams, Stream{Value: y, U: c.Inputs.Std[i]})
	}
	for name, n := range fromRows(c.Inputs.ConstraintRows, streams) {
		t.Run(name, func(t *testing.T) {
			res, err := Reconcile(n, Options{})
			if err != nil {
				t.Fatal(err)
			}
			for i, s := range res.Streams {
				check(t, "reconciled "+s.ID, s.Adjusted, c.Expected.Reconciled[i], c.tol("all"))
			}
		})
	}
}

// Source: EURACHEM/CITAC Guide QUAM, example A1, read in print.
func TestQUAMCadmiumStandard(t *testing.T) {
	var c struct {
		Inputs struct {
			P  float64
			UP float64 `json:"u_P"`
			M  float64 `json:"m_mg"`
			UM float64 `json:"u_m_mg"`
			V  float64 `json:"V_mL"`
			UV float64 `json:"u_V_mL"`
		}
		Expected struct {
			C        float64 `json:"c_mg_per_L"`
			U        float64 `json:"u_c_mg_per_L"`
			Relative float64
		}
		Tolerance struct{ C, U, Relative float64 }
	}
	readExample(t, "b01-quam-a1-cadmium-standard", &c)
	in := c.Inputs
	b, err := Evaluate(func(x []float64) float64 { return 1000 * x[1] * x[0] / x[2] }, []Contribution{
		{Name: "purity", Value: in.P, U: in.UP},
		{Name: "mass", Value: in.M, U: in.UM},
		{Name: "volume", Value: in.V, U: in.UV},
	})
	if err != nil {
		t.Fatal(err)
	}
	check(t, "concentration", b.Value, c.Expected.C, c.Tolerance.C)
	check(t, "uncertainty", b.U, c.Expected.U, c.Tolerance.U)
	check(t, "relative", b.U/b.Value, c.Expected.Relative, c.Tolerance.Relative)
	// The guide says how the purity's uncertainty comes about: ±0.0001, rectangular.
	check(t, "purity", Uniform(0.0001), in.UP, 5e-7)
	if !math.IsInf(b.Dof, 1) {
		t.Errorf("degrees of freedom %v, want infinitely many", b.Dof)
	}
}

// Source: JCGM 100:2008 (GUM) annex H.1. The figures of the file are from memory; the
// estimate, 32 nm, 16 degrees of freedom, 2.92 and 93 nm were since seen reprinted in
// several public reproductions of the annex, not in the annex itself.
func TestGUMEndGauge(t *testing.T) {
	var c struct {
		Inputs struct {
			Nm  map[string]float64 `json:"components_nm"`
			Dof map[string]float64
		}
		Expected struct {
			UC   float64 `json:"uc_nm"`
			Nu   float64 `json:"nu_eff"`
			Used float64 `json:"nu_used"`
			K    float64
			U99  float64 `json:"U99_nm"`
			L    float64 `json:"l_mm"`
		}
		Tolerance struct {
			UC float64 `json:"uc"`
			Nu float64 `json:"nu_eff"`
			K  float64
			U  float64
		}
	}
	readExample(t, "b03-gum-h1-end-gauge", &c)
	against := func(t *testing.T, b Budget) {
		t.Helper()
		check(t, "uc", b.U, c.Expected.UC, c.Tolerance.UC)
		check(t, "effective degrees of freedom", b.Dof, c.Expected.Nu, c.Tolerance.Nu)
		if math.Floor(b.Dof) != c.Expected.Used {
			t.Errorf("degrees of freedom used %v, want %v", math.Floor(b.Dof), c.Expected.Used)
		}
		half, k := b.Expanded(0.99)
		check(t, "k", k, c.Expected.K, c.Tolerance.K)
		check(t, "U99", half, c.Expected.U99, c.Tolerance.U)
	}
	t.Run("components", func(t *testing.T) {
		var lines []Contribution
		for _, name := range []string{"ls", "d", "dalpha", "dtheta"} {
			lines = append(lines, Contribution{Name: name, U: c.Inputs.Nm[name], Dof: c.Inputs.Dof[name], Sensitivity: 1})
		}
		against(t, Combine(0, lines))
	})
	// The whole model, inputs of table H.1 in nanometres and degrees, from memory:
	// l = ls + d - ls (δα θ + αs δθ).
	t.Run("model", func(t *testing.T) {
		f := func(x []float64) float64 { return x[0] + x[1] - x[0]*(x[2]*x[3]+x[4]*x[5]) }
		in := []Contribution{
			{Name: "ls", Value: 50_000_623, U: 25, Dof: 18},
			{Name: "d", Value: 215, U: 9.7, Dof: 25.6},
			{Name: "dalpha", Value: 0, U: 0.58e-6, Dof: 50},
			{Name: "theta", Value: -0.1, U: 0.41},
			{Name: "alphas", Value: 11.5e-6, U: 1.2e-6},
			{Name: "dtheta", Value: 0, U: 0.029, Dof: 2},
		}
		b, err := Evaluate(f, in)
		if err != nil {
			t.Fatal(err)
		}
		against(t, b)
		check(t, "length in mm", b.Value/1e6, c.Expected.L, 5e-7)
		check(t, "dalpha's part", b.Lines[2].Size(), c.Inputs.Nm["dalpha"], 0.05)
		check(t, "dtheta's part", b.Lines[5].Size(), c.Inputs.Nm["dtheta"], 0.1)
		// H.1.7: terms of second order 11.7 nm and 1.7 nm, together 34 nm.
		second := SecondOrder(f, in)
		check(t, "second order", math.Sqrt(second), math.Hypot(11.7, 1.7), 0.3)
		check(t, "with second order", math.Sqrt(b.U*b.U+second), 34, 0.5)
	})
}

func check(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.6g, want %.6g ± %.2g", what, got, want, tol)
	}
}
