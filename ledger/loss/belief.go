package loss

import "math"

// Base is the base of an alloy family, as far as the starting belief about its loss depends on it.
type Base int

// Bases.
const (
	CopperBase    Base = iota // bronzes with little zinc
	ZincBearing               // brasses and other copper alloys that fume
	AluminiumBase             // aluminium alloys
)

// Belief is a starting belief with where it comes from. Verified is "yes" for a figure read in print, "memory" for one
// recalled and "assumed" for one chosen here; none of the defaults is better than "memory", so a shop may edit them all.
type Belief struct {
	Normal
	Source, Verified string
}

// Beliefs is what is believed of a shop before its first heat. Rates are fractions of the charge.
type Beliefs struct {
	Form      [NumForms]Belief  // melt loss (all causes) of a charge all of this form, copper base, reference superheat and hold
	Family    map[string]Belief // by family: what it loses more than that; only the mean is used, Spread.Family is its ±
	Share     [NumCauses]Belief // of the melt loss, by cause; together 1; only the mean is used
	Superheat Belief            // more loss per K above ReferenceSuperheat
	Hold      Belief            // more loss per minute above ReferenceHold

	ReferenceSuperheat float64 // K
	ReferenceHold      float64 // minutes

	Spread Spreads
}

// Spreads are the beliefs about spreads of the melt loss, as scales of half-normal densities: a spread is likely below
// its scale and hardly ever above three times it.
type Spreads struct {
	Heat     float64 // from heat to heat of the same kind
	Family   float64 // between alloy families, beyond what Family says
	Crucible float64 // between crucibles
	Furnace  float64 // between furnaces
	Period   float64 // from one period to the next, where drift is followed
}

const (
	recalledTable = "BCS Inc. for US DOE (2005), Advanced Melting Technologies, table of melt loss: copper-base gas crucible 2-3 %, aluminium gas crucible 4-6 %"
	practice      = "common practice, no source"
)

// Starting returns the default beliefs for the shop's families. A family that is not in the map is taken for bronze.
func Starting(families map[string]Base) Beliefs {
	b := Beliefs{
		Form: [NumForms]Belief{
			Ingot:        {Normal{0.022, 0.010}, recalledTable, "memory"},
			CleanGating:  {Normal{0.027, 0.012}, recalledTable, "memory"},
			Pigs:         {Normal{0.023, 0.010}, recalledTable, "memory"},
			DirtyReturns: {Normal{0.055, 0.025}, practice + ": 5 % and more", "memory"},
			Grindings:    {Normal{0.15, 0.08}, practice, "assumed"},
		},
		Family: map[string]Belief{},
		Share: [NumCauses]Belief{
			Oxidation:   {Normal{Mean: 0.40}, practice, "assumed"},
			Trapped:     {Normal{Mean: 0.35}, practice, "assumed"},
			Spill:       {Normal{Mean: 0.05}, practice, "assumed"},
			Kerf:        {Normal{Mean: 0.10}, practice, "assumed"},
			Unaccounted: {Normal{Mean: 0.10}, practice, "assumed"},
		},
		Superheat:          Belief{Normal{3e-5, 5e-5}, practice, "assumed"},
		Hold:               Belief{Normal{1e-4, 2e-4}, practice, "assumed"},
		ReferenceSuperheat: 120,
		ReferenceHold:      15,
		Spread:             Spreads{Heat: 0.012, Family: 0.010, Crucible: 0.006, Furnace: 0.006, Period: 0.004},
	}
	for name, base := range families {
		switch base {
		case ZincBearing:
			b.Family[name] = Belief{Normal{Mean: 0.010}, "zinc loss per melt 0.5-2 % of the charge for yellow brass, 0.2-0.5 % for 85-5-5-5", "memory"}
		case AluminiumBase:
			b.Family[name] = Belief{Normal{Mean: 0.025}, recalledTable, "memory"}
		default:
			b.Family[name] = Belief{Normal{}, recalledTable, "memory"}
		}
	}
	return b
}

// of scales the beliefs about the whole melt loss down to a set of causes: means with its share, spreads with the root
// of the share, so that independent causes add up to the whole again.
func (b Beliefs) of(set Causes) Beliefs {
	share := 0.0
	for c := range NumCauses {
		if set.Has(c) {
			share += b.Share[c].Mean
		}
	}
	if set == MeltLoss {
		share = 1
	}
	root := math.Sqrt(share)
	scale := func(x Belief) Belief {
		x.Mean *= share
		x.SD *= root
		return x
	}
	for f := range b.Form {
		b.Form[f] = scale(b.Form[f])
	}
	family := make(map[string]Belief, len(b.Family))
	for name, x := range b.Family {
		family[name] = scale(x)
	}
	b.Family = family
	b.Superheat, b.Hold = scale(b.Superheat), scale(b.Hold)
	for _, s := range []*float64{&b.Spread.Heat, &b.Spread.Family, &b.Spread.Crucible, &b.Spread.Furnace, &b.Spread.Period} {
		*s *= root
	}
	return b
}

func (b *Beliefs) check() error {
	refuse := func(field string, x float64, want string) error {
		return &FieldError{Field: "belief: " + field, Value: format(x), Want: want}
	}
	for f, x := range b.Form {
		if !finite(x.Mean) || !(x.SD > 0) || !finite(x.SD) {
			return refuse("loss of "+Form(f).String(), x.SD, "a finite mean and a finite spread above 0")
		}
	}
	for name, x := range b.Family {
		if !finite(x.Mean) {
			return refuse("family "+name, x.Mean, "finite")
		}
	}
	sum := 0.0
	for c, x := range b.Share {
		if !(x.Mean > 0 && x.Mean <= 1) {
			return refuse("share of "+Cause(c).String(), x.Mean, "above 0, at most 1")
		}
		sum += x.Mean
	}
	if !(math.Abs(sum-1) <= 1e-6) {
		return refuse("sum of the causes' shares", sum, "1")
	}
	for what, x := range map[string]Belief{"superheat": b.Superheat, "hold": b.Hold} {
		if !finite(x.Mean) || !(x.SD > 0) || !finite(x.SD) {
			return refuse(what, x.SD, "a finite mean and a finite spread above 0")
		}
	}
	if !finite(b.ReferenceSuperheat) || !finite(b.ReferenceHold) {
		return refuse("reference superheat or hold", b.ReferenceSuperheat, "finite")
	}
	for what, x := range map[string]float64{"heat": b.Spread.Heat, "family": b.Spread.Family, "crucible": b.Spread.Crucible, "furnace": b.Spread.Furnace, "period": b.Spread.Period} {
		if !(x > 0) || !finite(x) {
			return refuse("spread of "+what, x, "above 0 and finite")
		}
	}
	return nil
}
