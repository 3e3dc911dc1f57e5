package server

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/unit"
)

func indexed(field string, i int) string { return fmt.Sprintf("%s[%d]", field, i) }

func sub(field, part string) string { return field + "." + part }

// unitError makes a refusal of package unit the refusal of a field.
func (d *desk) unitError(field string, err error) {
	var e *unit.Error
	if errors.As(err, &e) {
		d.invalid(e.Reason, field, e.Text, e.Want)
		return
	}
	d.fail(err)
}

func (d *desk) massUnit() unit.MassUnit { return unit.MassUnit(d.settings.MassUnit) }

func (d *desk) massText(mg int64) string { return unit.FormatMass(mg, d.massUnit(), 0) }

// mass shows a mass.
func (d *desk) mass(m ledger.Mass) *pb.Mass {
	return &pb.Mass{Mg: int64(m), Text: d.massText(int64(m))}
}

// massOrNil shows a mass that may not be there.
func (d *desk) massOrNil(m ledger.Mass) *pb.Mass {
	if m == 0 {
		return nil
	}
	return d.mass(m)
}

// quantity shows an amount with what was typed; nil when there is none.
func (d *desk) quantity(q ledger.Quantity) *pb.Mass {
	if q == (ledger.Quantity{}) {
		return nil
	}
	m := d.mass(q.Mass)
	m.Typed = q.Typed
	return m
}

// amount reads a mass; the book reads its text. A text that only shows the
// milligrams beside it, as this server writes it, says nothing of its own; what
// was typed at first then stays what was typed.
func (d *desk) amount(m *pb.Mass) ledger.Quantity {
	q := ledger.Quantity{Typed: m.GetText(), Mass: ledger.Mass(m.GetMg())}
	if q.Typed == "" || q.Mass == 0 || q.Typed != d.massText(m.GetMg()) {
		return q
	}
	q.Typed = ""
	if mg, err := unit.ParseMass(m.GetTyped(), d.massUnit()); err == nil && mg == m.GetMg() {
		q.Typed = m.GetTyped()
	}
	return q
}

// milligrams reads a mass that the book takes as a number.
func (d *desk) milligrams(field string, m *pb.Mass) ledger.Mass {
	q := d.amount(m)
	if q.Typed == "" || d.err != nil {
		return q.Mass
	}
	mg, err := unit.ParseMass(q.Typed, d.massUnit())
	if err != nil {
		d.unitError(field, err)
	} else if q.Mass != 0 && q.Mass != ledger.Mass(mg) {
		d.contradiction(field, q.Typed, mg, int64(q.Mass), "mg")
	}
	return ledger.Mass(mg)
}

// milligramsOrNil reads a mass of which 0 says something else than nothing.
func (d *desk) milligramsOrNil(field string, m *pb.Mass) *ledger.Mass {
	if m == nil {
		return nil
	}
	mg := d.milligrams(field, m)
	return &mg
}

// signed reads a mass that may be below zero.
func (d *desk) signed(field string, m *pb.Mass) ledger.Mass {
	text, below := strings.CutPrefix(strings.TrimSpace(m.GetText()), "-")
	if !below || m.GetText() == d.massText(m.GetMg()) {
		return d.milligrams(field, m)
	}
	return -d.milligrams(field, &pb.Mass{Text: text, Mg: -m.GetMg()})
}

// count shows a number of things, which is never large.
func count(n int) int32 { return int32(min(max(n, 0), 1<<30)) }

func (d *desk) contradiction(field, typed string, is, given int64, what string) {
	d.invalid("CONTRADICTION", field, typed, fmt.Sprintf("is %d %s, but %d %s was given beside it", is, what, given, what))
}

// volume shows a volume; nil when there is none.
func volume(mm3 int64) *pb.Volume {
	if mm3 == 0 {
		return nil
	}
	return &pb.Volume{Mm3: mm3, Text: unit.FormatVolume(mm3, unit.Litre, 0)}
}

// mm3 reads a volume.
func (d *desk) mm3(field string, v *pb.Volume) int64 {
	if v.GetText() == "" || v.GetMm3() != 0 && v.GetText() == unit.FormatVolume(v.GetMm3(), unit.Litre, 0) {
		return v.GetMm3()
	}
	mm3, err := unit.ParseVolume(v.GetText(), unit.Litre)
	if err != nil {
		d.unitError(field, err)
	} else if v.GetMm3() != 0 && v.GetMm3() != mm3 {
		d.contradiction(field, v.GetText(), mm3, v.GetMm3(), "mm³")
	}
	return mm3
}

func (d *desk) tempUnit() unit.TempUnit { return unit.TempUnit(d.settings.TempUnit) }

// temperature shows a temperature; nil when there is none.
func (d *desk) temperature(milliC int64) *pb.Temperature {
	if milliC == 0 {
		return nil
	}
	return &pb.Temperature{MilliCelsius: milliC, Text: unit.FormatTemperature(milliC, d.tempUnit(), 0)}
}

// milliC reads a temperature.
func (d *desk) milliC(field string, t *pb.Temperature) int64 {
	typed := d.degrees(t)
	if typed == "" {
		return 0
	}
	v, err := unit.ParseTemperature(typed, d.tempUnit())
	if err != nil {
		d.unitError(field, err)
	} else if t.GetText() != "" && typed == t.GetText() && t.GetMilliCelsius() != 0 && t.GetMilliCelsius() != v {
		d.contradiction(field, typed, v, t.GetMilliCelsius(), "thousandths of °C")
	}
	return v
}

// degrees is a temperature as text that means it exactly.
func (d *desk) degrees(t *pb.Temperature) string {
	m := t.GetMilliCelsius()
	if t == nil || t.GetText() != "" && (m == 0 || t.GetText() != unit.FormatTemperature(m, d.tempUnit(), 0)) {
		return t.GetText()
	}
	return unit.FormatTemperature(m, unit.C, 1)
}

// degreesApart reads a difference of temperatures, in °C unless another scale is
// written; "" is nothing.
func (d *desk) degreesApart(field, text string) int64 {
	if text == "" {
		return 0
	}
	v, err := unit.ParseTemperatureDifference(text, unit.C)
	if err != nil {
		d.unitError(field, err)
	}
	return v
}

// degreesText shows a difference of temperatures in °C; "" for none.
func degreesText(milliC int64) string {
	if milliC == 0 {
		return ""
	}
	return strconv.FormatFloat(float64(milliC)/1000, 'f', -1, 64)
}

// percent reads a share; "" is nothing.
func (d *desk) percent(field, text string) ledger.PPM {
	if text == "" {
		return 0
	}
	ppm, err := unit.ParsePercent(text)
	if err != nil {
		d.unitError(field, err)
	}
	return ledger.PPM(ppm)
}

// percentText shows a share.
func percentText(p ledger.PPM) string { return strings.TrimSuffix(unit.FormatPercent(int64(p)), " %") }

// percentOrNone shows a share that may not be there.
func percentOrNone(p ledger.PPM) string {
	if p == 0 {
		return ""
	}
	return percentText(p)
}

func money(minor int64, currency string) *pb.Money {
	return &pb.Money{Currency: currency, Minor: minor, Text: unit.FormatMoney(minor, currency)}
}

// time reads a moment; the zero time is none.
func (d *desk) time(field string, t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	if err := t.CheckValid(); err != nil {
		d.invalid("BAD_DATE", field, fmt.Sprintf("%d s", t.GetSeconds()), "must be a date between the years 1 and 9999")
		return time.Time{}
	}
	return t.AsTime()
}

func moment(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// weighing reads a weighing; nil is none.
func (d *desk) weighing(field string, w *pb.Weighing) ledger.WeighingIn {
	return ledger.WeighingIn{
		Scale:  d.ref(sub(field, "scale"), w.GetScale(), "scales"),
		Gross:  d.amount(w.GetGross()),
		Tare:   d.amount(w.GetTare()),
		TareID: d.ref(sub(field, "saved_tare"), w.GetSavedTare(), "tares"),
		Before: d.amount(w.GetBefore()),
		Net:    d.amount(w.GetNet()),
		Dirt:   d.percent(sub(field, "dirt_percent"), w.GetDirtPercent()),
		Pieces: w.GetPieces(),
		Basis:  bases.read(d, sub(field, "basis"), w.GetBasis()),
	}
}

// weighingOrNil reads a weighing that may not be there.
func (d *desk) weighingOrNil(field string, w *pb.Weighing) *ledger.WeighingIn {
	if w == nil {
		return nil
	}
	in := d.weighing(field, w)
	return &in
}

// weighed shows a weighing as it was recorded.
func (d *desk) weighed(w ledger.Weighing) *pb.Weighing {
	return &pb.Weighing{
		Subject: string(w.Subject), Scale: d.name("scales", w.Scale),
		Gross: d.quantity(w.Gross), Tare: d.quantity(w.Tare), Before: d.quantity(w.Before), Net: d.quantity(w.Net),
		DirtPercent: percentOrNone(w.DirtPPM), Pieces: w.Pieces,
	}
}
