package ledger

import "fmt"

// alloyOfHeats returns the one alloy and owner of the heats, or "" when there
// is none or they differ.
func (d *draft) alloyOfHeats(hs []HeatShare) (alloy, owner string, err error) {
	for i, s := range hs {
		h, err := d.heat(fmt.Sprintf("heats[%d].heat", i), s.Heat)
		if err != nil {
			return "", "", err
		}
		if i == 0 {
			alloy, owner = h.Alloy, h.Owner
		} else if alloy != h.Alloy {
			return UnknownAlloy, "", nil
		}
	}
	return alloy, owner, nil
}

func sharesGiven(hs []HeatShare) bool {
	for _, h := range hs {
		if h.Share != 0 {
			return true
		}
	}
	return false
}

// heatSources says which accounts returned metal of these heats comes from: the
// molds of the one heat; by shares those of several; and the unknown origin
// when no heat is named, or several without shares, unless that must be
// settled now. A settled heat gives it from what it had left unaccounted.
func (d *draft) heatSources(field string, hs []HeatShare, m Mass, settleNow bool) ([]Source, error) {
	if len(hs) == 0 || len(hs) > 1 && !sharesGiven(hs) {
		if settleNow {
			return nil, invalid("REQUIRED", field, "", "name the heat, or several heats with their shares")
		}
		return []Source{{UnknownOrigin, m}}, nil
	}
	weights := make([]int64, len(hs))
	out := make([]Source, len(hs))
	total := PPM(0)
	for i, s := range hs {
		name := fmt.Sprintf("%s[%d]", field, i)
		if err := checkShare(name+".share", s.Share); err != nil {
			return nil, err
		}
		for _, earlier := range hs[:i] {
			if earlier.Heat == s.Heat {
				return nil, invalid("TWICE", name+".heat", s.Heat, "is named twice")
			}
		}
		h, err := d.heat(name+".heat", s.Heat)
		if err != nil {
			return nil, err
		}
		a, err := d.moldsOf(name+".heat", h)
		if err != nil {
			return nil, err
		}
		out[i].Account, weights[i] = a, int64(s.Share)
		total += s.Share
	}
	if len(hs) == 1 {
		weights[0] = 1
	} else if total != Whole {
		return nil, invalid("SHARES", field, fmt.Sprintf("%g %%", float64(total)/1e4), "the shares must add up to 100 %")
	}
	for i, p := range Apportion(int64(m), weights) {
		out[i].Mass = Mass(p)
	}
	return out, nil
}

// moldsOf returns the account that metal weighed back from a heat comes from.
func (d *draft) moldsOf(field string, h *Heat) (Account, error) {
	switch h.State {
	case Settled:
		d.flagLate(h, "what it had left unaccounted gives the metal")
		return Acct(Unaccounted, h.ID), nil
	case Melting, Late:
		return Acct(InMolds, h.ID), nil
	}
	return "", badState("HEAT_NOT_MELTED", field, h.ID, fmt.Sprintf("is %s; nothing was poured from it", h.State))
}

// flagLate flags what changes a heat after it was settled.
func (d *draft) flagLate(h *Heat, so string) {
	d.flag(FlagLate, fmt.Sprintf("heat %s was settled on %s; %s", h.ID, day(h.Settled), so))
}

// sourceNow is where metal that came from an account goes back to. What was found to be
// no metal of a casting is not put on it again, which may be cut off or gone: its heat
// has it.
func (d *draft) sourceNow(a Account) (Account, error) {
	if a.Kind() == OfCasting {
		var k Casting
		if err := d.must(RecCasting, "casting", a.Ref(), &k); err != nil {
			return "", err
		}
		a = Acct(InMolds, k.Heat)
	}
	return d.accountNow(a)
}

// warnMoreThanPoured flags a heat whose molds gave back more than went in. It
// is shown, not refused: a dirty or a wrong weighing.
func (d *draft) warnMoreThanPoured(a Account) {
	switch a.Kind() {
	case Unaccounted: // of a settled heat
	case InMolds:
		h, err := d.heat("heat", a.Ref())
		if err != nil || h.State != Late { // while it is melting the pour may not be booked yet
			return
		}
	default:
		return
	}
	if have, err := d.balance(a); err == nil && have < 0 {
		d.flag(FlagMoreThanIn, fmt.Sprintf("%s more came back from heat %s than was poured", d.words(-have), a.Ref()))
	}
}
