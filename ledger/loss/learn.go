package loss

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Config says what is to be learned.
type Config struct {
	Causes  Causes  // which losses; 0 is MeltLoss
	Beliefs Beliefs // as Starting gives them, edited by the shop

	// Drift lets the level wander from period to period (a random walk), so that a forecast follows a shop that
	// changes. Period is the number of heats in one; 0 is 20; it is stretched so that there are at most 40.
	Drift  bool
	Period int

	// Calibrate is how many of the latest heats, each against its forecast from the heats before it, set the width of
	// the intervals; 0 is 300.
	Calibrate int

	bare bool // without crucible and furnace: what a control chart compares with
}

const (
	maxPeriods    = 40
	defaultPeriod = 20
	defaultWindow = 300

	// finest is the least standard uncertainty of a loss rate that is believed: no shop weighs a charge and all that
	// became of it to better than a ten-thousandth, and an uncertainty of 0 would only say that nobody thought of it.
	finest = 1e-4
)

// LeftOut is a heat that was not learned from, and why.
type LeftOut struct{ ID, Why string }

// Model is what a shop's heats have taught.
type Model struct {
	Causes    Causes
	Estimator string
	Heats     int
	LeftOut   []LeftOut
	Forms     []Effect // by Form; then superheat (per K) and hold (per minute)
	Levels    []Level  // of family, crucible, furnace and, where drift is followed, period
	Spreads   []Spread

	cfg     Config
	beliefs Beliefs
	heats   []Heat // learned from, in time order
	est     *Estimate
	factors []grouping
	usual   [2]float64 // superheat and hold of a heat that has none recorded
	period  int        // heats in one; 0 when drift is not followed
	ahead   []ahead    // of the last heats
	scores  []score    // of their forecasts
}

// Effect is one coefficient before and after the heats.
type Effect struct {
	Name       string
	Belief     Belief
	Learned    Normal
	FromBelief float64 // how much of the starting uncertainty is left, 1 when the heats have said nothing (in variances)
}

// Level is one alloy family, crucible, furnace or period and how much its heats lose beyond the rest.
type Level struct {
	Factor, Name string
	Heats        int
	Effect       Normal
	// Borrowed is the share of the estimate that comes from the other levels (posterior over prior variance): 1 for one
	// that says nothing of its own, near 0 for one with heats enough.
	Borrowed float64
}

// Pooled tells whether the level's figure is mostly the shop's and not its own.
func (l Level) Pooled() bool { return l.Borrowed >= 0.5 }

// Spread is how much the loss rate differs between the levels of a factor, or from heat to heat; posterior mean.
type Spread struct {
	Factor string
	SD     float64
}

// grouping ties a factor of the heats to the model.
type grouping struct {
	name  string
	key   func(*Charge) string
	level map[string]int
	names []string
}

// Pooled names the levels whose figures are mostly borrowed from the rest of the shop.
func (m *Model) Pooled() []Level {
	var out []Level
	for _, l := range m.Levels {
		if l.Pooled() {
			out = append(out, l)
		}
	}
	return out
}

// Learn fits the loss model to a shop's heats, in any order; none at all leaves the starting beliefs. Provisional heats
// and heats that lack one of the causes are left out and named. IDs must differ.
func Learn(heats []Heat, cfg Config) (*Model, error) {
	if cfg.Causes == 0 {
		cfg.Causes = MeltLoss
	}
	if cfg.Causes > MeltLoss {
		return nil, &FieldError{Field: "causes", Value: fmt.Sprint(uint8(cfg.Causes)), Want: "a set of the causes"}
	}
	if cfg.Period < 0 || cfg.Calibrate < 0 {
		return nil, &FieldError{Field: "period or number of heats to calibrate on", Value: fmt.Sprint(cfg.Period, ", ", cfg.Calibrate), Want: "not negative"}
	}
	if err := cfg.Beliefs.check(); err != nil {
		return nil, err
	}
	m := &Model{Causes: cfg.Causes, cfg: cfg, beliefs: cfg.Beliefs.of(cfg.Causes)}
	if err := m.choose(heats); err != nil {
		return nil, err
	}
	m.group()
	mixed := m.mixed()
	est, err := mixed.Integrate()
	if err != nil {
		return nil, err
	}
	m.est = est
	window := cfg.Calibrate
	if window == 0 {
		window = defaultWindow
	}
	if m.ahead, err = est.s.sequence(est.Var, max(0, m.Heats-window)); err != nil {
		return nil, err
	}
	for i, a := range m.ahead {
		at := m.Heats - len(m.ahead) + i
		m.scores = append(m.scores, score{a.z, (est.Var[0]*mixed.R[at] + mixed.V[at]) / (a.sd * a.sd)})
	}
	m.report()
	return m, nil
}

// choose takes the heats that can be learned from, in time order.
func (m *Model) choose(heats []Heat) error {
	seen := make(map[string]bool, len(heats))
	for i := range heats {
		h := &heats[i]
		if err := h.check(); err != nil {
			return err
		}
		if seen[h.ID] {
			return &FieldError{Heat: h.ID, Field: "ID", Value: "given twice", Want: "one heat an ID"}
		}
		seen[h.ID] = true
		rate, ok := h.Rate(m.Causes)
		switch {
		case h.Provisional:
			m.LeftOut = append(m.LeftOut, LeftOut{h.ID, "provisional: something is still expected"})
		case h.Doubted != "":
			m.LeftOut = append(m.LeftOut, LeftOut{h.ID, h.Doubted})
		case !ok:
			m.LeftOut = append(m.LeftOut, LeftOut{h.ID, "no amount for " + m.missing(h)})
		case math.Abs(rate.Mean) > 1:
			m.LeftOut = append(m.LeftOut, LeftOut{h.ID, "loss larger than the charge: a wrong entry"})
		default:
			m.heats = append(m.heats, *h)
		}
	}
	slices.SortFunc(m.heats, func(a, b Heat) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		return strings.Compare(a.ID, b.ID)
	})
	slices.SortFunc(m.LeftOut, func(a, b LeftOut) int { return strings.Compare(a.ID, b.ID) })
	m.Heats = len(m.heats)
	return nil
}

func (m *Model) missing(h *Heat) string {
	var out []string
	for c := range NumCauses {
		if m.Causes.Has(c) && !h.Loss[c].Known {
			out = append(out, c.String())
		}
	}
	return strings.Join(out, ", ")
}

// group numbers the levels of each factor, in order of name so that nothing depends on the order of the heats.
func (m *Model) group() {
	m.factors = []grouping{{name: "family", key: func(c *Charge) string { return c.Family }}}
	if !m.cfg.bare {
		m.factors = append(m.factors,
			grouping{name: "crucible", key: func(c *Charge) string { return c.Crucible }},
			grouping{name: "furnace", key: func(c *Charge) string { return c.Furnace }})
	}
	for k := range m.factors {
		g := &m.factors[k]
		g.level = map[string]int{}
		for i := range m.heats {
			c := m.heats[i].charge()
			if key := g.key(&c); key != "" {
				g.level[key] = 0
			}
		}
		for key := range g.level {
			g.names = append(g.names, key)
		}
		slices.Sort(g.names)
		for l, key := range g.names {
			g.level[key] = l
		}
	}
	// What no heat records is part of the spread from heat to heat.
	m.factors = slices.DeleteFunc(m.factors, func(g grouping) bool { return len(g.names) == 0 })
	if m.cfg.Drift && m.Heats > 0 {
		m.groupPeriods()
	}
	m.usual = [2]float64{m.beliefs.ReferenceSuperheat, m.beliefs.ReferenceHold}
	for k, of := range []func(*Heat) *float64{func(h *Heat) *float64 { return h.Superheat }, func(h *Heat) *float64 { return h.Hold }} {
		n, mean := 0.0, 0.0
		for i := range m.heats {
			if x := of(&m.heats[i]); x != nil {
				n++
				mean += (*x - mean) / n
			}
		}
		if n > 0 {
			m.usual[k] = mean
		}
	}
}

func (m *Model) groupPeriods() {
	m.period = m.cfg.Period
	if m.period == 0 {
		m.period = defaultPeriod
	}
	m.period = max(m.period, (m.Heats+maxPeriods-1)/maxPeriods)
	g := grouping{name: "period"}
	for i := 0; i < m.Heats; i += m.period {
		g.names = append(g.names, "from heat "+m.heats[i].ID)
	}
	m.factors = append(m.factors, g)
}

// row places a charge in the model, as the next heat where drift is followed.
func (m *Model) row(c *Charge) Row {
	r := Row{X: make([]float64, int(NumForms)+2), Level: make([]int, len(m.factors))}
	copy(r.X, c.Shares[:])
	superheat, hold := m.usual[0], m.usual[1]
	if c.Superheat != nil {
		superheat = *c.Superheat
	}
	if c.Hold != nil {
		hold = *c.Hold
	}
	r.X[NumForms], r.X[NumForms+1] = superheat-m.beliefs.ReferenceSuperheat, hold-m.beliefs.ReferenceHold
	for k := range m.factors {
		g := &m.factors[k]
		if g.key == nil {
			r.Level[k] = len(g.names) - 1
			continue
		}
		l, ok := g.level[g.key(c)]
		if !ok {
			l = -1
		}
		r.Level[k] = l
	}
	return r
}

func (m *Model) mixed() *Mixed {
	n := m.Heats
	x := &Mixed{Y: make([]float64, n), V: make([]float64, n), R: make([]float64, n), X: make([][]float64, n),
		Residual: Scale{HalfNormal, m.beliefs.Spread.Heat}}
	for _, b := range m.beliefs.Form {
		x.Prior = append(x.Prior, b.Normal)
	}
	x.Prior = append(x.Prior, m.beliefs.Superheat.Normal, m.beliefs.Hold.Normal)
	spread := map[string]float64{"family": m.beliefs.Spread.Family, "crucible": m.beliefs.Spread.Crucible, "furnace": m.beliefs.Spread.Furnace, "period": m.beliefs.Spread.Period}
	for _, g := range m.factors {
		x.Factors = append(x.Factors, Factor{Name: g.name, Level: make([]int, n), Levels: len(g.names), Walk: g.key == nil, Scale: Scale{HalfNormal, spread[g.name]}})
	}
	for i := range m.heats {
		h := &m.heats[i]
		rate, _ := h.Rate(m.Causes)
		c := h.charge()
		r := m.row(&c)
		x.Y[i] = rate.Mean - m.offset(h.Family)
		x.V[i] = math.Max(rate.SD*rate.SD, finest*finest)
		x.R[i] = m.relative(&c)
		x.X[i] = r.X
		for k, l := range r.Level {
			if m.factors[k].key == nil {
				l = i / m.period
			}
			x.Factors[k].Level[i] = l
		}
	}
	return x
}

// relative is how much larger the variance from heat to heat is for a charge like this than for clean metal of the
// reference family: where more is lost, more differs. It goes with the square of the loss that is believed of the charge.
func (m *Model) relative(c *Charge) float64 {
	believed := m.offset(c.Family)
	for f, x := range c.Shares {
		believed += x * m.beliefs.Form[f].Mean
	}
	clean := (m.beliefs.Form[Ingot].Mean + m.beliefs.Form[CleanGating].Mean + m.beliefs.Form[Pigs].Mean) / 3
	r := math.Max(0.5, math.Min(4, believed/clean))
	if math.IsNaN(r) {
		r = 1
	}
	return r * r
}

// offset is what a family is believed to lose beyond the reference; "" and unknown families have none.
func (m *Model) offset(family string) float64 { return m.beliefs.Family[family].Mean }

func (m *Model) report() {
	m.Estimator = m.est.Method + "; intervals calibrated on one-step-ahead errors"
	names := append(formNames[:], "superheat, per K", "hold, per minute")
	beliefs := append(m.beliefs.Form[:], m.beliefs.Superheat, m.beliefs.Hold)
	for j, b := range beliefs {
		c := m.est.Coef(j)
		m.Forms = append(m.Forms, Effect{Name: names[j], Belief: b, Learned: c, FromBelief: c.SD * c.SD / (b.SD * b.SD)})
	}
	m.Spreads = append(m.Spreads, Spread{"heat", m.est.SD[0]})
	for k, g := range m.factors {
		m.Spreads = append(m.Spreads, Spread{g.name, m.est.SD[k+1]})
		heats := make([]int, len(g.names))
		for _, l := range m.est.s.m.Factors[k].Level {
			if l >= 0 {
				heats[l]++
			}
		}
		for l, name := range g.names {
			u := m.est.Effect(k, l)
			prior := m.est.Var[k+1]
			if g.key == nil {
				prior *= float64(l + 1) // the walk has gone that far by then
			} else if g.name == "family" {
				u.Mean += m.offset(name)
			}
			m.Levels = append(m.Levels, Level{Factor: g.name, Name: name, Heats: heats[l], Effect: u, Borrowed: math.Min(1, u.SD*u.SD/prior)})
		}
	}
}
