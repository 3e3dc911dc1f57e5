package unit

import (
	"encoding/csv"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// published reads a table of figures from outside the project; its head names
// the source. Every row is a map from column to value.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "units", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, column := range rows[0] {
			m[column] = row[i]
		}
		out = append(out, m)
	}
	if len(out) == 0 {
		t.Fatalf("%s has no rows", name)
	}
	return out
}

func rat(t *testing.T, s string) *big.Rat {
	t.Helper()
	v, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatalf("bad number %q", s)
	}
	return v
}

// A thousand of each mass and ten thousand of each volume are the published size, to the milligram or cubic
// millimetre where it is exact and to half its last digit where it is rounded.
func TestUnitsHaveTheirPublishedSizes(t *testing.T) {
	perBase := map[string]*big.Rat{"kg": big.NewRat(1e6, 1), "m3": big.NewRat(1e9, 1)}
	checked := map[string]bool{}
	for _, row := range published(t, "conversions.csv") {
		var got int64
		var err error
		count := big.NewRat(1000, 1)
		if row["kind"] == "mass" {
			got, err = ParseMass("1000 "+row["unit"], "")
		} else {
			count = big.NewRat(10_000, 1) // the fluid ounce is exact to a 10^7th of a mm3
			got, err = ParseVolume("10000 "+row["unit"], "")
		}
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		checked[row["unit"]] = row["exact"] == "yes" || checked[row["unit"]]
		want := rat(t, row["value"])
		slack := big.NewRat(1, 2) // the one rounding
		if row["exact"] == "no" {
			_, decimals, _ := strings.Cut(row["value"], ".")
			last := new(big.Rat).Quo(big.NewRat(1, 2), power10(len(decimals)))
			slack.Add(slack, last.Mul(last, perBase[row["base"]]).Mul(last, count))
		}
		want.Mul(want, perBase[row["base"]]).Mul(want, count)
		off := new(big.Rat).Sub(new(big.Rat).SetInt64(got), want)
		if off.Abs(off).Cmp(slack) > 0 {
			t.Errorf("%s %s = %d, published %s (%s)", count.RatString(), row["unit"], got, want.FloatString(3), row["source"])
		}
	}
	for _, u := range []string{"lb", "oz", "ozt", "ton", "t", "in3", "ft3", "gal", "fl oz", "l"} {
		if !checked[u] {
			t.Errorf("no published exact size checks %s", u)
		}
	}
}

// NIST SP 811, Appendix B.7.1, rounds 6.974 951 5 to 6.974 952 and 6.974 950 5 to
// 6.974 950: a lone 5 goes to the even digit.
func TestRoundsHalfToEvenAsNISTDoes(t *testing.T) {
	for text, want := range map[string]int64{"6.9749515 kg": 6974952, "6.9749505 kg": 6974950} {
		got, err := ParseMass(text, "")
		if err != nil || got != want {
			t.Errorf("ParseMass(%q) = %d, %v; NIST rounds to %d", text, got, err, want)
		}
	}
	for text, want := range map[string]string{"6.9749515": "6.974952", "6.9749505": "6.974950", "-6.9749515": "-6.974952"} {
		if got := fixed(rat(t, text), 6); got != want {
			t.Errorf("fixed(%s, 6) = %s; NIST rounds to %s", text, got, want)
		}
	}
}

func TestTemperaturePairsAsPrinted(t *testing.T) {
	for _, row := range published(t, "temperatures.csv") {
		got, err := ParseTemperature(row["fahrenheit"]+" F", "")
		if err != nil {
			t.Error(err)
			continue
		}
		if row["exact"] == "yes" {
			want, err := ParseTemperature(row["celsius"]+" C", "")
			if err != nil || got != want {
				t.Errorf("%s °F = %d m°C, printed %s °C (%d, %v)", row["fahrenheit"], got, row["celsius"], want, err)
			}
			if back := FormatTemperature(want, F, 10); back != fixed(rat(t, row["fahrenheit"]), 2)+" °F" {
				t.Errorf("%s °C shows as %s, printed %s °F", row["celsius"], back, row["fahrenheit"])
			}
			continue
		}
		if s := FormatTemperature(got, C, 0); s != row["celsius"]+" °C" {
			t.Errorf("%s °F = %s, printed %s °C", row["fahrenheit"], s, row["celsius"])
		}
	}
}

// A thousand cubic inches of an alloy weigh a thousand times its pounds per cubic
// inch; milligrams over cubic millimetres are grams per cubic centimetre.
func TestDensityPairsAsPrinted(t *testing.T) {
	volume, err := ParseVolume("1000 in3", "")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range published(t, "densities.csv") {
		pounds := new(big.Rat).Mul(rat(t, row["lb_per_in3"]), big.NewRat(1000, 1))
		mass, err := ParseMass(pounds.FloatString(0)+" lb", "")
		if err != nil {
			t.Error(err)
			continue
		}
		got := fixed(big.NewRat(mass, volume), 2)
		if (got == row["g_per_cm3"]) != (row["agrees"] == "yes") {
			t.Errorf("%s: %s lb/in3 = %s g/cm3, printed %s, agrees=%s", row["alloy"], row["lb_per_in3"], got, row["g_per_cm3"], row["agrees"])
		}
	}
}

func TestMinorUnitsAsInISO4217(t *testing.T) {
	var listed []string
	for _, row := range published(t, "currencies.csv") {
		code := row["code"]
		listed = append(listed, code)
		one, got, err := ParseMoney("1 "+code, "")
		if err != nil || got != code {
			t.Errorf("ParseMoney(1 %s) = %s, %v", code, got, err)
			continue
		}
		if want := "1" + strings.Repeat("0", int(row["minor_digits"][0]-'0')); big.NewInt(one).String() != want {
			t.Errorf("1 %s = %d minor units, ISO 4217 says %s", code, one, want)
		}
	}
	if diff := cmp.Diff(listed, Currencies()); diff != "" {
		t.Errorf("currencies known here and checked against ISO 4217 differ (-listed +known):\n%s", diff)
	}
}
