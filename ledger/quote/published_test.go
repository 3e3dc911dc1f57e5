package quote_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"example.org/remelt/ledger/quote"
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

func cents(amount float64) int64 { return int64(math.Round(amount * 100)) }

func lines(q quote.Quote) map[quote.Cause]int64 {
	out := map[quote.Cause]int64{}
	for _, l := range q.Lines {
		out[l.Cause] += l.Minor
	}
	return out
}

// A job cost sheet: OpenStax, Principles of Accounting, Volume 2, chapter 4. Nothing in it
// is unsure, so that low, likely and high are one figure and no contingency is left.
func TestJobCostSheet(t *testing.T) {
	var in struct {
		Materials []struct {
			Item        string
			Units, Each float64
		}
		Labour []struct {
			Kind        string
			Hours, Rate float64
		}
		Overhead float64 `json:"overhead_percent_of_labour"`
		Price    float64
	}
	var want struct {
		Materials, Labour, Overhead, Cost float64
		Profit                            float64 `json:"gross_profit"`
	}
	example(t, "d12-job-cost-sheet", &in, &want)
	job := quote.Job{Overhead: int64(in.Overhead * 1e4), Margin: int64(math.Round(want.Profit / in.Price * 1e6))}
	for _, m := range in.Materials {
		job.Items = append(job.Items, quote.Item{Name: m.Item, Cost: quote.Sure(cents(m.Units * m.Each))})
	}
	actual := quote.Actual{Bought: cents(want.Materials), Overhead: cents(want.Overhead)}
	for _, w := range in.Labour {
		job.Work = append(job.Work, quote.Work{Kind: w.Kind, Minutes: quote.Sure(int64(w.Hours * 60)), Rate: cents(w.Rate)})
		actual.Work = append(actual.Work, quote.Hours{Kind: w.Kind, Minutes: int64(w.Hours * 60), Cost: cents(w.Hours * w.Rate)})
	}
	q, err := quote.Make(job)
	if err != nil {
		t.Fatal(err)
	}
	got := lines(q)
	if got[quote.BoughtIn] != cents(want.Materials) || got[quote.Labour] != cents(want.Labour) || got[quote.Overhead] != cents(want.Overhead) ||
		q.Cost != cents(want.Cost) || got[quote.Margin] != cents(want.Profit) || got[quote.Contingency] != 0 {
		t.Errorf("%+v", q)
	}
	if p := cents(in.Price); q.Low != p || q.Likely != p || q.High != p || q.Average != p {
		t.Errorf("prices %d, %d, %d, %d", q.Low, q.Likely, q.High, q.Average)
	}
	diff, err := quote.Compare(job, q, actual)
	for _, d := range diff {
		if d.Minor != 0 {
			t.Errorf("as quoted, and yet %+v", d)
		}
	}
	if err != nil || actual.Cost() != q.Cost {
		t.Errorf("%d, %v", actual.Cost(), err)
	}
}

// Table 2.1 and section 2.4 of Gelman et al., Bayesian Data Analysis.
func TestChanceLearns(t *testing.T) {
	var in struct {
		Seen, Of int64
		Priors   []struct{ Mean, Worth float64 }
	}
	var want struct {
		Mean       float64 `json:"uniform_mean"`
		SD         float64 `json:"uniform_sd"`
		Posteriors []struct{ Median, Low, High float64 }
	}
	example(t, "j06-beta-posterior", &in, &want)
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 6e-4 {
			t.Errorf("%s %.5f, want %.3f", what, got, want)
		}
	}
	for i, p := range in.Priors {
		c := quote.Chance{A: p.Mean * p.Worth, B: (1 - p.Mean) * p.Worth}.Learn(in.Seen, in.Of)
		if i == 0 {
			near("mean", c.Mean(), want.Mean)
			near("standard deviation", (c.Quantile(0.8413447)-c.Quantile(0.1586553))/2, want.SD) // of a nearly normal curve
		}
		near("median", c.Quantile(0.5), want.Posteriors[i].Median)
		near("low", c.Quantile(0.025), want.Posteriors[i].Low)
		near("high", c.Quantile(0.975), want.Posteriors[i].High)
	}
}

// The moments of the triangular distribution. Symmetric of half width a its variance is
// a² ÷ 6: JCGM 100:2008 (GUM), 4.3.9. The others by integrating the quantile, which knows
// nothing of the formulas of Mean and Variance.
func TestTriangle(t *testing.T) {
	if v := (quote.Spread{Low: 400, Likely: 1000, High: 1600}).Variance(); math.Abs(v-600*600/6) > 1e-9 {
		t.Errorf("variance %g, the GUM has 60000", v)
	}
	for _, s := range []quote.Spread{{Low: 0, Likely: 0, High: 900}, {Low: 100, Likely: 250, High: 1200}, {Low: 5, Likely: 70, High: 70}, quote.Sure(8)} {
		const n = 200_000
		sum, squares := 0.0, 0.0
		for i := range n {
			x := s.Quantile((float64(i) + 0.5) / n)
			sum += x
			squares += x * x
		}
		mean := sum / n
		if v := squares/n - mean*mean; math.Abs(mean-s.Mean()) > 1e-3*(1+s.Mean()) || math.Abs(v-s.Variance()) > 1e-3*(1+s.Variance()) {
			t.Errorf("%v: mean %g and variance %g, the formulas say %g and %g", s, mean, v, s.Mean(), s.Variance())
		}
		if s.Quantile(0) != float64(s.Low) || s.Quantile(1) != float64(s.High) {
			t.Errorf("%v: from %g to %g", s, s.Quantile(0), s.Quantile(1))
		}
	}
}

// A sum of many unsure figures is nearly normal: its mean is the sum of the means, its
// variance that of the variances, and nine in ten are below 1.2816 standard deviations (a
// table of the normal curve).
func TestSimulationOfASum(t *testing.T) {
	job := quote.Job{Seed: 7}
	mean, variance := 0.0, 0.0
	for i := range 24 {
		s := quote.Spread{Low: 1000, Likely: int64(2000 + 300*i), High: 12_000}
		job.Items = append(job.Items, quote.Item{Name: string(rune('a' + i)), Cost: s})
		mean += s.Mean()
		variance += s.Variance()
	}
	q, err := quote.Make(job)
	if err != nil {
		t.Fatal(err)
	}
	sd := math.Sqrt(variance)
	if got := float64(q.Average); math.Abs(got-mean) > 4*sd/math.Sqrt(quote.Trials) {
		t.Errorf("average %g, want %g", got, mean)
	}
	for _, x := range []struct {
		got int64
		z   float64
	}{{q.Low, -1.2816}, {q.Likely, 0}, {q.High, 1.2816}} {
		if math.Abs(float64(x.got)-mean-x.z*sd) > 0.08*sd { // four standard errors of a quantile, about 0.027 sd each at 10 %
			t.Errorf("%d, want %.0f", x.got, mean+x.z*sd)
		}
	}
}

// The average of products of figures that are drawn apart is the product of their means,
// and the recasts of a job are as many on the average as the belief says: A ÷ (B − 1).
func TestSimulationOfProductsAndRecasts(t *testing.T) {
	weight, price := quote.Spread{Low: 8e6, Likely: 10e6, High: 15e6}, quote.Spread{Low: 800_000, Likely: 1_000_000, High: 1_500_000}
	job := quote.Job{Seed: 3, Metals: []quote.Metal{{Alloy: "x", Price: price, AtCost: true}},
		Castings: []quote.Casting{{Name: "a", Alloy: "x", Copies: 100, Metal: weight}}}
	q, err := quote.Make(job)
	if want := 100 * weight.Mean() * price.Mean() / 1e9; err != nil || math.Abs(float64(q.Average)-want) > 0.01*want {
		t.Errorf("average %d, want %.0f (%v)", q.Average, want, err)
	}
	job = quote.Job{Seed: 3, Metals: job.Metals, Molds: quote.Sure(1000), Failure: quote.Chance{A: 6, B: 54},
		Castings: []quote.Casting{{Name: "a", Alloy: "x", Copies: 20}}}
	q, err = quote.Make(job)
	want := 20_000 * (1 + 6.0/53)
	if err != nil || math.Abs(float64(q.Average)-want) > 0.005*want || math.Abs(q.Recasts-20*6.0/53) > 1e-9 {
		t.Errorf("average %d with %g recasts, want %.0f (%v)", q.Average, q.Recasts, want, err)
	}
}
