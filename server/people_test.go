package server

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/signin"
)

// peopled is a server that everybody must sign in to, with two shops and people of
// every duty in each.
type peopled struct {
	*world
	store  ledger.Store
	tokens map[string]string // "harrow/jo" → what a program of theirs sends
	late   atomic.Int64      // how far the clock has been moved, in nanoseconds
}

const password = "seven bells of bronze"

// staff are the people of each shop, by what they may do.
var staff = map[ledger.Duty]string{ledger.MayRead: "rae", ledger.MayWeighIn: "wim", ledger.MayRun: "ron", ledger.MayManage: "mo"}

func servePeople(t *testing.T, change ...func(*Config)) *peopled {
	t.Helper()
	p := &peopled{tokens: map[string]string{}}
	start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	now := func() time.Time { return start.Add(time.Duration(p.late.Load())) }
	p.world = serve(t, append([]func(*Config){func(c *Config) {
		p.store = c.Store
		c.BehindProxy, c.Now, c.Rate = true, now, 1e6
		door := signin.New(c.Store, now, c.Log)
		for _, id := range []string{"harrow", "south"} {
			b := shop.New(c.Store, id, now)
			if id == "south" {
				entryMade(t)(b.OpenBook(t.Context(), ledger.Meta{}, ledger.Shop{Name: "South Yard", MassUnit: "kg"}))
			}
			invited, err := door.Invite(t.Context(), id, "")
			if err == nil {
				_, err = door.Join(t.Context(), "192.0.2.1", id, invited.Code, "mo", "Mo Marsh", password)
			}
			if err != nil {
				t.Fatal(err)
			}
			for duty, who := range staff {
				if who != "mo" {
					entryMade(t)(b.SetPerson(t.Context(), ledger.Meta{}, ledger.Person{ID: who, Name: strings.ToUpper(who), Duty: duty}))
				}
				p.tokens[id+"/"+who] = p.token(t, door, b, ledger.Token{Person: who, Name: "test", Duty: duty})
			}
		}
	}}, change...)...)
	return p
}

func entryMade(t *testing.T) func(*ledger.Entry, error) *ledger.Entry {
	return func(e *ledger.Entry, err error) *ledger.Entry {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
}

func (p *peopled) token(t *testing.T, door *signin.Door, b *shop.Shop, asked ledger.Token) string {
	t.Helper()
	e := entryMade(t)(b.AddToken(t.Context(), ledger.Meta{}, asked))
	secret, err := door.KeepToken(t.Context(), b.Book.Shop, e.Records[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	return secret
}

// as is the context of a call by somebody: "harrow/jo"; "" is nobody.
func (p *peopled) as(who string) context.Context {
	if who == "" {
		return p.Context()
	}
	return metadata.AppendToOutgoingContext(p.Context(), "authorization", "Bearer "+p.tokens[who])
}

func (p *peopled) bearer(who string) []string {
	if who == "" {
		return nil
	}
	return []string{"Authorization", "Bearer " + p.tokens[who]}
}

// invoke calls any method, streaming or not, with a request.
func (p *peopled) invoke(ctx context.Context, m protoreflect.MethodDescriptor, r proto.Message) error {
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	out := dynamicpb.NewMessage(m.Output())
	if !m.IsStreamingServer() {
		return p.conn.Invoke(ctx, path(m), r, out)
	}
	s, err := p.conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, path(m))
	if err == nil {
		err = s.SendMsg(r)
	}
	if err == nil {
		err = s.CloseSend()
	}
	if err == nil {
		err = s.RecvMsg(out)
	}
	return err
}

// ladder is who is tried, the least first.
var ladder = []ledger.Duty{"", ledger.MayRead, ledger.MayWeighIn, ledger.MayRun, ledger.MayManage}

// least is the first of the ladder that is let in, and that everybody after is.
func least(t *testing.T, what string, allowed func(who string) bool) ledger.Duty {
	found := ledger.Duty("nobody")
	for _, d := range ladder {
		who := ""
		if d != "" {
			who = "harrow/" + staff[d]
		}
		switch ok := allowed(who); {
		case ok && found == "nobody":
			if found = d; d == "" {
				found = anyone
			}
		case !ok && found != "nobody":
			t.Errorf("%s: %s may, %s may not", what, found, d)
		}
	}
	return found
}

// TestWhoMayDoWhat calls every method of the schema and asks for every page as
// nobody and as somebody of each duty, and holds who is let in against the list in
// testdata/roles.txt. What is new is not in the list, and fails here until it is.
func TestWhoMayDoWhat(t *testing.T) {
	p := servePeople(t)
	var seen strings.Builder
	eachMethod(func(m protoreflect.MethodDescriptor) {
		duty := least(t, string(m.FullName()), func(who string) bool {
			switch status.Code(p.invoke(p.as(who), m, dynamicpb.NewMessage(m.Input()))) {
			case codes.Unauthenticated, codes.PermissionDenied:
				return false
			}
			return true
		})
		fmt.Fprintf(&seen, "%-10s %s/%s\n", duty, m.Parent().Name(), m.Name())
	})
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for _, pattern := range p.site.patterns {
		verb, where, found := strings.Cut(pattern, " ")
		if !found { // the API's own paths
			continue
		}
		where = strings.NewReplacer("{$}", "", "{shop}", "harrow", "{", "", "}", "").Replace(where)
		duty := least(t, pattern, func(who string) bool {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel() // the live page has no end
			r, err := http.NewRequestWithContext(ctx, verb, "http://"+p.HTTPAddr()+where, http.NoBody)
			if err != nil {
				t.Fatal(err)
			}
			if who != "" {
				r.AddCookie(&http.Cookie{Name: signin.CookieName(true), Value: p.tokens[who]})
			}
			resp, err := client.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			defer resp.Body.Close()
			if to := resp.Header.Get("Location"); who == "" && resp.StatusCode == http.StatusSeeOther && where != "/sign-out" {
				if !strings.HasPrefix(to, "/sign-in?") {
					t.Errorf("%s: nobody is sent to %q", pattern, to)
				}
				return false
			}
			return resp.StatusCode != http.StatusForbidden || strings.HasPrefix(verb, "POST") // a form that was not filled in
		})
		fmt.Fprintf(&seen, "%-10s %s\n", duty, pattern)
	}
	file := filepath.Join("..", "testdata", "roles.txt")
	if *update {
		if err := os.WriteFile(file, []byte(seen.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got := seen.String(); got != string(want) {
		t.Errorf("who may do what has changed; look at every line and run with -update:\n%s", diffLines(string(want), got))
	}
}

func diffLines(want, got string) string {
	var b strings.Builder
	in := func(all, line string) bool { return strings.Contains("\n"+all, "\n"+line) }
	for line := range strings.Lines(want) {
		if !in(got, line) {
			b.WriteString("- " + line)
		}
	}
	for line := range strings.Lines(got) {
		if !in(want, line) {
			b.WriteString("+ " + line)
		}
	}
	return b.String()
}

// A method or page that has no rule is not served: the server does not start.
func TestWhatHasNoRuleIsNotServed(t *testing.T) {
	r := &routes{mux: http.NewServeMux(), admission: &admission{}}
	r.HandleFunc("GET /shops/{shop}/new", func(http.ResponseWriter, *http.Request) {})
	if len(r.unruled) != 1 || len(r.patterns) != 0 {
		t.Errorf("served %v, refused %v", r.patterns, r.unruled)
	}
	_, err := New(Config{Store: memory.New(), GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", services: func(s grpc.ServiceRegistrar, d Deps) {
		RegisterServices(s, d)
		s.RegisterService(&grpc.ServiceDesc{ServiceName: "remelt.v1.NewService", HandlerType: (*any)(nil),
			Methods: []grpc.MethodDesc{{MethodName: "Do"}}}, struct{}{})
	}})
	if err == nil || !strings.Contains(err.Error(), "remelt.v1.NewService/Do") {
		t.Errorf("started: %v", err)
	}
}

// Everything of another shop is as if it were not there, for its manager too; and
// nothing of it is listed.
func TestShopsSeeOnlyTheirOwn(t *testing.T) {
	p := servePeople(t)
	tried := 0
	for _, r := range append(reads(), work()...) {
		m := methodOf(r)
		if m.Name() == "ListShops" || m.Name() == "CreateShop" { // see below
			continue
		}
		tried++
		err := p.invoke(p.as("south/mo"), m, r) // all of these are about harrow
		if reason, _ := reasonOf(t, err); reason != "NO_SUCH_SHOP" || status.Code(err) != codes.NotFound {
			t.Errorf("%s: %v", m.Name(), err)
		}
	}
	if tried < 100 {
		t.Errorf("only %d tried", tried)
	}
	for _, m := range []protoreflect.Name{"VerifyShop", "BackupShop", "WatchEntries"} {
		eachMethod(func(d protoreflect.MethodDescriptor) {
			if d.Name() == m {
				r := dynamicpb.NewMessage(d.Input())
				r.Set(d.Input().Fields().ByNumber(1), protoreflect.ValueOfString(harrow))
				if err := p.invoke(p.as("south/mo"), d, r); status.Code(err) != codes.NotFound {
					t.Errorf("%s: %v", m, err)
				}
			}
		})
	}
	got, err := pb.NewShopServiceClient(p.conn).ListShops(p.as("south/mo"), &pb.ListShopsRequest{})
	if err != nil || len(got.GetShops()) != 1 || got.GetShops()[0].GetName() != "shops/south" {
		t.Errorf("south's manager sees %v, %v", got, err)
	}
	p.refused("GET", "/v1/shops/harrow/stock", "", 404, "NO_SUCH_SHOP", "shop", p.bearer("south/rae")...)
	for _, id := range []string{"third", "harrow"} { // one is there; that is not told
		p.refused("POST", "/v1/shops", `{"shopId": "`+id+`", "shop": {"displayName": "Third"}}`, 400, "OPENED_AT_START", "shop", p.bearer("south/mo")...)
	}
	p.refused("POST", "/v1/shops", `{"shopId": "south", "shop": {"displayName": "Third"}}`, 409, "BOOK_ALREADY_OPEN", "shop", p.bearer("south/mo")...)
	pages := 0
	for route, least := range routeRules {
		method, path, _ := strings.Cut(route, " ")
		if least == anyone || !strings.HasPrefix(path, "/shops/{shop}") {
			continue
		}
		pages++
		path = regexp.MustCompile(`\{[a-z]+\}`).ReplaceAllString(strings.Replace(path, "{shop}", "harrow", 1), "1")
		if resp, body := p.do(method, path, "", p.bearer("south/mo")...); resp.StatusCode != http.StatusNotFound || strings.Contains(body, "Harrow Lane") {
			t.Errorf("%s: HTTP %d", path, resp.StatusCode)
		}
	}
	if pages < 20 {
		t.Errorf("only %d pages tried", pages)
	}
}

// Every entry says who, and it is whoever signed in.
func TestWhoIsNotForged(t *testing.T) {
	p := servePeople(t)
	_, said := p.do("POST", "/v1/shops/harrow/lots:weighIn",
		`{"alloy":"unknown","form":"FORM_RISER","weighing":{"net":{"text":"900 g"}},"who":"mo","device":"phone 3"}`,
		append(p.bearer("harrow/wim"), "X-Remelt-Who", "mo", "X-Forwarded-User", "mo")...)
	if !strings.Contains(said, `"who":"wim"`) || !strings.Contains(said, `"device":"test"`) || strings.Contains(said, `"who":"mo"`) {
		t.Errorf("recorded as %s", said)
	}
}

// Who weighs in takes back only what they recorded themselves.
func TestTakingBackOnesOwn(t *testing.T) {
	p := servePeople(t)
	weighed := func(who string) string {
		r, err := pb.NewLotServiceClient(p.conn).WeighIn(p.as(who), &pb.WeighInRequest{Parent: harrow, Alloy: unknown, Form: pb.Form_FORM_RISER, Weighing: &pb.Weighing{Net: g(900)}})
		if err != nil {
			t.Fatal(err)
		}
		return r.GetEntry().GetName()
	}
	reverse := func(who, entry string) error {
		_, err := pb.NewEntryServiceClient(p.conn).ReverseEntry(p.as(who), &pb.ReverseEntryRequest{Name: entry, Reason: "a slip"})
		return err
	}
	mine, theirs := weighed("harrow/wim"), weighed("harrow/ron")
	if reason, _ := reasonOf(t, reverse("harrow/wim", theirs)); reason != "NOT_YOURS" {
		t.Errorf("somebody else's: %s", reason)
	}
	if err := reverse("harrow/wim", mine); err != nil {
		t.Errorf("one's own: %v", err)
	}
	if err := reverse("harrow/ron", theirs); err != nil {
		t.Errorf("by who runs heats: %v", err)
	}
}

// A refusal has the same machine-readable reason over gRPC and REST.
func TestRefusalsOverGRPCAndREST(t *testing.T) {
	p := servePeople(t)
	people := pb.NewPersonServiceClient(p.conn)
	set := &pb.UpdatePersonRequest{AllowMissing: true, Person: &pb.Person{Name: jo, DisplayName: "Jo", Duty: pb.Duty_DUTY_MANAGE}}
	for name, c := range map[string]struct {
		who, reason, field string
		code               codes.Code
		http               int
	}{
		"nobody":  {"", "SIGN_IN_NEEDED", "", codes.Unauthenticated, 401},
		"too-low": {"harrow/ron", "NOT_ALLOWED", "duty", codes.PermissionDenied, 403},
	} {
		_, err := people.UpdatePerson(p.as(c.who), set)
		if reason, field := reasonOf(t, err); status.Code(err) != c.code || reason != c.reason || field != c.field {
			t.Errorf("%s: %v", name, err)
		}
		resp, body := p.do("PATCH", "/v1/"+jo, `{"person":{"displayName":"Jo"}}`, p.bearer(c.who)...)
		if resp.StatusCode != c.http {
			t.Errorf("%s: HTTP %d", name, resp.StatusCode)
		}
		golden(t, "refused-"+name, resp.StatusCode, body)
	}
	if _, err := people.UpdatePerson(p.as("harrow/mo"), set); err != nil {
		t.Errorf("the manager: %v", err)
	}
}

// What was good is good no longer, from the next call on.
func TestTheEndOfATokenAndOfAPerson(t *testing.T) {
	p := servePeople(t)
	people := pb.NewPersonServiceClient(p.conn)
	mo := p.as("harrow/mo")
	reads := func(who string) string {
		t.Helper()
		_, err := pb.NewStockServiceClient(p.conn).GetStock(p.as(who), &pb.GetStockRequest{Name: harrow + "/stock"})
		if err == nil {
			return ""
		}
		reason, _ := reasonOf(t, err)
		return reason
	}
	is := func(what, got, want string) {
		t.Helper()
		if got != want {
			t.Errorf("%s: %q, want %q", what, got, want)
		}
	}
	made := func(person string, duty pb.Duty) *pb.Token {
		t.Helper()
		r, err := people.CreateToken(mo, &pb.CreateTokenRequest{Parent: harrow + "/people/" + person, Token: &pb.Token{DisplayName: "sheet", Duty: duty}})
		if err != nil {
			t.Fatal(err)
		}
		p.tokens["harrow/"+person] = r.GetToken().GetSecret()
		return r.GetToken()
	}
	token := made("rae", pb.Duty_DUTY_READ)
	is("a new token", reads("harrow/rae"), "")
	if got, err := people.GetToken(mo, &pb.GetTokenRequest{Name: token.GetName()}); err != nil || got.GetToken().GetSecret() != "" {
		t.Errorf("read again: %v, %v", got, err)
	}
	if _, err := people.RevokeToken(mo, &pb.RevokeTokenRequest{Name: token.GetName()}); err != nil {
		t.Fatal(err)
	}
	is("revoked", reads("harrow/rae"), "TOKEN_REVOKED")
	made("rae", pb.Duty_DUTY_READ)
	disable := func(yes bool) {
		t.Helper()
		if _, err := people.UpdatePerson(mo, &pb.UpdatePersonRequest{UpdateMask: mask("disabled"), Person: &pb.Person{Name: harrow + "/people/rae", Disabled: yes}}); err != nil {
			t.Fatal(err)
		}
	}
	disable(true)
	is("disabled", reads("harrow/rae"), "PERSON_DISABLED")
	disable(false)
	is("let in again", reads("harrow/rae"), "")

	_, err := people.CreateToken(mo, &pb.CreateTokenRequest{Parent: harrow + "/people/rae", Token: &pb.Token{DisplayName: "x", Duty: pb.Duty_DUTY_MANAGE}})
	if reason, field := reasonOf(t, err); reason != "TOO_HIGH" || field != "token.duty" {
		t.Errorf("a token above its person: %v", err)
	}
	made("ron", pb.Duty_DUTY_RUN_HEATS)
	if _, err := people.UpdatePerson(mo, &pb.UpdatePersonRequest{UpdateMask: mask("duty"), Person: &pb.Person{Name: harrow + "/people/ron", Duty: pb.Duty_DUTY_READ}}); err != nil {
		t.Fatal(err)
	}
	_, err = pb.NewHeatServiceClient(p.conn).CreateHeat(p.as("harrow/ron"), &pb.CreateHeatRequest{Parent: harrow, Heat: &pb.Heat{Alloy: alloyID}})
	is("a token of somebody who may less by now", map[bool]string{true: "denied"}[status.Code(err) == codes.PermissionDenied], "denied")

	_, err = people.UpdatePerson(mo, &pb.UpdatePersonRequest{UpdateMask: mask("disabled"), Person: &pb.Person{Name: harrow + "/people/mo", Disabled: true}})
	if reason, _ := reasonOf(t, err); reason != "LAST_MANAGER" {
		t.Errorf("the last manager: %v", err)
	}
	p.late.Store(int64(91 * 24 * time.Hour))
	is("after its time", reads("harrow/rae"), "TOKEN_EXPIRED")
	is("of another", reads("south/rae"), "TOKEN_EXPIRED")
	p.tokens["harrow/rae"] = strings.Replace(p.tokens["harrow/rae"], "harrow", "south", 1)
	is("under another shop's name", reads("harrow/rae"), "BAD_CREDENTIAL")
}
