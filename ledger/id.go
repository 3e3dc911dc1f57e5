package ledger

import (
	"fmt"
	"strconv"
	"strings"
)

// LotID writes the n-th lot's id: a letter, the number and a check digit, such
// as "L1042-3", so that a mistyped or misread label is noticed.
func LotID(n int64) string {
	return "L" + strconv.FormatInt(n, 10) + "-" + string(checkDigit(strconv.FormatInt(n, 10)))
}

// CheckLotID reports whether id has the shape of a lot id with a wrong check
// digit; ids a shop chose itself have another shape and pass.
func CheckLotID(id string) error {
	num, digit, ok := strings.Cut(strings.TrimPrefix(id, "L"), "-")
	n, err := strconv.ParseInt(num, 10, 64)
	if !strings.HasPrefix(id, "L") || !ok || err != nil || len(digit) != 1 || n < 0 {
		return nil
	}
	if digit != string(checkDigit(num)) {
		return invalid("CHECK_DIGIT", "lot", id, fmt.Sprintf("the check digit does not fit; look at the label again (number %s would be %s)", num, LotID(n)))
	}
	return nil
}

// checkDigit is the ISO/IEC 7064 MOD 11,10 check digit of a number: it notices
// any one wrong digit and almost all pairs of swapped neighbours.
func checkDigit(digits string) byte {
	p := 10
	for _, c := range digits {
		s := (p + int(c-'0')) % 10
		if s == 0 {
			s = 10
		}
		p = 2 * s % 11
	}
	return '0' + byte((11-p)%10)
}

func plainNumber(n int64) string { return strconv.FormatInt(n, 10) }
