package loss

import (
	"fmt"
	"math"
	"time"
)

// A Form is what a part of the charge was before it was melted.
type Form int

// Forms.
const (
	Ingot        Form = iota // virgin or remelt ingot with a certificate
	CleanGating              // cups, sprues, runners after cleaning
	Pigs                     // poured-off metal
	DirtyReturns             // dirty or thin returns, bought scrap
	Grindings                // turnings, saw and grinding swarf
	NumForms
)

var formNames = [NumForms]string{"ingot", "clean gating", "pigs", "dirty or thin returns", "grindings"}

func (f Form) String() string { return name(formNames[:], int(f)) }

// A Cause is one way in which charged metal did not come out as usable metal.
type Cause int

// Causes.
const (
	Oxidation   Cause = iota // burned or boiled off: the metal in the oxide and vapour
	Trapped                  // metal held in the skimmings, not yet usable
	Spill                    // spilled and not recovered
	Kerf                     // saw kerf and grindings swept up
	Unaccounted              // what the weighings leave over
	NumCauses
)

var causeNames = [NumCauses]string{"oxidation and vapour", "trapped in skimmings", "spill", "kerf and grinding", "unaccounted"}

func (c Cause) String() string { return name(causeNames[:], int(c)) }

func name(names []string, i int) string {
	if i < 0 || i >= len(names) {
		return fmt.Sprintf("unknown (%d)", i)
	}
	return names[i]
}

// Causes is a set of causes whose sum is looked at.
type Causes uint8

// Only is the set of the causes given.
func Only(cs ...Cause) (s Causes) {
	for _, c := range cs {
		s |= 1 << c
	}
	return s
}

const (
	// MeltLoss is the trade's melt loss, (in − usable out) ÷ in: all causes.
	MeltLoss Causes = 1<<NumCauses - 1
	// Gone is what will not come back: all but the metal trapped in skimmings.
	Gone = MeltLoss &^ (1 << Trapped)
)

// Has tells whether a cause is in the set.
func (s Causes) Has(c Cause) bool { return s&(1<<c) != 0 }

func (s Causes) String() string {
	switch s {
	case MeltLoss:
		return "melt loss"
	case Gone:
		return "gone"
	}
	out := ""
	for c := range NumCauses {
		if s.Has(c) {
			if out != "" {
				out += " + "
			}
			out += c.String()
		}
	}
	return out
}

// Amount is a loss of one heat by one cause, in kg of metal, with its standard uncertainty in kg. Known says that it was
// weighed or reckoned; an amount not known is missing, which is something else than nought.
type Amount struct {
	Kg, SD float64
	Known  bool
}

// Heat is one heat as the loss model sees it.
type Heat struct {
	ID          string
	Time        time.Time
	Provisional bool // something is still expected: not learned from

	// Doubted says why the heat's figures are not believed, such as a weighing
	// that the rest of the book contradicts: not learned from. A heat that only
	// lost much is no reason, or the model would learn that heats lose little.
	Doubted string

	Family   string // alloy family; "" is not recorded, and likewise for the next two
	Crucible string
	Furnace  string

	Charged   float64           // kg, above 0
	Shares    [NumForms]float64 // of the charge by form, 0 to 1, together 1 within 0.001
	Superheat *float64          // K above the liquidus; nil where not recorded
	Hold      *float64          // minutes between melted and poured; nil where not recorded

	Loss [NumCauses]Amount
	// Cov holds the covariances of the amounts in kg² where they are known (what is left over by difference and what
	// is trapped depend on the same guesses); nil takes the amounts as independent.
	Cov *[NumCauses][NumCauses]float64
}

// Rate returns the heat's loss by a set of causes as a fraction of the charge, and its standard uncertainty. ok is
// false when an amount is missing. A rate below 0 is no error: weighings err.
func (h *Heat) Rate(set Causes) (rate Normal, ok bool) {
	kg, variance := 0.0, 0.0
	for c := range NumCauses {
		if !set.Has(c) {
			continue
		}
		if !h.Loss[c].Known {
			return Normal{}, false
		}
		kg += h.Loss[c].Kg
		if h.Cov == nil {
			variance += h.Loss[c].SD * h.Loss[c].SD
			continue
		}
		for d := range NumCauses {
			if set.Has(d) {
				variance += h.Cov[c][d]
			}
		}
	}
	return Normal{Mean: kg / h.Charged, SD: math.Sqrt(math.Max(0, variance)) / h.Charged}, true
}

// Charge is what the forecast is asked about: a heat before it is melted.
type Charge struct {
	Family    string
	Crucible  string
	Furnace   string
	Kg        float64
	Shares    [NumForms]float64
	Superheat *float64
	Hold      *float64
}

// shareSlack is how far the shares of a charge may be from the whole: 0.001, which is
// not a binary fraction, with room for that.
const shareSlack = 0.001 + 1e-9

func (h *Heat) charge() Charge {
	return Charge{Family: h.Family, Crucible: h.Crucible, Furnace: h.Furnace, Kg: h.Charged, Shares: h.Shares, Superheat: h.Superheat, Hold: h.Hold}
}

func (c *Charge) check(heat string) error {
	refuse := func(field string, value any, want string) error {
		return &FieldError{Heat: heat, Field: field, Value: fmt.Sprint(value), Want: want}
	}
	if !(c.Kg > 0) || !finite(c.Kg) {
		return refuse("charged mass (kg)", c.Kg, "above 0")
	}
	sum := 0.0
	for f, x := range c.Shares {
		if !(x >= 0 && x <= 1+shareSlack) {
			return refuse("share of "+Form(f).String(), x, "0 to 1")
		}
		sum += x
	}
	if !(math.Abs(sum-1) <= shareSlack) {
		return refuse("sum of the shares", sum, "1")
	}
	// Bounds that only a slip of unit or key can pass.
	if s := c.Superheat; s != nil && !(*s >= -200 && *s <= 1500) {
		return refuse("superheat (K)", *s, "-200 to 1500")
	}
	if s := c.Hold; s != nil && !(*s >= 0 && *s <= 7*24*60) {
		return refuse("hold time (min)", *s, "0 to 10080")
	}
	return nil
}

func (h *Heat) check() error {
	c := h.charge()
	if err := c.check(h.ID); err != nil {
		return err
	}
	for i, a := range h.Loss {
		if !a.Known {
			continue
		}
		if !finite(a.Kg) || !(a.SD >= 0) || !finite(a.SD) {
			return &FieldError{Heat: h.ID, Field: "loss by " + Cause(i).String(), Value: fmt.Sprintf("%g ± %g kg", a.Kg, a.SD), Want: "finite, the uncertainty not negative"}
		}
	}
	if h.Cov != nil {
		for i := range NumCauses {
			for j := range NumCauses {
				// |cov| ≤ sd·sd, with room for rounding
				if v := h.Cov[i][j]; !finite(v) || v != h.Cov[j][i] || v*v > h.Cov[i][i]*h.Cov[j][j]*(1+1e-9)+1e-30 {
					return &FieldError{Heat: h.ID, Field: fmt.Sprintf("covariance of %s and %s", i, j), Value: fmt.Sprint(v), Want: "a covariance: symmetric, no larger than the two uncertainties allow"}
				}
			}
		}
	}
	return nil
}
