package alloy

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestTablesAreWhole(t *testing.T) {
	b, err := read()
	if err != nil {
		t.Fatal(err)
	}
	if len(b.alloys) != 37 || len(b.crucibles) != 34 {
		t.Errorf("%d alloys, %d crucibles", len(b.alloys), len(b.crucibles))
	}
	flags := []Flag{Yes, Memory, Derived}
	for _, a := range b.alloys {
		if len(a.Limits) == 0 || a.Family == "" || a.Kind == "" || a.UNS == "" || len(a.Names) == 0 {
			t.Errorf("%s lacks limits, family, kind, UNS number or names", a.ID)
		}
		current := 0
		for _, s := range a.Limits {
			if s.Kind != Casting {
				t.Errorf("%s: no ingot limits were collected, yet there is a set for %q", s.ID(), s.Kind)
			}
			if s.Current {
				current++
			}
			if len(s.Limits) < 3 {
				t.Errorf("%s has %d rows", s.ID(), len(s.Limits))
			}
			seen := map[string]bool{}
			for _, l := range s.Limits {
				if seen[l.Element] {
					t.Errorf("%s: %s twice", s.ID(), l.Element)
				}
				seen[l.Element] = true
				if l.Source == "" || !slices.Contains(flags, l.Verified) || !(l.HasMin || l.HasMax || l.Remainder) || l.HasMin && l.HasMax && l.Min > l.Max {
					t.Errorf("%s: %+v", s.ID(), l)
				}
				if strings.Contains(l.Source, "memory") != (l.Verified == Memory) {
					t.Errorf("%s: %s source %q flagged %q", s.ID(), l.Element, l.Source, l.Verified)
				}
			}
		}
		if current != 1 {
			t.Errorf("%s has %d current sets", a.ID, current)
		}
		for _, f := range a.Figures {
			if f.Source == "" || f.Unit == "" || !slices.Contains(flags, f.Verified) || f.Value <= 0 {
				t.Errorf("%s: %+v", a.ID, f)
			}
		}
	}
}

// Editions as the sources quote them: Pb of C87300 is 0.09
// since ASTM B584-14 (Modern Casting, Sept 2016) and 0.20 in the CDA sheet of
// 2006; of C87500 0.09 (babsfoundry.com) and 0.50 in older tables
// (conex-casting.com, pwfoundry.com); of C87600 0.50 from memory only; C93200 Zn,
// S and Cu+named and C87850 Cu differ between quotations of ASTM B505.
func TestLimitSetsAreDated(t *testing.T) {
	for _, c := range []struct {
		alloy, edition, element string
		min, max                float64
		flag                    Flag
		carried                 string
	}{
		{"C87300", "", "Pb", 0, 0.09, Yes, ""},
		{"C87300", "CDA 2006", "Pb", 0, 0.20, Yes, ""},
		{"C87300", "", "Si", 3.5, 4.5, Yes, "CDA 2006"},
		{"C87500", "", "Pb", 0, 0.09, Yes, ""},
		{"C87500", "before about 2014", "Pb", 0, 0.50, Yes, ""},
		{"C87500", "before about 2014", "Si", 3.0, 5.0, Yes, "about 2014"},
		{"C87600", "before about 2014", "Pb", 0, 0.50, Memory, ""},
		{"C87610", "before about 2014", "Pb", 0, 0.20, Memory, ""},
		{"C93200", "ASTM B505-18", "Zn", 1, 4, Yes, ""},
		{"C93200", "ASTM B505-23", "Zn", 2, 4, Yes, ""},
		{"C93200", "ASTM B505-23", "S", 0, 0.05, Yes, ""},
		{"C93200", "ASTM B505-23", "Cu+named", 99.5, 0, Yes, ""},
		{"C93200", "ASTM B505-23", "Pb", 6, 8, Yes, "ASTM B505-18"},
		{"C87850", "", "Cu", 74, 78, Yes, ""},
		{"C87850", "ASTM B505-23", "Cu", 75, 78, Yes, ""},
		{"C95400", "older tables", "Ni", 0, 2.5, Yes, ""},
		{"535.0", "saubermfg.com undated", "Cu", 0, 0.10, Yes, ""},
		{"ZA-12", "older editions", "Mg", 0.015, 0.030, Memory, ""},
	} {
		a, err := Builtin().Find(c.alloy)
		if err != nil {
			t.Fatal(err)
		}
		s, err := a.LimitSet(Casting, c.edition)
		if err != nil {
			t.Fatal(err)
		}
		l, ok := s.Limit(c.element)
		if !ok || l.Min != c.min || l.Max != c.max || l.Verified != c.flag || l.Carried != c.carried {
			t.Errorf("%s %s: got %v (%s, carried %q), want %g–%g (%s, %q)", s.ID(), c.element, l, l.Verified, l.Carried, c.min, c.max, c.flag, c.carried)
		}
	}
}

func TestFind(t *testing.T) {
	for name, want := range map[string]string{
		"C87300": "C87300", "c87300": "C87300", " 873 ": "C87300", "A03560": "356.0", "356": "356.0", "a356": "A356.0",
		"sae 660": "C93200", "Gun  Metal": "C90500", "propeller bronze": "C95800", "UNKNOWN": UnknownID, "alloy unsure": UnknownID,
	} {
		if a, err := Builtin().Find(name); err != nil || a.ID != want {
			t.Errorf("Find(%q) = %s, %v; want %s", name, a.ID, err, want)
		}
	}
	var ambiguous *AmbiguousError
	_, err := Builtin().Find("Silicon bronze")
	if !errors.As(err, &ambiguous) || !cmp.Equal(ambiguous.Candidates, []string{"C87200", "C87300", "C87600", "C87610"}) {
		t.Errorf("silicon bronze: %v", err)
	}
	if _, err = Builtin().Find("Aluminum Bronze"); !errors.As(err, &ambiguous) || len(ambiguous.Candidates) != 3 {
		t.Errorf("aluminum bronze: %v", err)
	}
	if _, err = Builtin().Find("adamantium"); !errors.Is(err, ErrNotFound) {
		t.Errorf("adamantium: %v", err)
	}
	if _, err = Builtin().Find(""); !errors.Is(err, ErrNotFound) {
		t.Errorf("empty name: %v", err)
	}
}

func TestBestPrefersWhatWasReadAndIsNotDoubted(t *testing.T) {
	tab := Builtin()
	for _, c := range []struct {
		alloy    string
		property Property
		value    float64
		flag     Flag
	}{
		{"C95200", Density, 7.64, Yes},    // the second page's 8.3 disagrees with CDA
		{"535.0", Solidus, 549, Yes},      // two pages, one doubted
		{"C85200", Density, 8.50, Memory}, // nothing better
		{"413.0", Density, 2.66, Memory},
		{"413.0", Liquidus, 575, Yes}, // memory has 582
	} {
		a, _ := tab.Find(c.alloy)
		if f, ok := a.Figure(c.property); !ok || f.Value != c.value || f.Verified != c.flag {
			t.Errorf("%s %s: %+v, want %g (%s)", c.alloy, c.property, f, c.value, c.flag)
		}
	}
	silicon, _ := tab.Find("C87300")
	if f, _ := silicon.Figure(Solidus); !f.Suspect {
		t.Errorf("the printed solidus of C87300 is doubtful and must say so: %+v", f)
	}
	ranged, _ := tab.Find("C83600")
	if f, _ := ranged.Figure(PourLight); f.Value != 1149 || f.High != 1288 || f.Mid() != 1218.5 {
		t.Errorf("pouring range: %+v", f)
	}
	if _, ok := Unknown().Figure(Density); ok {
		t.Error("unknown metal has no density")
	}
}

// Densities in lb/in³ and temperatures in °F as printed beside the metric ones:
// C90300 0.318 lb/in³ (conex-casting.com, CDA), C95400 0.269 (bronzebearingsinc.com),
// C86500 0.301 (conex-casting.com); C83600 1570 °F and C92200 1810 °F / 1518 °F
// (jmhcopper.com). 27.6799 g/cm³ per lb/in³ follows from the pound and the inch.
func TestFiguresAgreeWithTheirImperialPrint(t *testing.T) {
	for id, lbIn3 := range map[string]float64{"C90300": 0.318, "C95400": 0.269, "C86500": 0.301, "C92200": 0.312, "C87300": 0.302, "C90500": 0.315} {
		a, _ := Builtin().Find(id)
		f, _ := a.Figure(Density)
		if want := lbIn3 * 453.59237 / 16.387064; math.Abs(f.Value-want) > 0.0005*27.7 {
			t.Errorf("%s density %g, want %.3f", id, f.Value, want)
		}
	}
	for _, c := range []struct {
		id       string
		property Property
		f        float64
	}{{"C83600", Solidus, 1570}, {"C92200", Liquidus, 1810}, {"C92200", Solidus, 1518}, {"C87200", Solidus, 1580}, {"C87200", Liquidus, 1780}} {
		a, _ := Builtin().Find(c.id)
		f, _ := a.Figure(c.property)
		if want := (c.f - 32) * 5 / 9; math.Abs(f.Value-want) > 0.51 {
			t.Errorf("%s %s %g °C, want %.1f", c.id, c.property, f.Value, want)
		}
	}
}

func TestShopAdditions(t *testing.T) {
	house := Alloy{ID: "House 7", Names: []string{"studio bronze"}, Kind: Copper, Family: SiliconBronze,
		Figures: []Figure{{Property: Density, Value: 8.4, Unit: "g/cm3", Source: "weighed in water"}},
		Limits:  []LimitSet{{Kind: Ingot, Edition: "order form", Current: true, Limits: []Limit{{Element: "Si", Min: 3, Max: 4, HasMin: true, HasMax: true}}}}}
	tab, err := Builtin().With([]Alloy{house,
		{ID: "c87300", Names: []string{"the usual"}, Figures: []Figure{{Property: Density, Value: 8.5, Unit: "g/cm3"}},
			Limits: []LimitSet{{Kind: Casting, Edition: "shop 2025", Year: 2025, Current: true, Limits: []Limit{{Element: "Pb", Max: 0.05, HasMax: true}}}}}})
	if err != nil {
		t.Fatal(err)
	}
	a, err := tab.Find("Studio Bronze")
	if err != nil || a.ID != "House 7" || !a.Shop || a.Figures[0].Verified != Shop || a.Limits[0].Alloy != "House 7" {
		t.Errorf("studio bronze: %+v, %v", a, err)
	}
	a, err = tab.Find("the usual")
	if err != nil || a.ID != "C87300" || a.Shop {
		t.Fatalf("the usual: %+v, %v", a, err)
	}
	if f, _ := a.Figure(Density); f.Value != 8.5 || f.Verified != Shop {
		t.Errorf("the shop's own density comes first: %+v", f)
	}
	if s, err := a.LimitSet(Casting, ""); err != nil || s.Edition != "shop 2025" {
		t.Errorf("current set: %s, %v", s.ID(), err)
	}
	if s, err := a.LimitSet(Casting, "CDA 2006"); err != nil || s.Year != 2006 {
		t.Errorf("older set is kept: %s, %v", s.ID(), err)
	}
	if before, _ := Builtin().Find("C87300"); len(before.Names) == len(a.Names) {
		t.Error("With changed the built-in table or added nothing")
	}
	for _, bad := range []struct {
		add  Alloy
		says string
	}{
		{Alloy{ID: " "}, "without a designation"},
		{Alloy{ID: "Unknown"}, "nobody has identified"},
		{Alloy{ID: "A03560"}, "UNS number of 356.0"},
		{Alloy{ID: "C87300", Family: RedBrass}, "cannot become"},
		{Alloy{ID: "X", Figures: []Figure{{Property: Density}}}, "not above zero"},
		{Alloy{ID: "X", Limits: []LimitSet{{Kind: "bar"}}}, "for a casting or an ingot"},
		{Alloy{ID: "X", Limits: []LimitSet{{Kind: Ingot, Limits: []Limit{{Element: "Si", Min: 5, Max: 3, HasMin: true, HasMax: true}}}}}, "the least first"},
	} {
		if _, err := Builtin().With([]Alloy{bad.add}); err == nil || !strings.Contains(err.Error(), bad.says) {
			t.Errorf("%+v: %v, want %q", bad.add, err, bad.says)
		}
	}
}
