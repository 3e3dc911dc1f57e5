package unit

import "fmt"

// Reasons an [Error] can carry. They are stable: clients may branch on them.
const (
	Empty             = "EMPTY"               // nothing but spaces
	TooLong           = "TOO_LONG"            // more text than any quantity needs
	NotANumber        = "NOT_A_NUMBER"        // no number, or one with something foreign in it
	GroupedDigits     = "GROUPED_DIGITS"      // thousands separated by a space, comma, point or apostrophe
	AmbiguousComma    = "AMBIGUOUS_COMMA"     // "1,200": thousands or decimals
	Negative          = "NEGATIVE"            // below zero where that has no meaning
	TooLarge          = "TOO_LARGE"           // beyond what the quantity can sensibly be
	BelowAbsoluteZero = "BELOW_ABSOLUTE_ZERO" // a temperature that does not exist
	UnknownUnit       = "UNKNOWN_UNIT"        // a unit this package does not know
	AmbiguousUnit     = "AMBIGUOUS_UNIT"      // a unit that names two things
	MissingUnit       = "MISSING_UNIT"        // no unit, and no default to take
	BadCompound       = "BAD_COMPOUND"        // "12.5 lb 6 oz", "12 lb 18 oz", "3 oz 2 lb"
	UnknownCurrency   = "UNKNOWN_CURRENCY"    // not one of the ISO 4217 codes known here
	AmbiguousCurrency = "AMBIGUOUS_CURRENCY"  // "$" where the default is no dollar, or two currencies
	MissingCurrency   = "MISSING_CURRENCY"    // no currency, and no default to take
	TooManyDecimals   = "TOO_MANY_DECIMALS"   // finer than the currency, or than a price, can be
)

// sentences say what is wrong; Error.Want then says what would be right.
var sentences = map[string]string{
	Empty:             "nothing was written",
	TooLong:           "the text is too long to be a quantity",
	NotANumber:        "this is not a plain number",
	GroupedDigits:     "the digits are grouped",
	AmbiguousComma:    "the comma may group thousands or mark decimals",
	Negative:          "it cannot be below zero",
	TooLarge:          "it is too large to be true",
	BelowAbsoluteZero: "it is below absolute zero",
	UnknownUnit:       "the unit is not known",
	AmbiguousUnit:     "the unit has two meanings",
	MissingUnit:       "a unit is missing",
	BadCompound:       "the parts do not add up to one quantity",
	UnknownCurrency:   "the currency is not known",
	AmbiguousCurrency: "the currency is not clear",
	MissingCurrency:   "the currency is missing",
	TooManyDecimals:   "there are too many decimals",
}

// Error says why a text was refused. Every parser of this package returns it, as
// a pointer, for every refusal.
type Error struct {
	Quantity string // what was being read: "mass", "temperature", "money", …
	Text     string // what was typed, unchanged
	Reason   string // one of the reasons above
	Want     string // what would be right, as a phrase
}

// Error gives one sentence: the quantity, the text, what is wrong, what is right.
func (e *Error) Error() string {
	text := e.Text
	if len(text) > maxText {
		text = text[:maxText] + "…"
	}
	return fmt.Sprintf("%s %q: %s; %s", e.Quantity, text, sentences[e.Reason], e.Want)
}
