package unit

import "testing"

func TestParseMoney(t *testing.T) {
	for _, c := range []struct {
		text, def string
		minor     int64
		currency  string
	}{
		{"12.34 USD", "EUR", 1234, "USD"},
		{"usd 12.34", "EUR", 1234, "USD"},
		{"12,3 eur", "USD", 1230, "EUR"},
		{"12", "USD", 1200, "USD"},
		{"$12.34", "CAD", 1234, "CAD"},
		{"$12.34 CAD", "USD", 1234, "CAD"},
		{"US$12.34", "EUR", 1234, "USD"},
		{"$.50", "USD", 50, "USD"},
		{"€ 5,20", "USD", 520, "EUR"},
		{"5,20€", "USD", 520, "EUR"},
		{"£5", "USD", 500, "GBP"},
		{"1200 JPY", "USD", 1200, "JPY"},
		{"¥1200", "JPY", 1200, "JPY"},
		{"12.345 KWD", "USD", 12345, "KWD"},
		{"250 kr", "SEK", 25000, "SEK"},
		{"250 kr.", "DKK", 25000, "DKK"},
		{"12,50 zł", "EUR", 1250, "PLN"},
		{"0", "USD", 0, "USD"},
	} {
		minor, code, err := ParseMoney(c.text, c.def)
		if err != nil || minor != c.minor || code != c.currency {
			t.Errorf("ParseMoney(%q, %s) = %d %s, %v; want %d %s", c.text, c.def, minor, code, err, c.minor, c.currency)
		}
	}
}

func TestParseMoneyRefuses(t *testing.T) {
	for text, reason := range map[string]string{
		"":                        Empty,
		"USD":                     NotANumber,
		"1/2 USD":                 NotANumber,
		"1e3 USD":                 NotANumber,
		"Fr.5":                    NotANumber, // "Fr. 5" or "Fr 0.5"
		"12.345 USD":              TooManyDecimals,
		"12.340 USD":              TooManyDecimals, // it may be a grouped 12340
		"1.5 JPY":                 TooManyDecimals,
		"1,200 USD":               AmbiguousComma,
		"1.200,50 EUR":            GroupedDigits,
		"$1,200.50":               GroupedDigits,
		"1 200 EUR":               GroupedDigits,
		"-5 USD":                  Negative,
		"$-5":                     Negative,
		"-$5":                     Negative,
		"12 XYZ":                  UnknownCurrency,
		"12 bucks":                UnknownCurrency,
		"USD 5 EUR":               AmbiguousCurrency,
		"€5 USD":                  AmbiguousCurrency,
		"¥500":                    AmbiguousCurrency,
		"250 kr":                  AmbiguousCurrency,
		"99999999999999999999":    TooLarge,
		"10000000000000.01":       TooLarge,
		"10000000000000000.1 KWD": TooLarge,
	} {
		_, _, err := ParseMoney(text, "USD")
		refused(t, text, err, "money", reason)
	}
	_, _, err := ParseMoney("$5", "EUR")
	refused(t, "$5", err, "money", AmbiguousCurrency)
	_, _, err = ParseMoney("5", "")
	refused(t, "5", err, "money", MissingCurrency)
	_, _, err = ParseMoney("5", "XYZ")
	refused(t, "5", err, "money", UnknownCurrency)
}

func TestFormatMoney(t *testing.T) {
	for _, c := range []struct {
		minor    int64
		currency string
		want     string
	}{
		{1230, "USD", "12.30 USD"}, {5, "EUR", "0.05 EUR"}, {-5, "EUR", "-0.05 EUR"}, {0, "USD", "0.00 USD"},
		{1200, "JPY", "1200 JPY"}, {12345, "KWD", "12.345 KWD"}, {-9223372036854775808, "USD", "-92233720368547758.08 USD"},
		{1234, "XYZ", "1234 minor XYZ"},
	} {
		if got := FormatMoney(c.minor, c.currency); got != c.want {
			t.Errorf("FormatMoney(%d, %s) = %q, want %q", c.minor, c.currency, got, c.want)
		}
	}
}

func TestParseRate(t *testing.T) {
	for _, c := range []struct {
		text string
		want Rate
		show string
	}{
		{"4.85 USD/lb", Rate{4850000, "USD", LB}, "4.85 USD/lb"},
		{"$4.8525/lb", Rate{4852500, "USD", LB}, "4.8525 USD/lb"},
		{"4.8525 per pound", Rate{4852500, "USD", LB}, "4.8525 USD/lb"},
		{"10,4 EUR / kg", Rate{10400000, "EUR", KG}, "10.40 EUR/kg"},
		{"1200 JPY/kg", Rate{12000000, "JPY", KG}, "1200 JPY/kg"},
		{"4.851234", Rate{4851234, "USD", LB}, "4.851234 USD/lb"},
	} {
		got, err := ParseRate(c.text, "USD", LBOZ)
		if err != nil || got != c.want || got.String() != c.show {
			t.Errorf("ParseRate(%q) = %+v (%s), %v; want %+v (%s)", c.text, got, got, err, c.want, c.show)
		}
	}
	for text, reason := range map[string]string{
		"": Empty, "/lb": NotANumber, "4.85 USD/stone": UnknownUnit, "-4 USD/lb": Negative, "4.8512345": TooManyDecimals,
		"1,200 USD/t": AmbiguousComma, "4 XYZ/lb": UnknownCurrency, "100 USD/mg": TooLarge, "99999999999 USD/mg": TooLarge,
		"4 USD/Mg": AmbiguousUnit,
	} {
		_, err := ParseRate(text, "USD", LB)
		refused(t, text, err, "price", reason)
	}
	_, err := ParseRate("4 USD", "USD", "")
	refused(t, "4 USD", err, "price", MissingUnit)
}

// A pound and a kilogram cost what they say; the pound is the published one.
func TestRateCost(t *testing.T) {
	for _, c := range []struct {
		rate, mass string
		want       int64
	}{
		{"4.85 USD/lb", "100 lb", 48500},
		{"4.85 USD/lb", "1 kg", 1069},      // 4.85 / 0.45359237 = 10.6924…
		{"0.05 USD/kg", "500 g", 2},        // 2.5 cents to the even 2
		{"0.07 USD/kg", "500 g", 4},        // 3.5 cents to the even 4
		{"4.8525 USD/lb", "12.4 lb", 6017}, // 60.171 USD
		{"1200 JPY/kg", "12.3456 kg", 14815},
		{"0 USD/kg", "5 kg", 0},
	} {
		r, err := ParseRate(c.rate, "", "")
		if err != nil {
			t.Error(err)
			continue
		}
		mg, err := ParseMass(c.mass, "")
		if err != nil {
			t.Error(err)
			continue
		}
		if got := r.Cost(mg); got != c.want {
			t.Errorf("%s of %s cost %d, want %d", c.mass, c.rate, got, c.want)
		}
		if got := r.Cost(-mg); got != -c.want {
			t.Errorf("minus %s of %s cost %d, want %d", c.mass, c.rate, got, -c.want)
		}
	}
	if got := (Rate{}).Cost(5); got != 0 {
		t.Errorf("the zero rate costs %d", got)
	}
}

func TestRateBounds(t *testing.T) {
	dearest := Rate{maxPerMilligram * RateUnit, "USD", MG}
	if err := dearest.Validate(); err != nil {
		t.Fatal(err)
	}
	if got, want := dearest.Cost(1e15), int64(9e18); got != want {
		t.Errorf("dearest cost %d, want %d", got, want)
	}
	for _, bad := range []Rate{{dearest.Amount + 1, "USD", MG}, {1, "XYZ", KG}, {1, "USD", LBOZ}, {-1, "USD", KG}, {}} {
		if bad.Validate() == nil {
			t.Errorf("%+v passes for a valid rate", bad)
		}
	}
	for _, overflow := range []func(){
		func() { Rate{1, "USD", "stone"}.Cost(1) },
		func() { dearest.Cost(2e15) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("an impossible cost is given as a number")
				}
			}()
			overflow()
		}()
	}
}
