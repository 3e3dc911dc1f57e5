package demo

import (
	"fmt"
	"math"
	"math/rand/v2"

	pb "example.org/remelt/api/remelt/v1"
)

// metal is one of the shop's alloys as the demo knows it: invented habits and
// true loss rates, no figures of the alloy table.
type metal struct {
	alloy    string
	share    float64 // of the heats
	ingotKg  float64
	price    string
	perWax   float64 // kg of metal per kg of wax
	oxide    float64 // share of metal in its oxide
	loss     float64 // median share of the charge that is lost or trapped
	vapour   float64 // of the loss
	pourF    float64
	gatingOf float64 // gating per casting
	crucible string
}

var metals = []metal{
	{"C87300", 0.36, 9.1, "4.85 USD/lb", 8.7, 0.80, 0.017, 0.02, 2060, 0.95, "sil-70"},
	{"C90300", 0.14, 10.4, "6.10 USD/lb", 9.1, 0.80, 0.015, 0.08, 2090, 0.90, "tin-60"},
	{"C83600", 0.10, 10.0, "4.40 USD/lb", 9.1, 0.80, 0.019, 0.30, 2110, 0.85, "tin-60"},
	{"C87500", 0.08, 9.0, "4.95 USD/lb", 8.6, 0.80, 0.026, 0.45, 1950, 0.90, "sil-70"},
	{"C95400", 0.08, 8.2, "5.05 USD/lb", 7.8, 0.62, 0.024, 0.0, 2150, 1.10, "alb-60"},
	{"356.0", 0.16, 6.8, "2.35 USD/lb", 2.8, 0.53, 0.028, 0.02, 1330, 1.05, "alu-50"},
	{"319.0", 0.08, 6.8, "2.20 USD/lb", 2.9, 0.53, 0.031, 0.02, 1340, 1.00, "alu-50"},
}

// scale is a scale as it is: what it shows differs from the truth.
type scale struct {
	id       string
	division float64 // kg
	digits   int
	noise    float64 // kg, standard deviation
}

const kgPerLb = 0.45359237

var (
	floor = scale{"floor", 0.1 * kgPerLb, 1, 0.012}
	bench = scale{"bench", 0.01 * kgPerLb, 2, 0.0015}
)

// world draws everything that is random.
type world struct{ *rand.Rand }

// reading is what a scale shows of a true mass, as it is typed.
func (w world) reading(s scale, kg float64) string {
	shown := math.Max(kg+w.NormFloat64()*s.noise, s.division)
	return fmt.Sprintf("%.*f lb", s.digits, math.Round(shown/s.division)*s.division/kgPerLb)
}

// weigh puts a true mass on the scale that fits it.
func (w world) weigh(kg float64) *pb.Weighing {
	s := floor
	if kg < 12 {
		s = bench
	}
	return &pb.Weighing{Scale: s.id, Net: &pb.Mass{Text: w.reading(s, kg)}}
}

// weighGross puts it on in a bin of known weight.
func (w world) weighGross(kg float64) *pb.Weighing {
	return &pb.Weighing{Scale: floor.id, Gross: &pb.Mass{Text: w.reading(floor, kg+blueBinKg)}, SavedTare: "blue-bin"}
}

const blueBinKg = 5.4 * kgPerLb

func (w world) logNormal(median, sigma float64) float64 {
	return median * math.Exp(sigma*w.NormFloat64())
}

func (w world) between(lo, hi float64) float64 { return lo + (hi-lo)*w.Float64() }

func (w world) chance(p float64) bool { return w.Float64() < p }

// lossShare is the true share of a charge that a heat loses or traps: skewed,
// worse with dirty or thin metal and as the crucible ages, with a far outlier now
// and then. when is the part of the year gone.
func (w world) lossShare(m metal, returns, when float64) float64 {
	l := w.logNormal(m.loss, 0.32) * (1 + 0.5*returns)
	if when > 0.6 && m.crucible == "sil-70" { // its lining goes
		l *= 1 + 0.9*(when-0.6)
	}
	if w.chance(0.04) { // left too hot too long
		l *= w.between(1.8, 3.2)
	}
	return math.Min(l, 0.15)
}
