package web_test

import (
	"strings"
	"testing"

	"example.org/remelt/ledger"
)

// The months of the losses page say what became of the metal: of the worked heat 45.7 %
// castings, 51.8 % returned, 1.3 % gone (DEVELOPERS.md), and that it is not final before.
func TestYieldByMonth(t *testing.T) {
	f := newFoundry(t)
	if _, page := f.get(f.url("/what-is-lost")); !strings.Contains(page, "March 2026 <small>1 of 1 not final</small>") {
		t.Errorf("the month is not said to be open:\n%s", page)
	}
	f.heat.BringHome()
	f.book.Do(f.book.Settle(t.Context(), ledger.Meta{}, "41"))
	_, page := f.get(f.url("/what-is-lost"))
	for _, want := range []string{"March 2026</th>", `"Yield, %">45.7</td>`, `"Returned, %">51.8</td>`, `"Gone, %">1.3</td>`, `"Castings, g">27410</td>`,
		// 27 410 + 31 090 + 0 + (475 in skimmings + 240 to be cleaned) + 0 + 785 are the 60 000 that went in
		`"Returned, g">31090</td>`, `"Reclaimed, g">–</td>`, `"Not yet usable, g">715</td>`, `"Elsewhere, g">–</td>`, `"Gone, g">785</td>`} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in:\n%s", want, page)
		}
	}
}
