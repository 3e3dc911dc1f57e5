package server

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/server/authority"
	"example.org/remelt/server/signin"
)

// A browser: the password, the cookie, signing out, and what ends a session.
func TestSessions(t *testing.T) {
	p := servePeople(t)
	form := func(where string, cookie *http.Cookie, values url.Values) (*http.Response, *http.Cookie) {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), "POST", "http://"+p.HTTPAddr()+where, strings.NewReader(values.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Origin", "http://"+p.HTTPAddr())
		if cookie != nil {
			r.AddCookie(cookie)
		}
		client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		resp, err := client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = resp.Body.Close()
		for _, c := range resp.Cookies() {
			cookie = c
		}
		return resp, cookie
	}
	in := func(pass string) (*http.Response, *http.Cookie) {
		t.Helper()
		return form("/sign-in", nil, url.Values{"shop": {"harrow"}, "person": {"mo"}, "password": {pass}, "next": {"/shops/harrow/heats"}})
	}
	code := func(c *http.Cookie, where string) int {
		t.Helper()
		resp, _ := p.do("GET", where, "", "Cookie", c.Name+"="+c.Value)
		return resp.StatusCode
	}
	resp, c := in(password)
	if resp.StatusCode != http.StatusSeeOther || resp.Header.Get("Location") != "/shops/harrow/heats" {
		t.Fatalf("HTTP %d to %s", resp.StatusCode, resp.Header.Get("Location"))
	}
	if c.Name != "__Host-remelt" || !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" {
		t.Errorf("the cookie is %v", c)
	}
	if got := code(c, "/v1/shops/harrow/people"); got != http.StatusOK {
		t.Errorf("REST with the cookie: HTTP %d", got)
	}
	if out, err := form("/sign-in", nil, url.Values{"shop": {"harrow"}, "person": {"mo"}, "password": {password}, "next": {"//evil.example/"}}); out.Header.Get("Location") != "/" {
		t.Errorf("sent out to %s, %v", out.Header.Get("Location"), err)
	}
	if _, gone := form("/sign-out", c, nil); gone.MaxAge >= 0 || code(c, "/v1/shops/harrow/people") != http.StatusUnauthorized {
		t.Error("signed out, and still in")
	}
	_, c = in(password)
	p.late.Add(int64(signin.SessionTime))
	if got := code(c, "/v1/shops/harrow/people"); got != http.StatusUnauthorized {
		t.Errorf("after a day: HTTP %d", got)
	}

	_, c = in(password)
	door := signin.New(p.store, func() time.Time { return time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC) }, p.cfg.Log)
	p.late.Store(int64(25 * time.Hour))
	invited, err := door.Invite(t.Context(), "harrow", "mo")
	if err == nil {
		_, err = door.Join(t.Context(), "192.0.2.1", "harrow", invited.Code, "", "", "another eight bells")
	}
	if err != nil {
		t.Fatal(err)
	}
	if got := code(c, "/v1/shops/harrow/people"); got != http.StatusUnauthorized {
		t.Errorf("after a new password: HTTP %d", got)
	}
	if _, err := door.Invited(t.Context(), "192.0.2.1", "harrow", invited.Code); err == nil {
		t.Error("the link works twice")
	}

	for i := range 5 {
		if resp, _ := in("wrong"); resp.StatusCode != http.StatusForbidden {
			t.Errorf("wrong password %d: HTTP %d", i+1, resp.StatusCode)
		}
	}
	if resp, _ := in("another eight bells"); resp.StatusCode != http.StatusTooManyRequests || resp.Header.Get("Retry-After") == "" {
		t.Errorf("right away after five wrong ones: HTTP %d", resp.StatusCode)
	}
	p.late.Add(int64(time.Minute))
	if resp, _ := in("another eight bells"); resp.StatusCode != http.StatusSeeOther {
		t.Errorf("a minute later: HTTP %d", resp.StatusCode)
	}
	p.log.mu.Lock()
	defer p.log.mu.Unlock()
	for _, secret := range []string{password, "eight bells", c.Value, p.tokens["harrow/mo"], invited.Code} {
		if strings.Contains(p.log.buf.String(), secret) {
			t.Errorf("%q is in the log", secret)
		}
	}
	if !strings.Contains(p.log.buf.String(), "WRONG_PASSWORD") {
		t.Error("a refused sign-in is not in the log")
	}
}

// Nothing is left of a password but its hash, and nothing of either is in the book.
func TestNoSecretIsInTheBook(t *testing.T) {
	p := servePeople(t)
	all, err := p.store.AllSecrets(t.Context(), "harrow")
	if err != nil || len(all) < 5 {
		t.Fatalf("%d secrets, %v", len(all), err)
	}
	err = p.store.View(t.Context(), "harrow", func(r ledger.Reader) error {
		log, err := r.Log(0, 1000)
		for _, s := range log {
			for _, x := range all {
				if len(x.Hash) > 0 && strings.Contains(string(s.Bytes), string(x.Hash)) {
					t.Errorf("entry %d has the hash of %s %s", s.Seq, x.Kind, x.ID)
				}
			}
			if strings.Contains(string(s.Bytes), password) {
				t.Errorf("entry %d has the password", s.Seq)
			}
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	for _, x := range all {
		if x.Kind == ledger.SecretPassword && !strings.HasPrefix(string(x.Hash), "$argon2id$v=19$m=19456,t=2,p=1$") {
			t.Errorf("a password is kept as %s", x.Hash)
		}
	}
}

// On this machine, a shop to which nobody can sign in is open, one with people is
// not, and both may be on one server.
func TestOpenUntilThereArePeople(t *testing.T) {
	w := serve(t)
	w.do("POST", "/v1/shops", `{"shopId":"south","shop":{"displayName":"South"}}`)
	read := func(id string, want int, header ...string) {
		t.Helper()
		if resp, body := w.do("GET", "/v1/shops/"+id+"/stock", "", header...); resp.StatusCode != want {
			t.Errorf("%s: HTTP %d, want %d: %s", id, resp.StatusCode, want, body)
		}
	}
	read("harrow", 200)
	link, err := w.OwnerLink(t.Context(), "harrow")
	if err != nil {
		t.Fatal(err)
	}
	_, code, _ := strings.Cut(link, "#")
	read("harrow", 200) // the link alone changes nothing
	credential, err := w.admission.door.Join(t.Context(), "127.0.0.1", "harrow", code, "mo", "Mo Marsh", password)
	if err != nil {
		t.Fatal(err)
	}
	read("harrow", 401)
	read("south", 200)
	read("harrow", 200, "Authorization", "Bearer "+credential)
	read("south", 404, "Authorization", "Bearer "+credential)
	if _, body := w.do("GET", "/v1/shops", ""); strings.Contains(body, "harrow") || !strings.Contains(body, "south") {
		t.Errorf("nobody sees %s", body)
	}
	if link, err := w.OwnerLink(t.Context(), "harrow"); link != "" || err != nil {
		t.Errorf("another link: %q, %v", link, err)
	}
}

// Where everybody signs in, nobody opens a further shop without.
func TestNobodyOpensAShopWhereEverybodySignsIn(t *testing.T) {
	w := serve(t)
	link, err := w.OwnerLink(t.Context(), "harrow")
	if err != nil {
		t.Fatal(err)
	}
	_, code, _ := strings.Cut(link, "#")
	if _, err := w.admission.door.Join(t.Context(), "127.0.0.1", "harrow", code, "mo", "Mo Marsh", password); err != nil {
		t.Fatal(err)
	}
	if resp, body := w.do("POST", "/v1/shops", `{"shopId":"third","shop":{"displayName":"Third"}}`); resp.StatusCode != 401 || !strings.Contains(body, "SIGN_IN_NEEDED") {
		t.Errorf("HTTP %d: %s", resp.StatusCode, body)
	}
	if ids, err := w.cfg.Store.Shops(t.Context()); err != nil || len(ids) != 1 {
		t.Errorf("shops %v, %v", ids, err)
	}
}

// To be reached from beyond this machine a server needs TLS and people.
func TestBeyondThisMachine(t *testing.T) {
	refusal := func(change func(*Config)) string {
		t.Helper()
		store := memory.New()
		ledgertest.OpenIn(t, store)
		c := Config{Store: store, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0"}
		change(&c)
		s, err := New(c)
		if err == nil {
			ctx, cancel := context.WithCancel(t.Context())
			cancel()
			_ = s.Run(ctx)
			return ""
		}
		reason, _ := reasonOf(t, overTheWire(err))
		return reason
	}
	for _, c := range []struct {
		name, want string
		change     func(*Config)
	}{
		{"this machine", "", func(*Config) {}},
		{"HTTP beyond", "NO_TLS", func(c *Config) { c.HTTP = "0.0.0.0:0" }},
		{"gRPC beyond", "NO_TLS", func(c *Config) { c.GRPC = "0.0.0.0:0" }},
		{"a proxy without people", "NO_PEOPLE", func(c *Config) { c.BehindProxy = true }},
		{"a proxy without a shop", "NO_PEOPLE", func(c *Config) { c.BehindProxy, c.Store = true, memory.New() }},
	} {
		if got := refusal(c.change); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Behind a proxy links lead to where others see the pages, as far as that was said.
func TestLinksBehindAProxy(t *testing.T) {
	for _, c := range []struct {
		url   string
		hosts []string
		want  string
	}{
		{"https://book.foundry.local:8443/", []string{"foundry.local"}, "https://book.foundry.local:8443"},
		{"", []string{"foundry.local", "10.0.0.5"}, "https://foundry.local"},
		{"", nil, ""},
	} {
		p := servePeople(t, func(conf *Config) { conf.URL, conf.Hosts = c.url, c.hosts })
		want := c.want
		if want == "" {
			want = "http://" + p.HTTPAddr()
		}
		if got := p.URL(); got != want {
			t.Errorf("with %q and %q: %s, want %s", c.url, c.hosts, got, want)
		}
	}
}

// Calls by one person are bounded, and others are not held up by them.
func TestRateLimit(t *testing.T) {
	l := newLimits(0.5)
	l.now = func() time.Time { return time.Unix(100, 0) }
	for i := range 4 {
		err := l.take("person harrow/jo")
		if (err != nil) != (i == 3) {
			t.Errorf("call %d: %v", i+1, err)
		}
	}
	if err := l.take("person harrow/mo"); err != nil {
		t.Error(err)
	}
	l.now = func() time.Time { return time.Unix(102, 0) }
	if err := l.take("person harrow/jo"); err != nil {
		t.Errorf("later: %v", err)
	}
	p := servePeople(t, func(c *Config) { c.Rate = 0.01 }) // bursts of none
	p.refused("GET", "/v1/shops/harrow/stock", "", 429, "RATE_LIMITED", "", p.bearer("harrow/mo")...)
}

// Over TLS: REST, the pages and gRPC, each checking who the server is; the cookie is
// sent over TLS only, and the page offers the authority to phones.
func TestOverTLS(t *testing.T) {
	dir := t.TempDir()
	m, err := authority.Make(dir, []string{"127.0.0.1"}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	p := servePeople(t, func(c *Config) {
		c.BehindProxy, c.HTTP, c.GRPC = false, "0.0.0.0:0", "0.0.0.0:0"
		c.CertFile, c.KeyFile = filepath.Join(dir, authority.Server), filepath.Join(dir, authority.ServerKey)
	})
	roots := x509.NewCertPool()
	roots.AddCert(m.Authority)
	_, port, _ := net.SplitHostPort(p.HTTPAddr())
	at := "https://127.0.0.1:" + port
	https := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	get := func(c *http.Client, where string) (int, string) {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), "GET", at+where, http.NoBody)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", p.bearer("harrow/rae")[1])
		resp, err := c.Do(r)
		if err != nil {
			return 0, err.Error()
		}
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, string(body)
	}
	if code, body := get(https, "/v1/shops/harrow/stock"); code != http.StatusOK {
		t.Errorf("REST: %d %s", code, body)
	}
	if code, body := get(https, "/trust"); code != http.StatusOK || !strings.Contains(body, m.Fingerprint) {
		t.Errorf("the page: %d %s", code, body)
	}
	if code, body := get(https, "/trust/authority.crt"); code != http.StatusOK || body != string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: m.Authority.Raw})) {
		t.Errorf("the authority: %d %s", code, body)
	}
	if code, _ := get(http.DefaultClient, "/v1/shops/harrow/stock"); code != 0 {
		t.Error("believed by who does not know the authority")
	}
	form := url.Values{"shop": {"harrow"}, "person": {"mo"}, "password": {password}}
	resp, err := https.PostForm(at+"/sign-in", form)
	if err != nil {
		t.Fatal(err)
	}
	_ = resp.Body.Close()
	if all := resp.Cookies(); len(all) != 1 || all[0].Name != "__Host-remelt" || !all[0].Secure {
		t.Errorf("cookies %v", all)
	}

	_, port, _ = net.SplitHostPort(p.GRPCAddr())
	for _, c := range []struct {
		ca string
		ok bool
	}{{filepath.Join(dir, authority.CA), true}, {"system", false}} {
		cl, err := client.Dial(client.Config{Address: "127.0.0.1:" + port, CA: c.ca, Token: p.tokens["harrow/rae"], Tries: 1})
		if err != nil {
			t.Fatal(err)
		}
		_, err = cl.Stock.GetStock(t.Context(), &pb.GetStockRequest{Name: harrow + "/stock"})
		if (err == nil) != c.ok {
			t.Errorf("gRPC trusting %s: %v", c.ca, err)
		}
		_ = cl.Close()
	}
}
