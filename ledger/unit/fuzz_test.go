package unit

import (
	"errors"
	"testing"
)

// refusal fails the test unless the error is an *Error whose text says something.
func refusal(t *testing.T, text string, err error) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) || e.Text != text || sentences[e.Reason] == "" || e.Want == "" || e.Error() == "" {
		t.Fatalf("%q is refused with %#v", text, err)
	}
}

func FuzzParseMass(f *testing.F) {
	for _, seed := range []string{"12.4 lb", "12 lb 6 oz", "5,2 kg", "1 1/2 lb", "1½#", "1,200 lb", "1.200,5", "-5", "1e9", "12 lb .5 oz", "2 kg 300 g", "1000 t", "0", "\u00a012\u202f3", "1/3 ozt"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		mg, err := ParseMass(text, KG)
		if err != nil {
			refusal(t, text, err)
			return
		}
		if mg < 0 || mg > MaxMass {
			t.Fatalf("%q is read as %d mg", text, mg)
		}
		for _, u := range MassUnits() {
			shown := FormatMass(mg, u, 1)
			if again, err := ParseMass(shown, ""); err != nil || again != mg {
				t.Fatalf("%q is %d mg, shows as %q and parses to %d, %v", text, mg, shown, again, err)
			}
		}
	})
}

func FuzzParseTemperature(f *testing.F) {
	for _, seed := range []string{"1150 C", "2100°F", "2100 f", "-40 ºF", "1150°", "℃", "-459.67 F", "4000", "20,5 deg c", "1,150"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		milliC, err := ParseTemperature(text, C)
		if err != nil {
			refusal(t, text, err)
			return
		}
		if milliC < AbsoluteZero || milliC > MaxTemperature {
			t.Fatalf("%q is read as %d m°C", text, milliC)
		}
		for _, u := range []TempUnit{C, F} {
			shown := FormatTemperature(milliC, u, 1)
			if again, err := ParseTemperature(shown, ""); err != nil || again != milliC {
				t.Fatalf("%q is %d m°C, shows as %q and parses to %d, %v", text, milliC, shown, again, err)
			}
		}
	})
}

func FuzzParseMoney(f *testing.F) {
	for _, seed := range []string{"12.34 USD", "$12", "€ 5,20", "usd.5", "1,200", "1.200,50 EUR", "¥1200", "250 kr.", "-$5", "$-5", "12.345 KWD", "4.85 USD/lb", "10,4 EUR per kg"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		minor, code, err := ParseMoney(text, "USD")
		if err != nil {
			refusal(t, text, err)
		} else {
			shown := FormatMoney(minor, code)
			if again, c, err := ParseMoney(shown, ""); err != nil || again != minor || c != code || minor < 0 {
				t.Fatalf("%q is %d %s, shows as %q and parses to %d %s, %v", text, minor, code, shown, again, c, err)
			}
		}
		rate, err := ParseRate(text, "USD", LB)
		if err != nil {
			refusal(t, text, err)
			return
		}
		if again, err := ParseRate(rate.String(), "", ""); err != nil || again != rate {
			t.Fatalf("%q is %+v, shows as %q and parses to %+v, %v", text, rate, rate, again, err)
		}
		rate.Cost(MaxMass)
	})
}
