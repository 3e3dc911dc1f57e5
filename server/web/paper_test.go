package web_test

import (
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Every document that a page links is there, as a file of its kind; what cannot be
// printed is refused with a page that says why.
func TestPagesLinkDocuments(t *testing.T) {
	f := newFoundry(t)
	linked := map[string]bool{}
	link := regexp.MustCompile(`href="(/shops/harrow/paper/[^"]*)"`)
	for _, page := range []string{"", "?alloy=C87300", "/heats", "/heats/41", "/entries", "/commissions", "/lots/" + f.lots[0]} {
		_, text := f.get(f.url(page))
		for _, m := range link.FindAllStringSubmatch(text, -1) {
			linked[strings.ReplaceAll(m[1], "&amp;", "&")] = true
		}
	}
	if len(linked) < 11 {
		t.Errorf("only %d documents are linked: %v", len(linked), linked)
	}
	for path := range linked {
		r, err := http.Get("http://" + f.addr + path)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(r.Body)
		_ = r.Body.Close()
		magic := "%PDF-"
		if strings.Contains(path, "/tables/") {
			magic = "PK\x03\x04"
		}
		if err != nil || r.StatusCode != http.StatusOK || !strings.HasPrefix(string(body), magic) || !strings.Contains(r.Header.Get("Content-Disposition"), "filename=") {
			t.Errorf("%s: HTTP %d, %v, %.20q", path, r.StatusCode, err, body)
		}
	}
	if code, body := f.get(f.url("/paper/tables/heats?as=csv")); code != 200 || !strings.HasPrefix(body, "heat,alloy,") {
		t.Errorf("heats as CSV: HTTP %d, %.100s", code, body)
	}
	if code, body := f.get(f.url("/paper/tables/charge-back-by-commission?as=csv&from=2026-03-01&to=2026-03-31")); code != 200 || !strings.HasPrefix(body, "who,name,castings,") || !strings.Contains(body, "\nthe shop,") {
		t.Errorf("charge-back of two days as CSV: HTTP %d, %.200s", code, body)
	}
	for path, want := range map[string]string{"/paper/tables/charge-back?from=2026-03-01&to=": "400 UNKNOWN_PERIOD", "/paper/tables/charge-back?from=2026-03-02&to=2026-03-01": "400 BAD_PERIOD", "/paper/heats/none": "404 NOT_FOUND", "/paper/heats/41?paper=A5": "400 UNKNOWN_PAPER", "/paper/labels?on=wild": "400 UNKNOWN_LABEL_SIZE",
		"/paper/labels?used=x": "400 LABELS_USED", "/paper/periods/march": "400 UNKNOWN_PERIOD", "/paper/tables/all": "400 UNKNOWN_TABLE"} {
		code, body := f.get(f.url(path))
		if strconv.Itoa(code) != want[:3] || !strings.Contains(body, want[4:]) {
			t.Errorf("%s: HTTP %d, not %s", path, code, want)
		}
	}
}
