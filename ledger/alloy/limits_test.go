package alloy

import (
	"errors"
	"strings"
	"testing"
)

func castingSet(t *testing.T, id, edition string) LimitSet {
	t.Helper()
	a, err := Builtin().Find(id)
	if err != nil {
		t.Fatal(err)
	}
	s, err := a.LimitSet(Casting, edition)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// An ingot's certificate is never judged by casting rows.
func TestIngotIsNotJudgedByCastingLimits(t *testing.T) {
	for _, a := range Builtin().Alloys() {
		_, err := a.LimitSet(Ingot, "")
		var none *NoLimitsError
		if !errors.As(err, &none) || none.Kind != Ingot || none.Alloy != a.ID {
			t.Errorf("%s: %v, want a NoLimitsError", a.ID, err)
		}
	}
	_, err := castingSet(t, "A356.0", "").Judge(Ingot, map[string]float64{"Si": 7})
	var product *ProductError
	if !errors.As(err, &product) || product.Asks != Casting || product.Of != Ingot {
		t.Errorf("%v, want a ProductError", err)
	}
}

func TestJudge(t *testing.T) {
	good := map[string]float64{"Cu": 85, "Sn": 5, "Pb": 5, "Zn": 4.6, "Fe": 0.1, "Ni": 0.2, "Sb": 0.05, "S": 0.02, "P": 0.01, "Al": 0.001, "Si": 0.001}
	with := func(change map[string]float64) map[string]float64 {
		out := map[string]float64{}
		for e, v := range good {
			out[e] = v
		}
		for e, v := range change {
			if v < 0 {
				delete(out, e)
			} else {
				out[e] = v
			}
		}
		return out
	}
	for _, c := range []struct {
		name     string
		content  map[string]float64
		ok       bool
		complete bool
		outside  string
	}{
		{"inside", good, true, true, ""},
		{"silicon over", with(map[string]float64{"Si": 0.006}), false, true, "Si"},
		{"tin under", with(map[string]float64{"Sn": 3.9, "Cu": 85.9}), false, true, "Sn"},
		{"tin at its limit", with(map[string]float64{"Sn": 4, "Cu": 85.9}), true, true, ""},
		{"lead not measured", with(map[string]float64{"Pb": -1}), true, false, ""},
		{"copper counted with nickel", with(map[string]float64{"Cu": 83.4, "Ni": 0.7, "Zn": 5.2}), true, true, ""},
		{"copper under even so", with(map[string]float64{"Cu": 83.2, "Ni": 0.7, "Zn": 6}), false, true, "Cu"},
		{"cobalt counts as nickel", with(map[string]float64{"Ni": 0.8, "Co": 0.3}), false, true, "Ni"},
		{"too much unnamed", with(map[string]float64{"Zn": 4, "Bi": 0.7, "Cu": 84.6}), false, true, CopperAndNamed},
		{"nothing measured", nil, true, false, ""},
	} {
		j, err := castingSet(t, "C83600", "").Judge(Casting, c.content)
		if err != nil {
			t.Fatal(err)
		}
		var outside []string
		for _, f := range j.Findings {
			if f.Verdict == Outside {
				outside = append(outside, f.Limit.Element)
				if f.Why == "" {
					t.Errorf("%s: outside without a reason", c.name)
				}
			}
		}
		if j.OK != c.ok || j.Complete != c.complete || strings.Join(outside, ",") != c.outside {
			t.Errorf("%s: ok %v complete %v outside %v; want %v %v %q", c.name, j.OK, j.Complete, outside, c.ok, c.complete, c.outside)
		}
	}
}

func TestJudgeOthers(t *testing.T) {
	set := castingSet(t, "356.0", "")
	base := map[string]float64{"Si": 7, "Fe": 0.2, "Cu": 0.1, "Mn": 0.1, "Mg": 0.3, "Zn": 0.1, "Ti": 0.1}
	for _, c := range []struct {
		others  map[string]float64
		outside string
	}{
		{nil, ""},
		{map[string]float64{"Sn": 0.05, "Cr": 0.04}, ""},
		{map[string]float64{"Sn": 0.06}, OthersEach},
		{map[string]float64{"Sn": 0.05, "Cr": 0.05, "Ni": 0.04, "Pb": 0.02}, OthersTotal},
	} {
		content := map[string]float64{}
		for e, v := range base {
			content[e] = v
		}
		for e, v := range c.others {
			content[e] = v
		}
		j, err := set.Judge(Casting, content)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, f := range j.Findings {
			if f.Verdict == Outside {
				got += f.Limit.Element
			}
		}
		if got != c.outside || j.OK != (c.outside == "") {
			t.Errorf("others %v: outside %q, want %q", c.others, got, c.outside)
		}
		if j.Complete != (c.others != nil) {
			t.Errorf("others %v: complete %v", c.others, j.Complete)
		}
		if len(j.Footnotes) == 0 {
			t.Error("the footnote on Fe over 0.45 is not passed on")
		}
	}
}

// The same metal is inside one edition and outside the next, and each answer
// names the edition (C87300 Pb, see TestLimitSetsAreDated).
func TestJudgeByEdition(t *testing.T) {
	metal := map[string]float64{"Cu": 94.5, "Pb": 0.15, "Zn": 0.1, "Fe": 0.1, "Mn": 1.1, "Si": 4.0}
	old, _ := castingSet(t, "C87300", "CDA 2006").Judge(Casting, metal)
	now, _ := castingSet(t, "C87300", "").Judge(Casting, metal)
	if !old.OK || now.OK || old.Set == now.Set {
		t.Errorf("2006: %v (%s), 2014: %v (%s)", old.OK, old.Set, now.OK, now.Set)
	}
}
