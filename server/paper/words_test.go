package paper

import (
	"strings"
	"testing"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

func TestCompareIDs(t *testing.T) {
	for _, c := range []struct {
		x, y string
		want int
	}{{"7", "65", -1}, {"L9-1", "L10-3", -1}, {"41-2", "41-10", -1}, {"A", "B", -1}, {"41", "41", 0}, {"007", "7", 0}, {"L2", "A10", 1}, {"41", "41-1", -1}} {
		if got := CompareIDs(c.x, c.y); got != c.want {
			t.Errorf("%s to %s: %d, want %d", c.x, c.y, got, c.want)
		}
	}
}

// An exported mass reads back as the same milligrams; text cannot become a formula.
func TestCSVCell(t *testing.T) {
	for _, u := range []unit.MassUnit{unit.KG, unit.G, unit.LB, unit.LBOZ} {
		table := &Table{unit: single(u)}
		for _, mg := range []int64{0, 1, 453592, 12_400_001, -17, 999_999_999_999} {
			cell := table.cell(&pb.Mass{Mg: mg})
			back, err := unit.ParseMass(strings.TrimPrefix(cell, "-"), table.unit)
			if mg < 0 {
				back = -back
			}
			if err != nil || back != mg {
				t.Errorf("%d mg in %s is %q and reads back as %d, %v", mg, u, cell, back, err)
			}
		}
	}
	for in, want := range map[string]string{"=1+1": "'=1+1", "+1": "'+1", "-3": "'-3", "@x": "'@x", "\tx": "'\tx", "cup": "cup", "": ""} {
		if got := (&Table{}).cell(in); got != want {
			t.Errorf("%q became %q, want %q", in, got, want)
		}
	}
	if got := (&Table{}).cell(Number("-3.20")); got != "-3.20" {
		t.Errorf("a number became %q", got)
	}
}
