package server

import (
	"html"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/server/signin"
)

// Whatever page somebody may see offers them nothing that they would be refused: each
// link of each page, followed from the front page, is one they may open, and who may do
// more is offered more.
func TestPagesOfferWhatMayBeDone(t *testing.T) {
	p := servePeople(t)
	heats := pb.NewHeatServiceClient(p.conn)
	for _, id := range []string{"7", "8"} {
		if _, err := heats.CreateHeat(p.as("harrow/mo"), &pb.CreateHeatRequest{Parent: "shops/harrow", HeatId: id, Heat: &pb.Heat{Alloy: "C87300"}, Molds: []*pb.Mold{{DisplayName: "otter"}}}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := heats.OpenHeat(p.as("harrow/wim"), &pb.OpenHeatRequest{Name: "shops/harrow/heats/8"}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("who weighs in opened a heat: %v", err)
	}
	for _, id := range []string{"7", "8"} {
		if _, err := heats.OpenHeat(p.as("harrow/mo"), &pb.OpenHeatRequest{Name: "shops/harrow/heats/" + id}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := heats.FinishPour(p.as("harrow/mo"), &pb.FinishPourRequest{Name: "shops/harrow/heats/7"}); err != nil { // its castings are weighed by who weighs in
		t.Fatal(err)
	}
	links := regexp.MustCompile(`href="(/shops/harrow[^"#]*)`)
	before := 0
	for _, duty := range []ledger.Duty{ledger.MayRead, ledger.MayWeighIn, ledger.MayRun, ledger.MayManage} {
		who := "harrow/" + staff[duty]
		offered := 0
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
			if strings.HasPrefix(where, "/shops/harrow/heats/") {
				offered += p.forms(t, who, where, body)
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
		if some := offered > 0; some != (duty != ledger.MayRead) || duty == ledger.MayRun && offered < 8 {
			t.Errorf("%s is offered %d forms of heats", duty, offered)
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

// forms tries what the forms of a page send, without recording anything: it is never
// refused for who asks. It counts them.
func (p *peopled) forms(t *testing.T, who, where, page string) (n int) {
	t.Helper()
	for _, m := range regexp.MustCompile(`<form class="[^"]*(writes|changes)[^"]*"[^>]* data-path="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		n++
		verb := map[string]string{"writes": http.MethodPost, "changes": http.MethodPatch}[m[1]]
		r, err := http.NewRequestWithContext(t.Context(), verb, "http://"+p.HTTPAddr()+html.UnescapeString(m[2]), strings.NewReader(`{"validateOnly": true}`))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", p.bearer(who)[1])
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = resp.Body.Close()
		if code := resp.StatusCode; code == http.StatusForbidden || code == http.StatusMethodNotAllowed || code == http.StatusUnauthorized {
			t.Errorf("%s offers %s to send to %s, which answers %d", where, who, m[2], code)
		}
	}
	return n
}
