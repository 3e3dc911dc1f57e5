package web_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
)

// From the page of the book it is derived again, and a copy of it is downloaded
// byte for byte; a copy that breaks off is no whole file for the browser either.
func TestBookIsCheckedAndCopied(t *testing.T) {
	copied := make([]byte, 300_000)
	_, _ = rand.Read(copied) // never fails
	var breaks error
	f := newFoundry(t)
	f.stop()
	f.backup = func(ctx context.Context, shop string, w io.Writer, _ func(done, total int64)) (ledger.Verified, error) {
		if _, err := w.Write(copied); err != nil || breaks != nil {
			return ledger.Verified{}, errors.Join(err, breaks)
		}
		return ledger.Verify(ctx, f.store, shop, nil)
	}
	f.start()

	_, page := f.get(f.url("/entries"))
	for _, link := range []string{"/entries/whole", "/entries/backup"} {
		if !strings.Contains(page, `href="/shops/harrow`+link+`"`) {
			t.Errorf("the book does not link %s", link)
		}
	}
	if code, body := f.get(f.url("/entries/whole")); code != 200 || !strings.Contains(body, "The book is whole") {
		t.Errorf("HTTP %d, %.300s", code, body)
	}
	download := func() (*http.Response, []byte, error) {
		r, err := http.Get(f.url("/entries/backup"))
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		got, err := io.ReadAll(r.Body)
		return r, got, err
	}
	r, got, err := download()
	if err != nil || r.StatusCode != 200 || !bytes.Equal(got, copied) || !strings.Contains(r.Header.Get("Content-Disposition"), "harrow-20") {
		t.Errorf("HTTP %d, %v, %d bytes, %v", r.StatusCode, r.Header, len(got), err)
	}
	breaks = errors.New("the disk is gone")
	if r, got, err := download(); r.StatusCode == 200 && err == nil {
		t.Errorf("a copy that broke off came as %d whole bytes", len(got))
	}
	f.stop()
	f.backup = nil
	f.start()
	if code, body := f.get(f.url("/entries/backup")); code != 501 && code != 400 || !strings.Contains(body, "NO_BACKUP") {
		t.Errorf("without a backup: HTTP %d, %.300s", code, body)
	}
}

// A period is closed on the page of the book: not before its end, and once.
func TestCloseAPeriod(t *testing.T) {
	f := newFoundry(t)
	b := newBrowser(t, phone)
	b.open(f.url("/entries"))
	b.writes(false, "close", "startTime", "2026-03-01", "endTime", "2026-04-01")
	b.until("it is not over, which is said at its end", `document.querySelector('#do-close [aria-invalid="true"]')?.name === "endTime"`)
	b.fills("#do-close", "startTime", "2026-02-01", "endTime", "2026-03-01")
	b.presses("#do-close .go")
	b.until("it is closed", `document.querySelector("#do-close .told").textContent === "In the book."`)
	b.until("and in the book", `document.querySelector(".history li b").textContent === "close period"`)
	st, err := f.book.CostStatement(t.Context(), time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	if err != nil || st.Kept == nil {
		t.Errorf("%+v, %v", st.Kept, err)
	}
	b.quiet("400")
}
