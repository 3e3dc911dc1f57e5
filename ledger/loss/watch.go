package loss

import (
	"fmt"
	"math"
	"time"
)

// WatchConfig sets the charts; zero values stand for the defaults.
type WatchConfig struct {
	K, H          float64 // of the CUSUM, in standard deviations: 0.5 and 6, one false alarm in about 1 300 heats (see AverageRunLength)
	Lambda, Width float64 // of the EWMA: 0.2 and 3
}

// Watch is the control chart of standardised loss: each heat against its forecast from the heats before it, given what
// its charge was made of and its family, but not which crucible or furnace it came from: these are what may have changed.
type Watch struct {
	Heats       []Watched // in time order
	LeftOut     []LeftOut
	Sigma       float64      // of the forecast errors, from their moving range, in forecast standard deviations
	Individuals *Individuals // of Z; nil for fewer than two heats
	EWMA        *EWMA        // of Z, winsorised
	Changes     []Change     // by CUSUM, in time order
	FalseAlarms float64      // heats between false alarms of the CUSUM for normal losses
	Lag1        float64      // autocorrelation of Z: well above 0, the chart's limits are too narrow
}

// Watched is one heat on the chart.
type Watched struct {
	ID       string
	Time     time.Time
	Weighed  Normal  // loss rate
	Expected Normal  // forecast, with the spread from heat to heat
	Z        float64 // standardised difference, over Sigma
}

// Change is a lasting change of the loss.
type Change struct {
	Start, Alarm int // places in Heats: where the change began as far as can be told, and where the chart noticed
	From         string
	Since        time.Time
	Direction    Direction
	Shift        Normal // how much more is lost since, as a fraction of the charge, with its standard error
	Suspects     []Suspect
}

const (
	winsor   = 3 // Z beyond this counts as this in CUSUM and EWMA: one bad heat is not a change
	learning = 8 // heats after a start or a change from which a chart has not yet learned enough to signal
)

// WatchLoss charts a shop's heats. The chart starts itself (Hawkins 1987, The Statistician 36): no heats are needed
// to set it up, the starting beliefs are its first target. After a change it starts anew, so that a second one is seen.
// Beside what the heats themselves hold (crucible, furnace, what the charge was made of, superheat, hold), more is
// compared where it is given: a covariate's entries go with heats, one each, in the same order; nil where there is none.
func WatchLoss(heats []Heat, cfg Config, set WatchConfig, more []Covariate) (*Watch, error) {
	def := func(x *float64, by float64) {
		if *x == 0 {
			*x = by
		}
	}
	def(&set.K, 0.5)
	def(&set.H, 6)
	def(&set.Lambda, 0.2)
	def(&set.Width, 3)
	cfg.Drift, cfg.bare = false, true
	cfg.Calibrate = max(1, len(heats))
	m, err := Learn(heats, cfg)
	if err != nil {
		return nil, err
	}
	w := &Watch{LeftOut: m.LeftOut, Sigma: 1}
	if err := w.follow(m, 0); err != nil {
		return nil, err
	}
	if len(w.Heats) < 2 {
		return w, nil
	}
	raw, err := NewIndividuals(w.z(0, len(w.Heats)), 0, 0)
	if err != nil {
		return nil, err
	}
	if raw.Sigma > 0 {
		w.Sigma = raw.Sigma
	}
	for i := range w.Heats {
		w.Heats[i].Z /= w.Sigma
	}
	if err := w.search(m, set); err != nil {
		return nil, err
	}
	covariates, err := m.covariates(heats, more)
	if err != nil {
		return nil, err
	}
	if err := w.explain(m, covariates); err != nil {
		return nil, err
	}
	z := w.z(0, len(w.Heats))
	w.Lag1 = Describe(z).Lag1
	if w.Individuals, err = NewIndividuals(z, 0, 0); err != nil {
		return nil, err
	}
	if w.EWMA, err = NewEWMA(clip(z), set.Lambda, 0, 1, set.Width, false); err != nil {
		return nil, err
	}
	w.FalseAlarms = AverageRunLength(set.K, set.H, 0) / 2
	return w, nil
}

// follow (re)starts the chart at heat first: its forecasts know only the beliefs and the heats since.
func (w *Watch) follow(m *Model, first int) error {
	seq, err := m.est.s.after(first).sequence(m.est.Var, 0)
	if err != nil {
		return err
	}
	w.Heats = w.Heats[:first]
	for i, a := range seq {
		h := &m.heats[first+i]
		rate, _ := h.Rate(m.Causes)
		w.Heats = append(w.Heats, Watched{ID: h.ID, Time: h.Time, Weighed: rate,
			Expected: Normal{a.mean + m.offset(h.Family), a.sd}, Z: a.z / w.Sigma})
	}
	return nil
}

func (w *Watch) z(from, to int) []float64 {
	z := make([]float64, 0, to-from)
	for _, h := range w.Heats[from:to] {
		z = append(z, h.Z)
	}
	return z
}

func clip(z []float64) []float64 {
	for i, x := range z {
		z[i] = math.Max(-winsor, math.Min(winsor, x))
	}
	return z
}

// search runs the CUSUM from change to change.
func (w *Watch) search(m *Model, set WatchConfig) error {
	n := len(w.Heats)
	start := 0 // of the segment that the forecasts know
	for at := 0; at < n; {
		c, err := NewCUSUM(clip(w.z(at, n)), 0, set.K, set.H)
		if err != nil || len(c.Signals) == 0 {
			return err
		}
		s := c.Signals[0]
		began, alarm := at+s.Start, at+s.At
		if began < start+learning {
			at = alarm + 1 // the forecasts were still learning what is usual
			continue
		}
		w.Changes = append(w.Changes, Change{Start: began, Alarm: alarm, From: w.Heats[began].ID, Since: w.Heats[began].Time, Direction: s.Direction})
		if err := w.follow(m, began); err != nil {
			return err
		}
		start, at = began, began
	}
	return nil
}

// explain measures each change and compares what was recorded before and after it.
func (w *Watch) explain(m *Model, covariates []Covariate) error {
	level := func(from, to int) (mean, variance float64) {
		sum := 0.0
		for i := from; i < to; i++ {
			fit, _ := m.est.fit(i)
			weight := 1 / (m.est.Var[0]*m.est.s.r[i] + m.est.s.v[i])
			mean += weight * (m.est.s.m.Y[i] - fit)
			sum += weight
		}
		return mean / sum, 1 / sum
	}
	for k := range w.Changes {
		c := &w.Changes[k]
		from, to := 0, len(w.Heats)
		if k > 0 {
			from = w.Changes[k-1].Start
		}
		if k+1 < len(w.Changes) {
			to = w.Changes[k+1].Start
		}
		before, v := level(from, c.Start)
		after, u := level(c.Start, to)
		c.Shift = Normal{after - before, math.Sqrt(v + u)}
		var err error
		if c.Suspects, err = Compare(covariates, from, c.Start, min(to, max(c.Alarm+1, c.Start+learning))); err != nil {
			return err
		}
	}
	return nil
}

// covariates are the tables to compare, in the order of the model's heats.
func (m *Model) covariates(heats []Heat, more []Covariate) ([]Covariate, error) {
	table := func(name string) *Covariate { return &Covariate{Name: name} }
	crucible, furnace, superheat, hold := table("crucible"), table("furnace"), table("superheat (K)"), table("hold time (min)")
	var shares [NumForms]*Covariate
	for f := range shares {
		shares[f] = table("share of " + Form(f).String())
	}
	number := func(x *float64) float64 {
		if x == nil {
			return math.NaN()
		}
		return *x
	}
	for i := range m.heats {
		h := &m.heats[i]
		crucible.Labels = append(crucible.Labels, h.Crucible)
		furnace.Labels = append(furnace.Labels, h.Furnace)
		superheat.Numbers = append(superheat.Numbers, number(h.Superheat))
		hold.Numbers = append(hold.Numbers, number(h.Hold))
		for f, c := range shares {
			c.Numbers = append(c.Numbers, h.Shares[f])
		}
	}
	out := []Covariate{*crucible, *furnace, *superheat, *hold}
	for _, c := range shares {
		out = append(out, *c)
	}
	at := make(map[string]int, len(heats))
	for i := range heats {
		at[heats[i].ID] = i
	}
	for _, c := range more {
		if n := len(c.Labels) + len(c.Numbers); n != len(heats) || (c.Labels == nil) == (c.Numbers == nil) {
			return nil, &FieldError{Field: "covariate " + c.Name, Value: fmt.Sprint(n, " entries"), Want: fmt.Sprint(len(heats), " labels or numbers, one per heat")}
		}
		sorted := table(c.Name)
		for i := range m.heats {
			k := at[m.heats[i].ID]
			if c.Labels != nil {
				sorted.Labels = append(sorted.Labels, c.Labels[k])
			} else {
				sorted.Numbers = append(sorted.Numbers, c.Numbers[k])
			}
		}
		out = append(out, *sorted)
	}
	return out, nil
}

// AverageRunLength is the mean number of values until one side of a CUSUM with reference k and interval h signals, for
// independent normal values of standard deviation 1 whose mean is shift above the target; both sides together signal
// twice as often at shift 0. Markov chain with 120 states (Brook & Evans 1972, Biometrika 59).
func AverageRunLength(k, h, shift float64) float64 {
	const states = 120
	width := h / (states - 0.5)
	phi := func(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }
	// State i stands for the sum being about i·width, state 0 for 0; a is I − P, b all ones.
	a := make([][]float64, states)
	for i := range a {
		a[i] = make([]float64, states+1)
		for j := range states {
			// from i·width to within half a width of j·width
			top := phi((float64(j-i)+0.5)*width + k - shift)
			low := 0.0
			if j > 0 {
				low = phi((float64(j-i)-0.5)*width + k - shift)
			}
			a[i][j] = low - top
		}
		a[i][i]++
		a[i][states] = 1
	}
	// I − P is diagonally dominant: elimination needs no pivots.
	for i := range states {
		for r := i + 1; r < states; r++ {
			f := a[r][i] / a[i][i]
			for c := i; c <= states; c++ {
				a[r][c] -= f * a[i][c]
			}
		}
	}
	x := make([]float64, states)
	for i := states - 1; i >= 0; i-- {
		x[i] = a[i][states]
		for c := i + 1; c < states; c++ {
			x[i] -= a[i][c] * x[c]
		}
		x[i] /= a[i][i]
	}
	return x[0]
}
