package cost_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"example.org/remelt/ledger/cost"
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
	for _, p := range []struct {
		raw json.RawMessage
		to  any
	}{{file.Inputs, inputs}, {file.Expected, expected}} {
		if err := json.Unmarshal(p.raw, p.to); err != nil {
			t.Fatal(err)
		}
	}
}

// cents are the minor units of a printed amount.
func cents(amount float64) int64 { return int64(math.Round(amount * 100)) }

// Cost flows of a store in July: OpenStax, Principles of Accounting 1, section 10.2.
// The book rounds the average to 27.62 first, hence 2 dollars of tolerance; its last
// in, first out is not offered here (IAS 2).
func TestCostFlows(t *testing.T) {
	var in struct {
		Transactions []struct {
			Date, Type string
			Qty        int64
			UnitCost   float64 `json:"unit_cost"`
		}
		Specific []struct {
			Sale string
			From string `json:"from_lot"`
			Qty  int64
		} `json:"specific_identification"`
	}
	var want struct {
		Available float64 `json:"goods_available"`
		Specific  struct{ Cogs, Ending float64 }
		FIFO      struct{ Cogs, Ending float64 }
		Average   struct{ Cogs, Ending float64 } `json:"weighted_average"`
	}
	example(t, "c01-cost-flow-periodic", &in, &want)
	at := func(day string) time.Time {
		d, err := time.Parse("2006-01-02", "2026-"+day)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	for _, c := range []struct {
		method       cost.Method
		cogs, ending float64
		tolerance    int64
	}{
		{cost.ByLot, want.Specific.Cogs, want.Specific.Ending, 0},
		{cost.FirstIn, want.FIFO.Cogs, want.FIFO.Ending, 0},
		{cost.MonthAverage, want.Average.Cogs, want.Average.Ending, 200},
	} {
		var events []cost.Event
		shelf := func(id string) cost.Place { return cost.Place{Kind: cost.Lot, ID: id, Pool: "goods"} }
		for _, x := range in.Transactions {
			if x.Type == "sale" {
				continue
			}
			id := x.Date
			if x.Type == "opening" {
				id = "opening"
			}
			events = append(events, cost.Event{At: at(x.Date), From: cost.Place{Kind: cost.Outside}, To: shelf(id), Mass: x.Qty, Cost: x.Qty * cents(x.UnitCost), Priced: true})
		}
		for _, x := range in.Specific { // the same goods leave whatever the method; it says what they cost
			events = append(events, cost.Event{At: at(x.Sale), From: shelf(x.From), To: cost.Place{Kind: cost.Gone, ID: "sold"}, Mass: x.Qty})
		}
		f := cost.Follow(events, []cost.Policy{{Method: c.method}})
		if f.In != cents(want.Available) {
			t.Errorf("%s: %d bought, want %.2f", c.method, f.In, want.Available)
		}
		if d := f.Gone["sold"] - cents(c.cogs); d < -c.tolerance || d > c.tolerance {
			t.Errorf("%s: sold cost %d, printed %.2f", c.method, f.Gone["sold"], c.cogs)
		}
		if d := f.Where().Stock - cents(c.ending); d < -c.tolerance || d > c.tolerance {
			t.Errorf("%s: left cost %d, printed %.2f", c.method, f.Where().Stock, c.ending)
		}
	}
}

// A first stage without loss: OpenStax, Principles of Accounting 2, section 5.4.
func TestEquivalentUnits(t *testing.T) {
	for _, name := range []string{"d01-process-cost-first-stage", "d03-process-cost-paint"} {
		var in struct {
			Materials, Labour, Overhead float64
			Completed                   int64
			Ending                      int64    `json:"ending_units"`
			Conversion                  float64  `json:"ending_conv_pct"`
			Material                    *float64 `json:"ending_mat_pct"`
		}
		var want struct {
			EUMaterials    int64   `json:"eu_materials"`
			EUConversion   int64   `json:"eu_conversion"`
			UnitMaterials  float64 `json:"unit_materials"`
			UnitConversion float64 `json:"unit_conversion"`
			Out            float64 `json:"transferred_out"`
			Left           float64 `json:"ending_wip"`
			Total          float64 `json:"total_cost"`
		}
		example(t, name, &in, &want)
		done := int64(cost.Million)
		if in.Material != nil {
			done = int64(math.Round(*in.Material * cost.Million))
		}
		m, c := cost.Element{Cost: cents(in.Materials), Done: done}, cost.Element{Cost: cents(in.Labour + in.Overhead), Done: int64(math.Round(in.Conversion * cost.Million))}
		out, left, eu := cost.Stage{Finished: in.Completed, InProcess: in.Ending, Elements: []cost.Element{m, c}}.Value()
		if eu[0] != want.EUMaterials*cost.Million || eu[1] != want.EUConversion*cost.Million {
			t.Errorf("%s: equivalent units %v", name, eu)
		}
		if u := float64(m.Cost) / float64(want.EUMaterials) / 100; math.Abs(u-want.UnitMaterials) > 0.005 {
			t.Errorf("%s: materials %.4f a unit, printed %.2f", name, u, want.UnitMaterials)
		}
		if u := float64(c.Cost) / float64(want.EUConversion) / 100; math.Abs(u-want.UnitConversion) > 0.005 {
			t.Errorf("%s: conversion %.4f a unit, printed %.2f", name, u, want.UnitConversion)
		}
		if want.Out != 0 && (out != cents(want.Out) || left != cents(want.Left)) {
			t.Errorf("%s: %d out and %d left, printed %.2f and %.2f", name, out, left, want.Out, want.Left)
		}
		if want.Total != 0 && out+left != cents(want.Total) {
			t.Errorf("%s: %d and %d do not sum to %.2f", name, out, left, want.Total)
		}
	}
}

// Normal and abnormal loss in a heating process of 1000 kg: ACCA F2 study text,
// chapter 9 (pages in the files).
func TestNormalAndAbnormalLoss(t *testing.T) {
	for _, name := range []string{"d04-normal-abnormal-loss-none", "d05-normal-abnormal-loss-gain", "d06-normal-abnormal-loss-loss-scrap"} {
		var in struct {
			Input    int64   `json:"input_kg"`
			Material float64 `json:"material_cost"`
			Labour   float64
			Overhead float64
			Normal   float64 `json:"normal_loss_fraction_of_input"`
			Scrap    float64 `json:"scrap_value_per_kg"`
			Output   int64   `json:"output_kg"`
		}
		var want struct {
			Unit       float64
			Output     float64 `json:"output_value"`
			NormalLoss float64 `json:"normal_loss_value"`
			Abnormal   float64 `json:"abnormal_value"`
			Gain       int64   `json:"abnormal_gain_kg"`
			Loss       int64   `json:"abnormal_loss_kg"`
		}
		example(t, name, &in, &want)
		normal := int64(math.Round(in.Normal * float64(in.Input)))
		p := cost.Process{Cost: cents(in.Material + in.Labour + in.Overhead), Input: in.Input, Normal: normal, Scrap: cents(in.Scrap) * normal, Output: in.Output}
		o := p.Settle()
		abnormal := cents(want.Abnormal)
		if want.Gain > 0 {
			abnormal = -abnormal
		}
		if o.Good != cents(want.Output) || o.Scrap != cents(want.NormalLoss) || o.Abnormal != abnormal || o.Loss != want.Loss-want.Gain {
			t.Errorf("%s: %+v, printed %+v", name, o, want)
		}
		if o.Good+o.Abnormal+o.Scrap != p.Cost {
			t.Errorf("%s: %+v does not sum to %d", name, o, p.Cost)
		}
		if u := float64(o.Good) / float64(in.Output) / 100; math.Abs(u-want.Unit) > 0.005 {
			t.Errorf("%s: %.4f a kilogram, printed %.2f", name, u, want.Unit)
		}
	}
}

// Joint cost shared by sales value at split-off: cost allocation slides, chapter 16
// (named in the file).
func TestJointCost(t *testing.T) {
	var in struct {
		Joint   float64 `json:"joint_cost"`
		Outputs map[string][2]int64
	}
	var want map[string]json.RawMessage
	example(t, "d10-joint-cost-abc", &in, &want)
	names := []string{"A", "B", "C"}
	var weights []int64
	for _, n := range names {
		weights = append(weights, in.Outputs[n][0]*in.Outputs[n][1])
	}
	sum := int64(0)
	for i, c := range cost.Share(cents(in.Joint), weights) {
		var printed float64
		if err := json.Unmarshal(want[names[i]], &printed); err != nil {
			t.Fatal(err)
		}
		if math.Abs(float64(c)/100-printed) > 0.5 {
			t.Errorf("%s takes %.2f, printed %.2f", names[i], float64(c)/100, printed)
		}
		sum += c
	}
	if sum != cents(in.Joint) {
		t.Errorf("the parts sum to %d", sum)
	}
}
