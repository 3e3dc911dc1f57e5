package shop

import (
	"fmt"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/unit"
)

// handling is how a heat's pots are filled, lifted and poured from, as was asked,
// else as the book says of its crucible, else of its furnace. A nil or zero field
// is not reckoned.
type handling struct {
	fill                         ledger.PPM
	lift, empty, skull, pigMold  *ledger.Mass
	waiting                      *int64 // mm³
	pigMolds                     int
	coolingPerMinute, hottestTap float64 // °C
}

func orZero(m *ledger.Mass) ledger.Mass {
	if m == nil {
		return 0
	}
	return *m
}

// handle finds how the heat is handled and refuses a lift that cannot be reckoned.
func (p *planner) handle(r ledger.Reader) error {
	q := &p.q
	p.as = handling{fill: q.Fill, lift: q.Lift, empty: q.PotMass, skull: q.Skull, pigMold: q.PigMold, waiting: q.Waiting, pigMolds: q.PigMolds,
		coolingPerMinute: q.Cooling, hottestTap: q.MaxTapC}
	for _, id := range []string{p.h.Crucible, p.h.Furnace} {
		if id == "" {
			continue
		}
		var pot ledger.Pot
		rec, found, err := r.Record(ledger.RecPot, id)
		if err != nil {
			return err
		}
		if !found {
			continue
		}
		if err := rec.Into(&pot); err != nil {
			return err
		}
		if id == p.h.Crucible {
			p.crucible = pot
		}
		if said := p.takeFrom(pot.Handling); len(said) > 0 {
			p.note("of %s %s the book says, where nothing else was asked: %s", pot.Kind, pot.ID, strings.Join(said, "; "))
		}
	}
	bad := func(field, value, want string) error {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PLAN", Field: field, Value: value, Want: want}
	}
	switch lift, empty := orZero(p.as.lift), orZero(p.as.empty); {
	case lift > 0 && empty == 0:
		return bad("crucible_mass", "", "say what the empty crucible weighs, or set it with the crucible: it is lifted with the metal")
	case lift > 0 && empty >= lift:
		return bad("lift", p.words(float64(lift)), "must be more than the empty crucible weighs, "+p.words(float64(empty)))
	case p.as.pigMolds > 0 && orZero(p.as.pigMold) == 0:
		return bad("pig_mold", "", "say what one pig mold holds, or set it with the crucible or the furnace")
	}
	return nil
}

// takeFrom takes what was not asked from a pot's record and says what that is.
func (p *planner) takeFrom(h ledger.Handling) (said []string) {
	as := &p.as
	say := func(format string, args ...any) { said = append(said, fmt.Sprintf(format, args...)) }
	if as.fill == 0 && h.Fill > 0 {
		as.fill = h.Fill
		say("it is filled to %.4g %% at most", 100*part(h.Fill))
	}
	mass := func(to **ledger.Mass, m ledger.Mass, format string) bool {
		if *to != nil || m == 0 {
			return false
		}
		*to = &m
		say(format, p.words(float64(m)))
		return true
	}
	mass(&as.empty, h.Empty, "it weighs %s empty")
	mass(&as.lift, h.Lift, "%s are lifted at most, crucible and metal")
	mass(&as.skull, h.Skull, "%s stay in it after the pour")
	if mass(&as.pigMold, h.PigMold, "a pig mold holds %s") && as.pigMolds == 0 && h.PigMolds > 0 { // how many belongs to what each holds
		as.pigMolds = int(h.PigMolds)
		say("there are %s", counted(as.pigMolds, "pig mold"))
	}
	if as.waiting == nil && h.Waiting > 0 {
		as.waiting = &h.Waiting
		say("%.4g l of loose metal can wait preheated", float64(h.Waiting)/1e6)
	}
	if as.coolingPerMinute == 0 && h.CoolingMC > 0 {
		as.coolingPerMinute = float64(h.CoolingMC) / 1000
		say("the melt loses %s a minute", degrees(p.settings, as.coolingPerMinute))
	}
	if as.hottestTap == 0 && h.MaxTapMC > 0 {
		as.hottestTap = float64(h.MaxTapMC) / 1000
		say("a melt leaves it at %s at most", unit.FormatTemperature(h.MaxTapMC, unit.TempUnit(p.settings.TempUnit), 0))
	}
	return said
}
