package ledger

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"
)

// NewOffer is an offer as it is written down. Amounts of a supply that is counted are
// in the fields of pieces.
type NewOffer struct {
	ID          string `json:",omitempty"` // else the next number
	Party       string
	Buys        bool   `json:",omitempty"`
	Alloy       string `json:",omitempty"` // or Supply
	Form        Form   `json:",omitempty"`
	Supply      string `json:",omitempty"`
	Breaks      []NewOfferBreak
	Freight     string   `json:",omitempty"`
	Piece       Quantity `json:",omitzero"`
	Bundle      int64    `json:",omitempty"`
	Least       Quantity `json:",omitzero"`
	LeastPieces int64    `json:",omitempty"`
	LeadDays    *int     `json:",omitempty"`
	LeadOff     int      `json:",omitempty"`
	From        string   `json:",omitempty"` // the day of the entry unless said
	Until       string   `json:",omitempty"`
	Note        string   `json:",omitempty"`
}

// NewOfferBreak is a price from an amount on.
type NewOfferBreak struct {
	From   Quantity `json:",omitzero"`
	Pieces int64    `json:",omitempty"`
	Price  string   // as typed: "4.85 USD/lb", "62 USD/pc"
}

// KeepOffer writes an offer down.
func (b *Book) KeepOffer(ctx context.Context, m Meta, c NewOffer) (*Entry, error) {
	return b.write(ctx, m, KindOffer, c, func(d *draft) (err error) {
		o := &Offer{Party: c.Party, Buys: c.Buys, Form: c.Form, Bundle: c.Bundle, LeadDays: c.LeadDays, LeadOff: c.LeadOff, From: c.From, Until: c.Until, Note: c.Note, Entry: d.e.Seq}
		if o.ID, err = d.fresh(RecOffer, c.ID, plainNumber); err != nil {
			return err
		}
		if err := d.must(RecParty, "party", c.Party, &Party{}); err != nil {
			return err
		}
		s, err := d.offered(o, c)
		if err != nil {
			return err
		}
		if err := d.offerDays(o); err != nil {
			return err
		}
		if err := checkText("note", c.Note, maxReason); err != nil {
			return err
		}
		if err := d.offerAmounts(o, c, s); err != nil {
			return err
		}
		if err := d.offerPrices(o, c, s); err != nil {
			return err
		}
		return d.putOffer(o)
	})
}

// offered settles what an offer is for. What is not a supply is weighed like one.
func (d *draft) offered(o *Offer, c NewOffer) (s Supply, err error) {
	switch {
	case c.Alloy != "" && c.Supply != "":
		return s, invalid("CONTRADICTION", "supply", c.Supply, "an offer is for an alloy or for a supply; write two offers")
	case c.Supply != "":
		if c.Form != "" {
			return s, invalid("CONTRADICTION", "form", string(c.Form), "a supply has no form")
		}
		if err := d.must(RecSupply, "supply", c.Supply, &s); err != nil {
			return s, err
		}
		o.Supply, o.InPieces = s.ID, s.InPieces
		return s, nil
	case c.Alloy == "":
		return s, invalid("REQUIRED", "alloy", "", "say what is offered: an alloy, or a supply")
	}
	if o.Alloy, _, err = d.alloy("alloy", c.Alloy); err != nil {
		return s, err
	}
	if o.Alloy == UnknownAlloy {
		return s, invalid("UNKNOWN_ALLOY", "alloy", c.Alloy, "name the alloy that is offered")
	}
	if o.Form == "" && !o.Buys {
		o.Form = Ingot
	}
	if o.Form != "" && !slices.Contains(forms, o.Form) {
		return s, invalid("BAD_FORM", "form", string(o.Form), "must be one of "+join(forms))
	}
	s.Name = o.Alloy
	return s, nil
}

func (d *draft) offerDays(o *Offer) error {
	if o.From == "" {
		o.From = d.shop.DayOf(d.e.Happened)
	}
	if err := CheckDay("from_day", o.From); err != nil {
		return err
	}
	if o.Until != "" {
		if err := CheckDay("until_day", o.Until); err != nil {
			return err
		}
		if o.Until < o.From {
			return invalid("BAD_PERIOD", "until_day", o.Until, "must not be before "+o.From+", from which the offer holds")
		}
	}
	if o.LeadDays != nil && (*o.LeadDays < 0 || *o.LeadDays > 365) {
		return invalid("OUT_OF_RANGE", "lead_days", fmt.Sprint(*o.LeadDays), "must be between 0 and 365 days")
	}
	if o.LeadOff < 0 || o.LeadOff > 365 {
		return invalid("OUT_OF_RANGE", "lead_off_days", fmt.Sprint(o.LeadOff), "must be between 0 and 365 days")
	}
	if o.LeadOff > 0 && o.LeadDays == nil {
		return invalid("REQUIRED", "lead_days", "", "say how long a delivery takes, if by how much that differs")
	}
	return nil
}

// DayOf is the day of a moment where the shop is: 2026-11-02.
func (s Shop) DayOf(t time.Time) string {
	zone, err := time.LoadLocation(s.TimeZone)
	if err != nil {
		zone = time.UTC
	}
	return t.In(zone).Format(time.DateOnly)
}

// Today is the day it is where the shop is.
func (b *Book) Today(s Shop) string { return s.DayOf(b.now()) }

// CheckDay refuses what is no day.
func CheckDay(field, day string) error {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil || t.Year() < 1900 || t.Year() > 2200 {
		return invalid("BAD_DATE", field, day, "must be a day between 1900 and 2200, such as 2026-11-02")
	}
	return nil
}

func (d *draft) offerAmounts(o *Offer, c NewOffer, s Supply) (err error) {
	if o.Piece, err = d.quantity("piece", c.Piece); err != nil {
		return err
	}
	if s.InPieces && o.Piece.given() {
		return invalid("COUNTED_IN_PIECES", "piece", o.Piece.text(), s.Name+" is counted in pieces, whatever one weighs")
	}
	if o.Bundle < 0 || o.Bundle > 1_000_000 {
		return invalid("OUT_OF_RANGE", "bundle", fmt.Sprint(o.Bundle), "must be between 1 and 1 000 000 pieces")
	}
	if o.Bundle > 0 && !s.InPieces && o.Piece.Mass <= 0 {
		return invalid("REQUIRED", "piece", "", "say what a piece weighs, if they are sold in bundles")
	}
	if o.Pack() > int64(MaxMass) {
		return invalid("TOO_LARGE", "bundle", fmt.Sprint(o.Bundle), "a bundle of more than 1000 tonnes")
	}
	o.Least, err = d.supplyAmount("least", s, c.Least, c.LeastPieces)
	return err
}

// offerPrices reads the breaks of an offer: quantities rise, and a larger order costs
// no more of a unit (where the party buys: fetches no less).
func (d *draft) offerPrices(o *Offer, c NewOffer, s Supply) (err error) {
	if len(c.Breaks) == 0 || len(c.Breaks) > 100 {
		return invalid("REQUIRED", "breaks", fmt.Sprint(len(c.Breaks)), "must have one price at least, and 100 at most")
	}
	for i, x := range c.Breaks {
		at := fmt.Sprintf("breaks[%d]", i)
		var b OfferBreak
		if b.From, err = d.supplyAmount(at+".from", s, x.From, x.Pieces); err != nil {
			return err
		}
		p, err := d.offerPrice(at+".price", x.Price, s)
		if err != nil {
			return err
		}
		b.Price = *p
		o.Breaks = append(o.Breaks, b)
		if i == 0 {
			continue
		}
		last := o.Breaks[i-1]
		if b.From.Mass <= last.From.Mass {
			return invalid("BREAKS_NOT_RISING", at+".from", d.amountWords(b.From.Mass, s), "must be more than "+d.amountWords(last.From.Mass, s)+", the break before")
		}
		if b.Price.Currency != last.Price.Currency {
			return invalid("OTHER_CURRENCY", at+".price", x.Price, "must be in "+last.Price.Currency+" like the other prices of the offer")
		}
		switch c := b.Price.cmp(&last.Price); {
		case c > 0 && !o.Buys:
			return invalid("PRICE_RISES", at+".price", x.Price, "is dearer than "+last.Price.Typed+" for fewer: nobody would order so many at once; exchange the two prices or leave this break out")
		case c < 0 && o.Buys:
			return invalid("PRICE_FALLS", at+".price", x.Price, "fetches less than "+last.Price.Typed+" for fewer: nobody would sell so much at once; exchange the two prices or leave this break out")
		}
	}
	first := o.Breaks[0].From
	switch {
	case !o.Least.given():
		o.Least = first // no price holds for less
	case o.Least.Mass < first.Mass:
		return invalid("LEAST_WITHOUT_PRICE", "least", d.amountWords(o.Least.Mass, s), "has no price: the first holds from "+d.amountWords(first.Mass, s))
	case len(o.Breaks) > 1 && o.Breaks[1].From.Mass <= o.Least.Mass:
		return invalid("BREAK_BELOW_LEAST", "breaks[0]", d.amountWords(first.Mass, s), "never holds: the least order of "+d.amountWords(o.Least.Mass, s)+" has the price of the next break; leave this one out or say a smaller least order")
	}
	if c.Freight == "" {
		return nil
	}
	if o.Freight, err = d.terms("freight", c.Freight, s.InPieces); err == nil && o.Freight.Per == PerPiece {
		err = invalid("BAD_FREIGHT", "freight", c.Freight, "must be a total for an order, such as 40.00 "+d.shop.Currency)
	}
	return err
}

// offerPrice reads a price for a unit of mass or for a piece.
func (d *draft) offerPrice(field, typed string, s Supply) (*Terms, error) {
	if strings.TrimSpace(typed) == "" {
		return nil, invalid("REQUIRED", field, "", "say the price, such as 4.85 "+d.shop.Currency+"/"+d.shop.MassUnit)
	}
	if !namesCurrency(typed) {
		return nil, invalid("MISSING_CURRENCY", field, typed, "say the currency, such as 4.85 "+d.shop.Currency+"/"+d.shop.MassUnit)
	}
	t, err := d.terms(field, typed, true)
	if err != nil {
		return nil, err
	}
	switch {
	case s.InPieces && t.Per != PerPiece:
		return nil, invalid("NOT_FOR_A_PIECE", field, typed, s.Name+" is counted in pieces: say the price of one, such as 62.00 "+d.shop.Currency+"/pc")
	case !s.InPieces && (t.Per == "" || t.Per == PerPiece):
		return nil, invalid("NOT_BY_WEIGHT", field, typed, s.Name+" is weighed: say the price by weight, such as 4.85 "+d.shop.Currency+"/"+d.shop.MassUnit)
	}
	return t, nil
}

func (d *draft) amountWords(m Mass, s Supply) string {
	if s.InPieces {
		return fmt.Sprintf("%d pcs", m)
	}
	return d.words(m)
}

// WithdrawOffer names an offer that holds no longer.
type WithdrawOffer struct{ Offer string }

// WithdrawOffer keeps that an offer holds no longer.
func (b *Book) WithdrawOffer(ctx context.Context, m Meta, c WithdrawOffer) (*Entry, error) {
	return b.write(ctx, m, KindWithdrawOffer, c, func(d *draft) error {
		var o Offer
		if err := d.must(RecOffer, "offer", c.Offer, &o); err != nil {
			return err
		}
		if o.Withdrawn {
			return badState("WITHDRAWN_ALREADY", "offer", c.Offer, "was withdrawn before")
		}
		o.Withdrawn = true
		return d.putOffer(&o)
	})
}

func (d *draft) putOffer(o *Offer) error {
	parent := "alloy/" + o.Alloy
	if o.Supply != "" {
		parent = "supply/" + o.Supply
	}
	return d.put(RecOffer, o.ID, parent, o)
}
