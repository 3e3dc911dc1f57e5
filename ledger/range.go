package ledger

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"example.org/remelt/ledger/unit"
)

// Range is a figure that is not known exactly, as typed: one figure, "11..14 kg" for the
// lowest and the highest, or "11..12.5..14 kg" with the likeliest between them. Of two the
// likeliest is the middle. Its figures are milligrams, minutes or minor units.
type Range struct {
	Typed  string `json:"typed,omitempty"`
	Low    int64  `json:"low"`
	Likely int64  `json:"likely"`
	High   int64  `json:"high"`
}

// Given reports whether anything was said.
func (r Range) Given() bool { return r.Typed != "" || r.High != 0 }

// bare is a number without a unit.
var bare = regexp.MustCompile(`^[0-9]+(?:[.,][0-9]+)?$`)

// ranged reads a range whose figures read reads. What stands behind the last figure, its
// unit, goes for those that have none.
func ranged(field, typed string, read func(string) (int64, error)) (r Range, err error) {
	if err := checkText(field, typed, 120); err != nil {
		return r, err
	}
	parts := strings.Split(typed, "..")
	if len(parts) > 3 {
		return r, invalid("BAD_RANGE", field, typed, "write one figure, lowest..highest, or lowest..likeliest..highest")
	}
	last := strings.TrimSpace(parts[len(parts)-1])
	suffix := strings.TrimLeft(last, "0123456789.,")
	figures := make([]int64, len(parts))
	for i, p := range parts {
		p = strings.TrimSpace(p)
		if i < len(parts)-1 && bare.MatchString(p) {
			p += suffix
		}
		if figures[i], err = read(p); err != nil {
			var own *Error
			if errors.As(err, &own) {
				return r, err
			}
			return r, wrapUnit(field, err)
		}
	}
	r = Range{typed, figures[0], figures[0], figures[len(figures)-1]}
	switch len(figures) {
	case 2:
		r.Likely = r.Low + (r.High-r.Low)/2
	case 3:
		r.Likely = figures[1]
	}
	if r.Low > r.Likely || r.Likely > r.High {
		return r, invalid("RANGE_ORDER", field, typed, "the lowest comes first and the highest last, such as 11..12.5..14 kg")
	}
	return r, nil
}

// checkRange refuses figures that a program sent out of order or below zero.
func checkRange(field string, r Range, most int64) error {
	if r.Low < 0 || r.Low > r.Likely || r.Likely > r.High || r.High > most {
		return invalid("RANGE_ORDER", field, fmt.Sprintf("%d..%d..%d", r.Low, r.Likely, r.High), "needs 0 ≤ lowest ≤ likeliest ≤ highest")
	}
	return nil
}

// massRange reads a range of weights, in milligrams.
func (d *draft) massRange(field string, r Range) (Range, error) {
	if r.Typed == "" {
		return r, checkRange(field, r, int64(MaxMass))
	}
	return ranged(field, r.Typed, func(s string) (int64, error) { return unit.ParseMass(s, unit.MassUnit(d.shop.MassUnit)) })
}

// hourRange reads a range of times of work, in minutes.
func hourRange(field string, r Range) (Range, error) {
	if r.Typed == "" {
		return r, checkRange(field, r, unit.MaxMinutes)
	}
	return ranged(field, r.Typed, unit.ParseHours)
}

// moneyRange reads a range of amounts in the book's currency, in minor units.
func (d *draft) moneyRange(field string, r Range) (Range, error) {
	if r.Typed == "" {
		return r, checkRange(field, r, unit.MaxMoney)
	}
	return ranged(field, r.Typed, func(s string) (int64, error) {
		minor, currency, err := unit.ParseMoney(s, "")
		if err == nil {
			err = d.ownCurrency(field, r.Typed, currency)
		}
		return minor, err
	})
}

// rateRange reads a range of prices by mass in the book's currency, in minor units for
// a tonne.
func (d *draft) rateRange(field string, r Range) (Range, error) {
	if r.Typed == "" {
		return r, checkRange(field, r, unit.MaxMoney)
	}
	return ranged(field, r.Typed, func(s string) (int64, error) {
		rate, err := unit.ParseRate(s, "", unit.MassUnit(d.shop.MassUnit))
		if err != nil {
			return 0, err
		}
		return rate.Cost(int64(Tonne)), d.ownCurrency(field, r.Typed, rate.Currency)
	})
}
