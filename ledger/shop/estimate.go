package shop

import (
	"context"
	"fmt"
	"math"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

func rootSquares(a, b float64) float64 { return math.Round(math.Hypot(a, b)) }

// plus writes an allowance.
func plus(allow float64) string {
	if allow == 0 {
		return ""
	}
	return fmt.Sprintf(" + %g %%", allow*100)
}

// MoldEstimate is how much metal a mold wants, and how that was reckoned.
type MoldEstimate struct {
	Metal   ledger.Mass
	How     string // one sentence with the figures and their sources
	Density alloy.Figure
}

// Pattern is what is known of a casting before it is cast: the weight of its
// wax (or other pattern of known density), or its volume.
type Pattern struct {
	Wax        ledger.Mass
	WaxDensity float64 // g/cm³; 0 takes the table's casting wax
	VolumeMm3  int64
	Allowance  ledger.PPM // added for what the pattern does not show
}

// EstimateMetal reckons the metal a pattern wants: wax × metal density ÷ wax
// density, or volume × density. Only one of the two may be given.
func (s *Shop) EstimateMetal(ctx context.Context, alloyName string, p Pattern) (MoldEstimate, error) {
	id, _, err := s.ResolveAlloy(ctx, alloyName)
	if err != nil {
		return MoldEstimate{}, err
	}
	table, err := s.Table(ctx)
	if err != nil {
		return MoldEstimate{}, err
	}
	bad := func(field, value, want string) error {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PATTERN", Field: field, Value: value, Want: want}
	}
	a, err := table.Find(id)
	if err != nil {
		return MoldEstimate{}, bad("alloy", id, "is not in the alloy table")
	}
	density, ok := a.Figure(alloy.Density)
	if !ok {
		return MoldEstimate{}, bad("alloy", id, "has no density in the table; add it to the shop's alloys")
	}
	if p.Allowance < 0 || p.Allowance > ledger.Whole {
		return MoldEstimate{}, bad("allowance_percent", fmt.Sprint(p.Allowance), "must be between 0 and 100 %")
	}
	allow := float64(p.Allowance) / float64(ledger.Whole)
	e := MoldEstimate{Density: density}
	switch {
	case p.Wax > 0 && p.VolumeMm3 > 0:
		return e, bad("wax", fmt.Sprint(p.Wax), "give a wax weight or a volume, not both")
	case p.Wax > 0:
		wd := p.WaxDensity
		src := "given"
		if wd == 0 {
			f, ok := alloy.WaxDensity("")
			if !ok {
				return e, bad("wax_density", "", "say the density of the wax")
			}
			wd, src = f.Value, "table"
		}
		m, err := alloy.WaxToMetal(float64(p.Wax), allow, density.Value, wd)
		if err != nil {
			return e, bad("wax_density", fmt.Sprint(wd), err.Error())
		}
		e.Metal = ledger.Mass(math.Round(m))
		e.How = fmt.Sprintf("from the wax%s: metal %.2f, wax %.3f g/cm³ (%s)", plus(allow), density.Value, wd, src)
	case p.VolumeMm3 > 0: // 1 mm³ at 1 g/cm³ is 1 mg
		e.Metal = ledger.Mass(math.Round(float64(p.VolumeMm3) * density.Value * (1 + allow)))
		e.How = fmt.Sprintf("from the volume%s at %.2f g/cm³", plus(allow), density.Value)
	default:
		return e, bad("wax", "", "give a wax weight or a volume")
	}
	if e.Metal > ledger.MaxMass {
		return e, bad("wax", fmt.Sprint(p.Wax), "is absurdly heavy")
	}
	return e, nil
}
