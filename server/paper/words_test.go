package paper

import (
	"fmt"
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

// A reading that was typed on the other scale is shown on the shop's: 1010 °C are 1850 °F,
// 2050 °F 1121 °C, and 1 K is 1.8 °F (NIST SP 811, appendix B.8).
func TestDegreesOfTheShop(t *testing.T) {
	for _, c := range []struct {
		milliC int64
		typed  string
		u      unit.TempUnit
		want   string
	}{{1_010_000, "1010 C", unit.F, "1850 °F (typed 1010 C)"}, {1_121_111, "2050 F", unit.F, "2050 °F"}, {1_121_111, "2050", unit.F, "2050 °F"}, {1_121_111, "2050 F", unit.C, "1121 °C (typed 2050 F)"},
		{1_120_500, "1120.5", unit.C, "1120 °C (typed 1120.5)"}, {1_120_000, "", unit.C, "1120 °C"}} {
		if got := Degrees(&pb.Temperature{MilliCelsius: c.milliC, Text: c.typed}, c.u); got != c.want {
			t.Errorf("%q is shown as %q, want %q", c.typed, got, c.want)
		}
	}
	learned := []*pb.LossEffect{{What: "ingot", Learned: &pb.LossRate{Percent: 1.8}}, {What: "superheat, per K", Learned: &pb.LossRate{Percent: 1.8, SdPercent: 0.9}}}
	for u, want := range map[unit.TempUnit]string{unit.C: "superheat, per K 1.8 0.9", unit.F: "superheat, per °F 1.0 0.5"} {
		e := LossEffects(learned, u)[1]
		if got := fmt.Sprintf("%s %.1f %.1f", e.GetWhat(), e.GetLearned().GetPercent(), e.GetLearned().GetSdPercent()); got != want {
			t.Errorf("in %s: %q, want %q", u, got, want)
		}
	}
	if learned[1].GetLearned().GetPercent() != 1.8 {
		t.Error("what was answered is changed by showing it")
	}
}
