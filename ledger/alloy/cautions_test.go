package alloy

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func mustFind(t *testing.T, names ...string) []Alloy {
	t.Helper()
	var out []Alloy
	for _, n := range names {
		a, err := Builtin().Find(n)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, a)
	}
	return out
}

func TestCautionsFollowFromFacts(t *testing.T) {
	for _, c := range []struct {
		name  string
		facts Facts
		want  []string
	}{
		{"nothing known", Facts{}, nil},
		{"silicon bronze", Facts{Melt: true, Alloys: mustFind(t, "C87300")}, []string{CautionWetMetal}},
		{"85-5-5-5", Facts{Melt: true, Alloys: mustFind(t, "C83600")}, []string{CautionWetMetal, CautionZincFume, CautionLead}},
		{"A357", Facts{Melt: true, Alloys: mustFind(t, "A357.0")}, []string{CautionWetMetal, CautionBeryllium, CautionDross}},
		{"Almag", Facts{Melt: true, Alloys: mustFind(t, "535.0"), Degasser: true},
			[]string{CautionWetMetal, CautionBeryllium, CautionMagnesium, CautionDross, CautionChlorine}},
		{"zinc alloy", Facts{Melt: true, Alloys: mustFind(t, "ZA-12")}, []string{CautionWetMetal, CautionZincFume}},
		{"break-out", Facts{Investment: true, Alloys: mustFind(t, "C87300")}, []string{CautionSilica}},
		{"dirty returns", Facts{Melt: true, Dirty: true, Alloys: mustFind(t, "C87300")}, []string{CautionWetMetal, CautionSilica}},
		{"dross kept", Facts{Skimmings: true, Alloys: mustFind(t, "443.0")}, []string{CautionDross}},
		{"full", Facts{Melt: true, Fill: 0.95}, []string{CautionWetMetal, CautionOverfill}},
		{"unknown", Facts{Alloys: []Alloy{Unknown()}}, []string{CautionUnknown}},
		{"measured lead", Facts{Content: map[string]float64{"Pb": 0.4, "Zn": 0.1}}, []string{CautionLead}},
	} {
		var got []string
		for _, caution := range Cautions(c.facts) {
			got = append(got, caution.Code)
			if !strings.HasSuffix(caution.Text, ComesFirst) || caution.Because == "" {
				t.Errorf("%s: %+v does not defer or gives no reason", c.name, caution)
			}
			if strings.Contains(caution.Text, " safe ") || strings.Contains(caution.Because, " safe") {
				t.Errorf("%s: says that something is safe: %q", c.name, caution.Text)
			}
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
}

func TestCautionsNameTheirFacts(t *testing.T) {
	got := Cautions(Facts{Melt: true, PourC: 1093, Alloys: mustFind(t, "C83600")})
	if b := got[1].Because; !strings.Contains(b, "C83600 holds 4–6 % Zn") || !strings.Contains(b, "907 °C") || !strings.Contains(b, "1093 °C") {
		t.Errorf("zinc: %q", b)
	}
	zinc, _ := FindMaterial("Zn")
	if f, _ := zinc.Figure(Boiling); f.Value != zincBoilsC {
		t.Errorf("the boiling point in the text is %d, in the figures %g", zincBoilsC, f.Value)
	}
}
