package unit_test

import (
	"errors"
	"testing"

	"example.org/remelt/ledger/unit"
)

func TestSurcharge(t *testing.T) {
	if got, err := unit.ParseSurcharge("250 %"); err != nil || got != 2_500_000 {
		t.Errorf("%d, %v", got, err)
	}
	var e *unit.Error
	if _, err := unit.ParseSurcharge("1001"); !errors.As(err, &e) || e.Reason != unit.TooLarge {
		t.Error(err)
	}
	if _, err := unit.ParsePercent("250"); !errors.As(err, &e) || e.Reason != unit.TooLarge {
		t.Error(err)
	}
}

func TestHours(t *testing.T) {
	for text, want := range map[string]int64{"2.5": 150, "2.5 h": 150, "2 h 30 min": 150, "45 min": 45, "1 1/2 hours": 90, "0,25 hr": 15, "0": 0} {
		if got, err := unit.ParseHours(text); err != nil || got != want {
			t.Errorf("%q: %d, %v, want %d", text, got, err, want)
		}
	}
	for text, want := range map[string]string{"-3": unit.Negative, "-3 h": unit.Negative, "": unit.Empty, "3 days": unit.UnknownUnit, "2 h 75 min": unit.BadCompound, "99999 h": unit.TooLarge} {
		_, err := unit.ParseHours(text)
		var e *unit.Error
		if !errors.As(err, &e) || e.Reason != want {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
	for minutes, want := range map[int64]string{150: "2 h 30 min", 45: "45 min", 180: "3 h", 0: "0 min"} {
		if got := unit.FormatHours(minutes); got != want {
			t.Errorf("%d: %s, want %s", minutes, got, want)
		}
	}
}
