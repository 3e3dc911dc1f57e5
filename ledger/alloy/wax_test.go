package alloy

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// published reads one case of published figures kept with its source.
func published(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "examples", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

func waxToMetal(t *testing.T, wax, allowance, metal, density float64) float64 {
	t.Helper()
	got, err := WaxToMetal(wax, allowance, metal, density)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// Sources: romanoff.com help and casting tips pages (h01, h02), densities of the
// romanoff and riogrande pages (h05), riogrande.com 5 g × 13.07 with 10 %.
func TestWaxToMetalAsPublished(t *testing.T) {
	var h01 struct {
		Inputs struct {
			Wax    float64 `json:"wax_g"`
			Button float64 `json:"button_fraction"`
			SG     float64
		}
		Expected struct {
			Metal float64 `json:"metal_g"`
		}
		Tolerance struct{ Abs float64 }
	}
	published(t, "h01-wax-14k", &h01)
	if got := waxToMetal(t, h01.Inputs.Wax, h01.Inputs.Button, h01.Inputs.SG, 1); math.Abs(got-h01.Expected.Metal) > h01.Tolerance.Abs {
		t.Errorf("h01: %g, want %g", got, h01.Expected.Metal)
	}

	var h02 struct {
		Inputs struct {
			Gross float64 `json:"gross_g"`
			Base  float64 `json:"base_g"`
			SG    float64
		}
		Expected struct {
			Wax   float64 `json:"wax_g"`
			Metal float64 `json:"metal_g"`
			Gold  float64 `json:"gold750_at_15_2"`
		}
		Tolerance struct{ Abs float64 }
	}
	published(t, "h02-wax-silver", &h02)
	wax := h02.Inputs.Gross - h02.Inputs.Base
	if math.Abs(wax-h02.Expected.Wax) > h02.Tolerance.Abs ||
		math.Abs(waxToMetal(t, wax, 0, h02.Inputs.SG, 1)-h02.Expected.Metal) > h02.Tolerance.Abs ||
		math.Abs(waxToMetal(t, wax, 0, 15.2, 1)-h02.Expected.Gold) > h02.Tolerance.Abs {
		t.Errorf("h02: wax %g, metal %g, gold %g, want %+v", wax, waxToMetal(t, wax, 0, h02.Inputs.SG, 1), waxToMetal(t, wax, 0, 15.2, 1), h02.Expected)
	}

	var h05 struct {
		Inputs struct {
			Wax       []float64 `json:"wax_density"`
			Bronze    float64
			Aluminium float64
		}
		Expected struct {
			Bronze    float64 `json:"bronze_ratio_wax_1"`
			Aluminium float64 `json:"aluminium_ratio_wax_1"`
		}
		Tolerance struct{ Abs float64 }
	}
	published(t, "h05-wax-ratios", &h05)
	if got := waxToMetal(t, 1, 0, h05.Inputs.Bronze, h05.Inputs.Wax[1]); math.Abs(got-h05.Expected.Bronze) > h05.Tolerance.Abs {
		t.Errorf("h05 bronze: %g, want %g", got, h05.Expected.Bronze)
	}
	if got := waxToMetal(t, 1, 0, h05.Inputs.Aluminium, h05.Inputs.Wax[1]); math.Abs(got-h05.Expected.Aluminium) > h05.Tolerance.Abs {
		t.Errorf("h05 aluminium: %g, want %g", got, h05.Expected.Aluminium)
	}

	// Common practice, no source: about 10 of bronze and 3 of aluminium for 1 of wax.
	if b, al := waxToMetal(t, 1, 0.1, h05.Inputs.Bronze, 0.96), waxToMetal(t, 1, 0.1, h05.Inputs.Aluminium, 0.96); math.Abs(b-10) > 0.2 || math.Abs(al-3) > 0.2 {
		t.Errorf("with a tenth allowed and wax of 0.96: bronze %g, aluminium %g", b, al)
	}

	if got := waxToMetal(t, 5, 0.1, 13.07, 1); math.Abs(got-71.89) > 0.0051 { // riogrande.com prints 71.89, the product is 71.885
		t.Errorf("riogrande pair: %g, want 71.89", got)
	}
}

func TestWaxToMetalRefuses(t *testing.T) {
	for _, bad := range [][4]float64{{-1, 0, 8, 1}, {1, -0.1, 8, 1}, {1, 0, 0, 1}, {1, 0, 8, 0}, {math.NaN(), 0, 8, 1}, {1, 0, math.Inf(1), 1}} {
		if got, err := WaxToMetal(bad[0], bad[1], bad[2], bad[3]); err == nil {
			t.Errorf("WaxToMetal(%v) = %g, want an error", bad, got)
		}
	}
	if f, ok := WaxDensity(""); !ok || f.Value != 1.00 || f.Verified != Yes { // romanoff.com metal weight table
		t.Errorf("wax density: %+v", f)
	}
	if _, ok := WaxDensity("beeswax"); ok {
		t.Error("a wax that is not in the table has no density")
	}
}
