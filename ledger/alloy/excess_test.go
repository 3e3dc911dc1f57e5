package alloy

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestExcessesOfMeasuredMetal: lead and beryllium clearly over what the alloy may hold, and
// what is another metal; neither scatter nor what the alloy says itself. The limits are
// those of data/limits.csv, with their sources: C87300 at most 0.09 % Pb (ASTM B584-14),
// C83600 4 to 6 % (ASTM B584), C95800 at most 0.03 % (from memory).
func TestExcessesOfMeasuredMetal(t *testing.T) {
	for _, c := range []struct {
		name, alloy string
		content     map[string]float64
		want        []string
	}{
		{"as it should be", "C87300", map[string]float64{"Cu": 95.1, "Si": 3.9, "Mn": 0.9, "Zn": 0.1, "Fe": 0.1, "Pb": 0.02}, nil},
		{"the last digit of lead", "C87300", map[string]float64{"Pb": 0.1}, nil},
		{"a little lead", "C87300", map[string]float64{"Pb": 0.15}, []string{"Pb"}},
		{"lead and beryllium", "C87300", map[string]float64{"Pb": 9, "Be": 2}, []string{"Be", "Pb"}},
		{"a trace of beryllium", "C87300", map[string]float64{"Be": 0.002}, nil},
		{"leaded as it should be, at the top", "C83600", map[string]float64{"Cu": 84, "Sn": 5, "Pb": 6.3, "Zn": 5}, nil},
		{"twice the lead", "C83600", map[string]float64{"Pb": 12}, []string{"Pb"}},
		{"next to none", "C95800", map[string]float64{"Pb": 0.04}, nil},
		{"silicon a little high, iron twice its limit", "C87300", map[string]float64{"Si": 5.2, "Fe": 0.45}, nil},
		{"a brass", "C87300", map[string]float64{"Cu": 60, "Zn": 39}, []string{"Zn"}},
		{"beryllium that the alloy has", "A357.0", map[string]float64{"Be": 0.06}, nil},
		{"and more", "A357.0", map[string]float64{"Be": 0.2}, []string{"Be"}},
		{"nobody knows what it may hold", "unknown", map[string]float64{"Pb": 9}, nil},
	} {
		var got []string
		for _, x := range mustFind(t, c.alloy)[0].Excesses(c.content) {
			got = append(got, x.Element)
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
	for _, a := range Builtin().Alloys() { // what an alloy says of itself is no excess of it
		content := map[string]float64{}
		for _, s := range a.Limits {
			for _, l := range s.Limits {
				if s.Current && l.HasMax && l.Element != OthersEach && l.Element != OthersTotal {
					content[l.Element] = l.Max
				}
			}
		}
		if got := a.Excesses(content); got != nil {
			t.Errorf("%s at the top of its limits: %+v", a.ID, got)
		}
	}
}
