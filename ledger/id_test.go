package ledger

import "testing"

// TestCheckDigit: the worked example of ISO/IEC 7064 for MOD 11,10 gives 0794 the
// check digit 5 (from memory of the standard; its arithmetic is done by hand:
// p = 10, 9, 1, 9, 6 and 11 − 6 = 5).
func TestCheckDigit(t *testing.T) {
	if got := checkDigit("0794"); got != '5' {
		t.Errorf("check digit of 0794 is %c, want 5", got)
	}
}
