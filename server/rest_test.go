package server

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/stats"

	"example.org/remelt/ledger/memory"
)

// A morning over REST, from an empty store: every answer is held against a golden
// file, whole, so that a field that was renamed, left out or written otherwise is
// noticed. The clock stands still and the request ids are fixed, so the hashes of
// the entries are too: they also hold the encoding of entries still. A server whose
// calls are traced answers the same, by a connection.
func TestAMorningOverREST(t *testing.T) {
	morning(t, nil)
	heard := &hears{}
	morning(t, heard)
	if heard.calls.Load() == 0 {
		t.Error("nothing heard of the calls of the gateway")
	}
}

// hears counts the calls that are told to who traces them.
type hears struct {
	stats.Handler
	calls atomic.Int64
}

func (h *hears) TagRPC(ctx context.Context, _ *stats.RPCTagInfo) context.Context {
	h.calls.Add(1)
	return ctx
}
func (*hears) HandleRPC(context.Context, stats.RPCStats)                         {}
func (*hears) TagConn(ctx context.Context, _ *stats.ConnTagInfo) context.Context { return ctx }
func (*hears) HandleConn(context.Context, stats.ConnStats)                       {}

func morning(t *testing.T, traces *hears) {
	t.Helper()
	st, documented := memory.New(), readDocument(t)
	w := serve(t, func(c *Config) {
		if c.Store = st; traces != nil {
			c.Traces = traces
		}
		c.Now = func() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) }
	})
	const harrow = "/v1/shops/harrow"
	for i, step := range []struct {
		name               string
		code               int
		method, path, body string
	}{
		{"shop-create", 200, "POST", "/v1/shops", `{"shopId": "harrow", "shop": {"displayName": "Harrow Lane Foundry", "massUnit": "lb", "temperatureUnit": "F", "currency": "USD", "timeZone": "America/Chicago"}}`},
		{"shop-get", 200, "GET", harrow, ``},
		{"place-set", 200, "PATCH", harrow + "/places/rack", `{"place": {"displayName": "ingot rack"}, "allowMissing": true}`},
		{"party-set", 200, "PATCH", harrow + "/parties/northmetal", `{"party": {"displayName": "North Metal", "roles": ["ROLE_SUPPLIER"]}, "allowMissing": true}`},
		{"lot-receive", 200, "POST", harrow + "/lots:receive", `{"lotId": "bronze", "supplier": "northmetal", "alloy": "C87300", "weighing": {"net": {"text": "44 lb 2 oz"}}, "place": "rack", "price": "4.85 USD/lb", "who": "Iris Vale"}`},
		{"lot-get", 200, "GET", harrow + "/lots/bronze", ``},
		{"lot-list", 200, "GET", harrow + "/lots?pageSize=10", ``},
		{"lot-missing", 404, "GET", harrow + "/lots/L7-8", ``},
		{"lot-taken", 409, "POST", harrow + "/lots:receive", `{"lotId": "bronze", "supplier": "northmetal", "alloy": "C87300", "weighing": {"net": {"text": "1 lb"}}}`},
		{"lot-bad-mass", 400, "POST", harrow + "/lots:receive", `{"supplier": "northmetal", "alloy": "C87300", "weighing": {"net": {"text": "12 stone"}}}`},
		{"lot-future", 400, "POST", harrow + "/lots:receive", `{"lotId": "later", "supplier": "northmetal", "alloy": "C87300", "weighing": {"net": {"text": "1 lb"}}, "happenedTime": "2026-03-09T08:00:00Z"}`},
		{"stock-get", 200, "GET", harrow + "/stock", ``},
		{"entry-list", 200, "GET", harrow + "/entries?pageSize=2&view=ENTRY_VIEW_FULL", ``},
		{"pot-set", 200, "PATCH", harrow + "/pots/A60", `{"pot": {"displayName": "no. 60", "kind": "POT_KIND_CRUCIBLE", "volume": {"text": "9.9 l"}, "emptyMass": {"text": "38 lb"}, "lift": {"text": "190 lb"},
			"fillPercent": "90", "skull": {"text": "8 oz"}, "waitingRoom": {"text": "4 l"}, "pigMold": {"text": "12 lb"}, "pigMolds": 6, "coolingCelsius": "20 F", "hottestTap": {"text": "2300"}}, "allowMissing": true}`},
		{"pot-bad-lift", 400, "PATCH", harrow + "/pots/A60", `{"pot": {"displayName": "no. 60", "kind": "POT_KIND_CRUCIBLE", "lift": {"text": "38 lb"}}, "updateMask": "lift"}`},
		{"lot-import", 200, "POST", harrow + "/lots:import", `{"who": "Iris Vale", "rows": [{"receive": {"supplier": "northmetal", "alloy": "C87300", "weighing": {"net": {"text": "20 lb"}}, "place": "rack"}},
			{"weighIn": {"lotId": "cups", "alloy": "C87300", "form": "FORM_CUP", "weighing": {"net": {"text": "2 lb 4 oz"}}}}, {"weighIn": {"into": "cups", "weighing": {"net": {"text": "1 lb"}}}}]}`},
		{"lot-import-bad", 400, "POST", harrow + "/lots:import", `{"validateOnly": true, "rows": [{"receive": {"supplier": "northmetal", "alloy": "C87300", "weighing": {"net": {"text": "12 stone"}}}},
			{"weighIn": {"heats": [{"heat": "99"}], "weighing": {"net": {"text": "1 lb"}}}}, {"receive": {"supplier": "northmetal", "alloy": "C87300", "weighing": {"net": {"text": "1 lb"}}, "happenedTime": "2026-03-09T08:00:00Z"}}]}`},
		{"lot-import-none", 400, "POST", harrow + "/lots:import", `{"rows": []}`},
	} {
		resp, body := w.do(step.method, step.path, step.body, "Idempotency-Key", fmt.Sprintf("00000000-0000-4000-8000-%012d", i))
		if resp.StatusCode != step.code {
			t.Fatalf("%s: HTTP %d, want %d: %s", step.name, resp.StatusCode, step.code, body)
		}
		golden(t, step.name, resp.StatusCode, body)
		documented.answers(documented.template(step.path), strings.ToLower(step.method), fmt.Sprint(resp.StatusCode), resp.Header.Get("Content-Type"), body)
		if step.name == "lot-receive" || step.name == "lot-import" { // the answer was lost: the same again
			again, body := w.do(step.method, step.path, step.body, "Idempotency-Key", fmt.Sprintf("00000000-0000-4000-8000-%012d", i))
			golden(t, step.name, again.StatusCode, body)
		}
	}
	w.refused("POST", harrow+"/lots:receive", `{"supplier": "northmetal", "alloy": "C87300", "weighing": {"net": {"text": "1 lb"}}}`, 409, "REQUEST_ID_REUSED", "request_id",
		"Idempotency-Key", "00000000-0000-4000-8000-000000000004")
}
