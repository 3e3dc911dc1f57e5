package alloy

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// btu is the British thermal unit (International Table) in joules; NIST SP 811.
const btu = 1055.05585262

// Fuel is a heating value as published. All are higher heating values.
type Fuel struct {
	Name     string
	Unit     string // what one of it is
	Joules   float64
	Source   string
	Verified Flag
}

// Fuels lists heating values to start from; sources differ by half a per cent.
func Fuels() []Fuel {
	return []Fuel{
		{"propane", "lb", 21560 * btu, "ASHRAE Fundamentals as quoted by foodtechinfo.com: 21 560 Btu/lb", Yes},
		{"propane", "gal", 91333 * btu, "Federal Register, 21 March 2007, as quoted by frontiernaturalgas.com: 91 333 Btu/gal", Yes},
		{"propane", "ft3", 2500 * btu, "2500 Btu/ft³, printed beside the others by propanecost.com or ASHRAE; which was not noted", Yes},
		{"natural gas", "ft3", 1029 * btu, "Federal Register, 21 March 2007, as quoted by frontiernaturalgas.com: 102 900 Btu per 100 ft³", Yes},
		{"fuel oil no. 2", "gal", 138690 * btu, "Federal Register, 21 March 2007, as quoted by frontiernaturalgas.com: 138 690 Btu/gal", Yes},
		{"electricity", "kWh", 3.6e6, "by definition", Yes},
	}
}

// FuelUse is one heat's record: what the charge took up by MeltHeat, and what was
// burned, in joules.
type FuelUse struct{ HeatJ, FuelJ float64 }

// Burn is what a furnace burns, learned from its own records.
//
// Model: fuel = β · heat + error, the error's variance growing with the heat. The
// best estimate is then the ratio of the sums, β = ΣF ÷ ΣH (Cochran, Sampling
// Techniques, chapter 6; from memory). Its standard error uses the residuals
// F − βH without that assumption: √(Σ(F−βH)² ÷ (n(n−1))) ÷ mean H. Intervals
// are Student's t with n − 1 degrees of freedom. A cold start, a long hold or a
// heat of another alloy all sit in the error: compare like with like.
type Burn struct {
	N          int
	PerHeat    float64 // β, joules of fuel per joule in the metal
	SE         float64 // of β; 0 when N < 2
	Efficiency float64 // 1/β
	Low, High  float64 // interval of the efficiency; 0 when N < 2
	Confidence float64

	residual, heat float64 // for forecasts: Σ(F−βH)²/H ÷ (n−1) and ΣH
}

// LearnBurn estimates a furnace's burn from its records with an interval of the
// given confidence (e.g. 0.9). One record gives a ratio without an interval.
func LearnBurn(records []FuelUse, confidence float64) (Burn, error) {
	if len(records) == 0 {
		return Burn{}, fmt.Errorf("fuel records: none; start from StartingEfficiency")
	}
	if !(confidence > 0 && confidence < 1) {
		return Burn{}, fmt.Errorf("confidence %g: give a part between 0 and 1", confidence)
	}
	b := Burn{N: len(records), Confidence: confidence}
	fuel := 0.0
	for i, r := range records {
		if !(r.HeatJ > 0) || !(r.FuelJ > 0) || math.IsInf(r.HeatJ+r.FuelJ, 0) {
			return Burn{}, fmt.Errorf("fuel record %d: heat %g J and fuel %g J must both be above zero", i+1, r.HeatJ, r.FuelJ)
		}
		b.heat += r.HeatJ
		fuel += r.FuelJ
	}
	n := float64(b.N)
	b.PerHeat = fuel / b.heat
	b.Efficiency = 1 / b.PerHeat
	if b.N < 2 {
		return b, nil
	}
	squares := 0.0
	for _, r := range records {
		d := r.FuelJ - b.PerHeat*r.HeatJ
		squares += d * d
		b.residual += d * d / r.HeatJ / (n - 1)
	}
	b.SE = math.Sqrt(squares/(n*(n-1))) / (b.heat / n)
	t := b.t()
	b.Low = 1 / (b.PerHeat + t*b.SE)
	if low := b.PerHeat - t*b.SE; low > 0 {
		b.High = 1 / low
	} else {
		b.High = math.Max(1, b.Efficiency) // the records do not bound it, nature does
	}
	return b, nil
}

func (b Burn) t() float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(b.N - 1)}.Quantile((1 + b.Confidence) / 2)
}

// FuelForecast is what the next heat will burn, in joules.
type FuelForecast struct {
	FuelJ     float64
	Low, High float64 // interval of the learned confidence
	Bounded   bool    // false with fewer than two records: there is no interval
}

// Next forecasts the fuel for a heat that takes up heatJ, with an interval for
// that single heat: variance s²(H + H²/ΣH), s² = Σ(F−βH)²/H ÷ (n−1).
func (b Burn) Next(heatJ float64) (FuelForecast, error) {
	if !(heatJ > 0) || b.N == 0 {
		return FuelForecast{}, fmt.Errorf("heat %g J of %d records: give a heat above zero and records to learn from", heatJ, b.N)
	}
	f := FuelForecast{FuelJ: b.PerHeat * heatJ}
	if b.N < 2 {
		return f, nil
	}
	half := b.t() * math.Sqrt(b.residual*(heatJ+heatJ*heatJ/b.heat))
	f.Low, f.High, f.Bounded = math.Max(0, f.FuelJ-half), f.FuelJ+half, true
	return f, nil
}

// EfficiencyRange is a range to start from before a furnace has records.
type EfficiencyRange struct {
	Furnace   string
	Low, High float64 // parts of the fuel's heat that reach the metal
	Source    string
	Verified  Flag
}

// StartingEfficiency lists ranges: the overall one was read, the others recalled.
func StartingEfficiency() []EfficiencyRange {
	const read = "BCS Inc. for US DOE (2005), overall range as quoted by W. A. Butler, Melting and Holding Furnaces for Die Casting"
	const memory = "from memory of BCS Inc. for US DOE (2005), Advanced Melting Technologies"
	return []EfficiencyRange{
		{"any", 0.07, 0.76, read, Yes},
		{"gas crucible", 0.07, 0.19, memory, Memory},
		{"gas reverberatory", 0.30, 0.45, memory, Memory},
		{"stack melter", 0.40, 0.45, memory, Memory},
		{"electric reverberatory", 0.59, 0.76, memory, Memory},
		{"aluminium induction", 0.59, 0.76, memory, Memory},
		{"copper induction", 0.50, 0.70, memory, Memory},
	}
}
