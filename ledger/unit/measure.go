package unit

import (
	"fmt"
	"math"
	"math/big"
	"math/bits"
	"regexp"
	"strconv"
	"strings"
)

// measure is one unit of a kind of quantity.
type measure struct {
	symbol   string   // as shown, and as the constant is spelled
	size     *big.Rat // exact, in the integer the kind is kept in
	decimals int      // shown when no division is given
	smaller  string   // the unit that may follow in a compound such as "12 lb 6 oz"
	names    []string // what people type, in lower case, besides the symbol
}

// kind is a quantity kept as an integer number of its base (mg, mm³).
type kind struct {
	name     string
	most     int64  // the largest amount that is not absurd, in the base
	mostText string // the same in words
	measures []measure
	twoSided map[string]string // names with two meanings, by their exact case → what to write
}

func exact(decimal string) *big.Rat {
	v, ok := new(big.Rat).SetString(decimal)
	if !ok {
		panic("unit: bad factor " + decimal)
	}
	return v
}

// symbol finds the measure spelled exactly so; nil if there is none.
func (k *kind) symbol(s string) *measure {
	for i := range k.measures {
		if k.measures[i].symbol == s {
			return &k.measures[i]
		}
	}
	return nil
}

// unit finds the measure that people call so.
func (k *kind) unit(r reader, name string) (*measure, error) {
	if want, ok := k.twoSided[name]; ok {
		return nil, r.refuse(AmbiguousUnit, want)
	}
	name = strings.ToLower(name)
	for i := range k.measures {
		m := &k.measures[i]
		if name == strings.ToLower(m.symbol) {
			return m, nil
		}
		for _, n := range m.names {
			if name == n {
				return m, nil
			}
		}
	}
	return nil, r.refuse(UnknownUnit, "write one of "+k.known())
}

func (k *kind) known() string {
	symbols := make([]string, len(k.measures))
	for i, m := range k.measures {
		symbols[i] = m.symbol
	}
	return strings.Join(symbols, ", ")
}

// nextTerm parts what follows a number into its unit and the next number, if any.
var nextTerm = regexp.MustCompile(`^([^\d]*?)([.,]?\d.*)?$`)

// parse reads one amount of the kind; a lone number is of unit def.
func (k *kind) parse(text, def string) (int64, error) {
	if n, ok := k.usual(text); ok {
		return n, nil
	}
	return k.parseAny(text, def)
}

// parseAny reads one amount of the kind, of one term or, where the units allow it,
// several, and rounds their exact sum once.
func (k *kind) parseAny(text, def string) (int64, error) {
	amount, _, err := k.parseStep(text, def)
	return amount, err
}

// parseStep reads what parseAny does, and what its last digit counts, in the base.
func (k *kind) parseStep(text, def string) (amount int64, step *big.Rat, err error) {
	r := reader{k.name, text}
	s, negative, err := r.begin()
	if err != nil {
		return 0, nil, err
	}
	sum := new(big.Rat)
	var last *measure
	var lastNumber number
	for first := true; first || s != ""; first = false {
		n, rest, err := r.number(s)
		if err != nil {
			return 0, nil, err
		}
		name, next, err := k.split(r, rest)
		if err != nil {
			return 0, nil, err
		}
		m, err := k.resolve(r, name, def, first && next == "")
		if err != nil {
			return 0, nil, err
		}
		if !first {
			if err := compound(r, last, lastNumber, m, n); err != nil {
				return 0, nil, err
			}
		}
		sum.Add(sum, new(big.Rat).Mul(n.value, m.size))
		last, lastNumber, s = m, n, next
	}
	if negative {
		return 0, nil, r.refuse(Negative, "write it without the minus sign")
	}
	total := roundHalfEven(sum)
	if total.Cmp(big.NewInt(k.most)) > 0 {
		return 0, nil, r.refuse(TooLarge, "write at most "+k.mostText)
	}
	return total.Int64(), new(big.Rat).Mul(lastNumber.step, last.size), nil
}

// split parts "lb 6 oz" into "lb" and "6 oz". Kinds without compounds take the
// whole rest as the unit, since "in3" has a digit in it.
func (k *kind) split(r reader, rest string) (name, next string, err error) {
	if !k.compounds() {
		return strings.TrimRight(rest, "."), "", nil
	}
	m := nextTerm.FindStringSubmatch(rest)
	if m == nil {
		return rest, "", nil
	}
	if strings.HasPrefix(m[2], ".") && !strings.HasSuffix(m[1], " ") {
		// "12 lb.5 oz": the point may end the unit or begin the decimals.
		return "", "", r.refuse(NotANumber, "put a space after the unit, such as 12 lb 0.5 oz")
	}
	return strings.TrimRight(m[1], " .,"), m[2], nil
}

func (k *kind) compounds() bool {
	for _, m := range k.measures {
		if m.smaller != "" {
			return true
		}
	}
	return false
}

// resolve finds the unit of a term; only a lone number may go without.
func (k *kind) resolve(r reader, name, def string, alone bool) (*measure, error) {
	if name != "" {
		return k.unit(r, name)
	}
	if !alone || def == "" {
		return nil, r.refuse(MissingUnit, "write one of "+k.known()+" after each number")
	}
	if m := k.symbol(def); m != nil {
		return m, nil
	}
	return nil, r.refuse(UnknownUnit, fmt.Sprintf("the default unit %q should be one of %s", def, k.known()))
}

// compound checks that a term may follow the one before it: whole pounds, then
// fewer ounces than make a pound.
func compound(r reader, last *measure, lastNumber number, m *measure, n number) error {
	switch {
	case last.smaller != m.symbol:
		return r.refuse(BadCompound, "write one unit, or pounds and then ounces")
	case !lastNumber.value.IsInt() || lastNumber.decimals > 0:
		return r.refuse(BadCompound, "write a whole number of "+last.symbol+" before "+m.symbol)
	case new(big.Rat).Mul(n.value, m.size).Cmp(last.size) >= 0:
		return r.refuse(BadCompound, "write less than one "+last.symbol+" after it")
	}
	return nil
}

// places gives the decimals at which the last digit is no coarser than the
// division. Half a base unit is forgiven, for a division of a tenth of a pound is
// no whole number of milligrams.
func (m *measure) places(division int64) int {
	if division <= 0 {
		return m.decimals
	}
	limit := new(big.Rat).Add(new(big.Rat).SetInt64(division), big.NewRat(1, 2))
	step, n := new(big.Rat).Set(m.size), 0
	for ; step.Cmp(limit) > 0; n++ {
		step.Quo(step, power10(1))
	}
	return n
}

// text writes the amount in this unit with exactly so many decimals, as fixed does.
func (m *measure) text(amount int64, decimals int) string {
	if n, ok := m.rounded(amount, decimals); ok {
		return point(strconv.FormatUint(n, 10), decimals, amount < 0 && n > 0)
	}
	return fixed(m.in(amount), decimals)
}

// rounded gives the size of the amount in this unit in steps of the last decimal,
// half to even, where machine words are enough: every answer shows many masses, and
// long arithmetic takes ten times as long.
func (m *measure) rounded(amount int64, decimals int) (uint64, bool) {
	if !m.size.Num().IsUint64() || !m.size.Denom().IsUint64() || decimals > 9 || amount == math.MinInt64 {
		return 0, false
	}
	size, steps := m.size.Num().Uint64(), m.size.Denom().Uint64()
	for range decimals {
		if steps > math.MaxUint64/10 {
			return 0, false
		}
		steps *= 10
	}
	over, product := bits.Mul64(uint64(max(amount, -amount)), steps) //nolint:gosec // not below zero
	if over != 0 {
		return 0, false
	}
	n, rest := product/size, product%size
	if past := size - rest; rest > past || rest == past && n%2 == 1 {
		n++
	}
	return n, true
}

// in gives the amount in this unit, exactly.
func (m *measure) in(amount int64) *big.Rat {
	return new(big.Rat).Quo(new(big.Rat).SetInt64(amount), m.size)
}
