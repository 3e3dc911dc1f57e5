package alloy

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The two numbers the trade rule rests on, worked by hand: 0.005 % Si allowed in
// 85-5-5-5 ÷ 4 % Si in silicon bronze = 0.125 kg in 100 kg; 0.09 % Pb allowed in
// C87300 (ASTM B584-14 as quoted in Modern Casting, Sept 2016) ÷ 5 % Pb = 1.8 kg.
func TestMixingReachesTheLimitWorkedByHand(t *testing.T) {
	for _, c := range []struct {
		into, from, element string
		kg, limit, content  float64
	}{
		{"C83600", "C87300", "Si", 0.125, 0.005, 4},
		{"C87300", "85-5-5-5", "Pb", 1.8, 0.09, 5},
	} {
		m, err := Builtin().MayMix(c.into, c.from)
		if err != nil {
			t.Fatal(err)
		}
		if m.OK || m.Element != c.element || m.Least || math.Abs(m.ReachedAt(100)-c.kg) > 1e-9 || m.LimitPct != c.limit || m.ContentPct != c.content {
			t.Errorf("%s into %s: got %+v, want %g kg for %s", c.from, c.into, m, c.kg, c.element)
		}
	}
}

func TestMixingByFamily(t *testing.T) {
	for _, c := range []struct {
		into, from string
		ok         bool
		why        string
	}{
		{"C87300", "c87300", true, "same alloy"},
		{"C84400", "C83600", true, "red brass"},
		{"356.0", "C87300", false, "does not go into"},
		{"A356.0", "535.0", false, "does not go into"},
		{"C95400", "C86300", false, "does not go into"},
		{"A356.0", "356.0", true, "at worst"},        // 356.0 may hold 0.35 % Mn, A356.0 0.10 %
		{"A356.0", "356.0", true, "% of the charge"}, // a share, in whatever unit the shop weighs
		{"C87300", UnknownID, false, "held apart"},
		{UnknownID, UnknownID, false, "held apart"},
	} {
		m, err := Builtin().MayMix(c.into, c.from)
		if err != nil {
			t.Fatal(err)
		}
		if m.OK != c.ok || !strings.Contains(m.Why, c.why) {
			t.Errorf("%s into %s: %v %q, want %v and %q", c.from, c.into, m.OK, m.Why, c.ok, c.why)
		}
	}
	m, _ := Builtin().MayMix("A356.0", "356.0")
	if m.Worst.Element != "Mn" || math.Abs(m.Worst.ReachedAtShare-0.10/0.35) > 1e-12 {
		t.Errorf("at worst: %+v, want Mn at 0.10/0.35", m.Worst)
	}
	if _, err := Builtin().MayMix("C87300", "silicon bronze"); err == nil || !strings.Contains(err.Error(), "from:") {
		t.Errorf("ambiguous name: %v, want an error that names the field", err)
	}
}

// A shop's alloy of no family mixes with nothing but itself; one in a family but
// without limits says that there is no number.
func TestMixingOfShopAlloys(t *testing.T) {
	tab, err := Builtin().With([]Alloy{{ID: "bell metal"}, {ID: "house bronze", Kind: Copper, Family: SiliconBronze}})
	if err != nil {
		t.Fatal(err)
	}
	if m, _ := tab.MayMix("bell metal", "bell metal"); !m.OK {
		t.Errorf("with itself: %+v", m)
	}
	if m, _ := tab.MayMix("bell metal", "C90300"); m.OK || m.Limited {
		t.Errorf("no family: %+v", m)
	}
	if m, _ := tab.MayMix("house bronze", "C87300"); !m.OK || m.Limited || !strings.Contains(m.Why, "no limit") {
		t.Errorf("no limits: %+v", m)
	}
}

// At the share that Reach names, the blend of typical metals sits on the limit
// and on no wrong side of any other: checked through Judge, not through reach.
func TestMixingBlendSitsOnTheLimit(t *testing.T) {
	all := load().alloys
	rapid.Check(t, func(r *rapid.T) {
		a := all[rapid.IntRange(0, len(all)-1).Draw(r, "into")]
		b := all[rapid.IntRange(0, len(all)-1).Draw(r, "from")]
		m := MayMix(a, b)
		if !m.Limited {
			return
		}
		if m.ReachedAtShare < 0 || m.ReachedAtShare > 1 {
			r.Fatalf("share %g", m.ReachedAtShare)
		}
		set, err := a.LimitSet(Casting, "")
		if err != nil {
			r.Fatal(err)
		}
		ca, cb := a.Typical(), b.Typical()
		outside := func(x float64) bool {
			blend := map[string]float64{}
			for e := range ca {
				blend[e] += (1 - x) * ca[e]
			}
			for e := range cb {
				blend[e] += x * cb[e]
			}
			j, err := set.Judge(Casting, blend)
			if err != nil {
				r.Fatal(err)
			}
			return !j.OK
		}
		if outside(0) {
			return // the middle of the ranges is outside already: nothing to reach
		}
		if outside(m.ReachedAtShare*(1-1e-6)) || !outside(m.ReachedAtShare*(1+1e-6)) {
			r.Fatalf("%s into %s: not on the limit: %+v", b.ID, a.ID, m)
		}
	})
}
