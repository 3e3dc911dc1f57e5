package web_test

import (
	"bufio"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// What is booked while a page is on its way is news to it: its line for news begins at the
// entry that it was made with.
func TestPageMissesNothingOnItsWay(t *testing.T) {
	f := newFoundry(t)
	get := func(at string) *http.Response {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, f.url(at), nil)
		if err != nil {
			t.Fatal(err)
		}
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = answer.Body.Close() })
		return answer
	}
	page, err := io.ReadAll(get("").Body)
	if err != nil {
		t.Fatal(err)
	}
	said := regexp.MustCompile(`data-live="([^"]+\?after=\d+)"`).FindSubmatch(page)
	if said == nil {
		t.Fatalf("the page does not say which entry it was made with: %.600s", page)
	}
	f.book.Do(f.book.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Alloy: "C95400", Weighing: ledgertest.Net(7777)}))
	lines := bufio.NewScanner(get(strings.TrimPrefix(string(said[1]), "/shops/harrow")).Body)
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "event: entry") {
			return
		}
	}
	t.Errorf("the line ended without the entry: %v", lines.Err())
}
