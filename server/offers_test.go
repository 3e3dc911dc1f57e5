package server

import (
	"html"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/server/signin"
)

// Whatever page somebody may see offers them nothing that they would be refused: each
// link of each page, followed from the front page, is one they may open, and who may do
// more is offered more.
func TestPagesOfferWhatMayBeDone(t *testing.T) {
	p := servePeople(t)
	links := regexp.MustCompile(`href="(/shops/harrow[^"#]*)`)
	before := 0
	for _, duty := range []ledger.Duty{ledger.MayRead, ledger.MayWeighIn, ledger.MayRun, ledger.MayManage} {
		who := "harrow/" + staff[duty]
		seen, todo := map[string]bool{}, []string{"/shops/harrow"}
		for len(todo) > 0 && len(seen) < 150 {
			where := todo[0]
			todo = todo[1:]
			if seen[where] || strings.Contains(where, "/paper/") || duty == ledger.MayManage && strings.Contains(where, "/backup") { // no pages
				continue
			}
			seen[where] = true
			code, body := p.page(t, who, where)
			if code != http.StatusOK {
				t.Errorf("%s is offered %s, which answers %d", duty, where, code)
			}
			for _, m := range links.FindAllStringSubmatch(body, -1) {
				todo = append(todo, html.UnescapeString(m[1]))
			}
		}
		if len(seen) < before || before == 0 && len(seen) < 7 {
			t.Errorf("%s is offered %d pages, who may do less %d", duty, len(seen), before)
		}
		if got, want := seen["/shops/harrow/settings"], duty == ledger.MayManage; got != want {
			t.Errorf("%s is offered the settings: %v", duty, got)
		}
		before = len(seen)
	}
}

// page is a page as somebody sees it.
func (p *peopled) page(t *testing.T, who, where string) (int, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+p.HTTPAddr()+where, http.NoBody)
	if err != nil {
		t.Fatal(err)
	}
	r.AddCookie(&http.Cookie{Name: signin.CookieName(true), Value: p.tokens[who]})
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	raw, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(raw)
}
