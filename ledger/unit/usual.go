package unit

import (
	"math"
	"math/bits"
)

// usual reads what most texts are: digits, perhaps a point and more of them, a
// space or none, and a unit's symbol, as programs, scales and most people write
// it. Machine words are enough for it, and it takes a twentieth of the time. For
// any other text it is not ok, and parseAny reads it or says what is wrong.
func (k *kind) usual(text string) (amount int64, ok bool) {
	const mostDigits = 15
	digits, decimals, n, i := uint64(0), -1, 0, 0
	for ; i < len(text); i++ {
		c := text[i]
		if c == '.' && decimals < 0 && n > 0 {
			decimals = 0
			continue
		}
		if c < '0' || c > '9' {
			break
		}
		if digits = 10*digits + uint64(c-'0'); decimals >= 0 {
			decimals++
		}
		if n++; n > mostDigits {
			return 0, false
		}
	}
	if n == 0 || decimals == 0 {
		return 0, false
	}
	name := text[i:]
	if name != "" && name[0] == ' ' {
		name = name[1:]
	}
	if _, two := k.twoSided[name]; two {
		return 0, false
	}
	for i := range k.measures {
		if m := &k.measures[i]; m.symbol == name {
			return m.amount(digits, max(decimals, 0), k.most)
		}
	}
	return 0, false
}

// amount gives digits / 10^decimals of this unit in the base, half to even, where
// machine words are enough and it is at most most.
func (m *measure) amount(digits uint64, decimals int, most int64) (int64, bool) {
	if !m.size.Num().IsUint64() || !m.size.Denom().IsUint64() {
		return 0, false
	}
	steps := m.size.Denom().Uint64()
	for range decimals {
		if steps > math.MaxUint64/10 {
			return 0, false
		}
		steps *= 10
	}
	over, product := bits.Mul64(digits, m.size.Num().Uint64())
	if over != 0 {
		return 0, false
	}
	n, rest := product/steps, product%steps
	if past := steps - rest; rest > past || rest == past && n%2 == 1 {
		n++
	}
	return int64(n), n <= uint64(most) //nolint:gosec // most is above zero
}
