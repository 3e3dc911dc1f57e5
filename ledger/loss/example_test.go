package loss

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// load reads one outside case; its source stands in the file and is printed with the test.
func load[In, Out any](t testing.TB, name string) (in In, out Out) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "examples", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var c struct {
		Inputs, Expected json.RawMessage
		Source, Evidence string
	}
	for _, err := range []error{json.Unmarshal(raw, &c), json.Unmarshal(c.Inputs, &in), json.Unmarshal(c.Expected, &out)} {
		if err != nil {
			t.Fatal(name, err)
		}
	}
	if c.Source == "" {
		t.Fatal(name, "names no source")
	}
	t.Logf("%s: %s (%s)", name, c.Source, c.Evidence)
	return in, out
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g ± %.2g", what, got, want, tolerance)
	}
}

// digits is the log relative error, the number of certified digits reached (NIST's measure), at most 15.
func digits(got, want float64) float64 {
	if got == want {
		return 15
	}
	e := math.Abs(got - want)
	if want != 0 {
		e /= math.Abs(want)
	}
	return math.Min(15, -math.Log10(e))
}

// atLeast fails when fewer digits than named were reached; it returns the digits for the record.
func atLeast(t testing.TB, what string, got, want, least float64) float64 {
	t.Helper()
	d := digits(got, want)
	if !(d >= least) {
		t.Errorf("%s: %.1f digits, want %.1f: got %.17g, certified %.17g", what, d, least, got, want)
	}
	return d
}

func second[T any](_ T, err error) error { return err }

// invalid checks that an input was refused with an error that names it.
func invalid(t testing.TB, what string, err error) {
	t.Helper()
	var f *FieldError
	if !errors.Is(err, ErrInvalid) || !errors.As(err, &f) || f.Field == "" || f.Value == "" || f.Want == "" {
		t.Errorf("%s: got %v, want a FieldError with field, value and what would be right", what, err)
	}
}
