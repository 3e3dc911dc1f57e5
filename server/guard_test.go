package server

import "testing"

// A page of another site must not write here through the browser of somebody at
// this machine. The headers are those a browser sends by the Fetch Metadata
// Request Headers draft of the W3C and RFC 6454.
func TestWritesFromAnotherSite(t *testing.T) {
	w := serve(t)
	for _, c := range []struct {
		method string
		header []string
		code   int
	}{
		{"POST", []string{"Sec-Fetch-Site", "cross-site", "Origin", "https://evil.example"}, 403},
		{"POST", []string{"Sec-Fetch-Site", "same-site"}, 403}, // another port of localhost is another program
		{"POST", []string{"Origin", "https://evil.example"}, 403},
		{"POST", []string{"Origin", "null"}, 403},
		{"PATCH", []string{"Origin", "https://evil.example"}, 403},
		{"POST", []string{"Sec-Fetch-Site", "same-origin"}, 400},
		{"POST", []string{"Sec-Fetch-Site", "none"}, 400},
		{"POST", []string{"Origin", "http://" + w.HTTPAddr()}, 400},
		{"POST", nil, 400}, // a program
	} {
		path := receive
		if c.method == "PATCH" {
			path = "/v1/shops/harrow/places/rack"
		}
		resp, body := w.do(c.method, path, `{"no such field": 1}`, c.header...)
		if resp.StatusCode != c.code {
			t.Errorf("%s %v: HTTP %d, want %d: %s", c.method, c.header, resp.StatusCode, c.code, body)
		}
		if c.code == 403 && infoOf(t, body).Reason != "CROSS_SITE" {
			t.Errorf("%s", body)
		}
		if resp.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Error("another site is allowed to read")
		}
	}
}

// DNS rebinding: a name of somebody else's that points at 127.0.0.1.
func TestHostsOfALoopbackServer(t *testing.T) {
	w := serve(t, func(c *Config) { c.Hosts = []string{"Foundry.lan"} })
	for host, code := range map[string]int{
		w.HTTPAddr():             200,
		"localhost":              200,
		"localhost:8080":         200,
		"LOCALHOST.":             200,
		"book.localhost":         200,
		"127.1.2.3:80":           200,
		"[::1]:8080":             200,
		"[::ffff:127.0.0.1]":     200,
		"foundry.lan":            200,
		"evil.example":           403,
		"evil.example:8080":      403,
		"127.0.0.1.evil.example": 403,
		"localhost.evil.example": 403,
		"notlocalhost":           403,
		"192.168.1.20":           403,
	} {
		resp, body := w.do("GET", "/healthz", "", "Host", host)
		if resp.StatusCode != code {
			t.Errorf("Host %s: HTTP %d, want %d", host, resp.StatusCode, code)
		}
		if code == 403 && infoOf(t, body).Reason != "HOST_NOT_ALLOWED" {
			t.Errorf("%s", body)
		}
	}
}

func TestHostsOfAnOpenServer(t *testing.T) {
	for _, c := range []struct {
		set   []string
		host  string
		allow bool
	}{
		{nil, "foundry.example", true},
		{[]string{"foundry.example"}, "foundry.example:80", true},
		{[]string{"foundry.example"}, "evil.example", false},
	} {
		g := newGuard(nil, nil, c.set, false, 1)
		if got := g.hostAllowed(c.host); got != c.allow {
			t.Errorf("set %v, Host %s: %t", c.set, c.host, got)
		}
	}
}

func TestSecurityHeaders(t *testing.T) {
	w := serve(t)
	for _, path := range []string{"/", "/v1/shops/harrow/lots", "/nothing"} {
		resp, _ := w.do("GET", path, "")
		for header, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "X-Frame-Options": "DENY",
			"Cross-Origin-Resource-Policy": "same-origin", "Cache-Control": "no-store",
			"Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
		} {
			if got := resp.Header.Get(header); got != want {
				t.Errorf("%s: %s is %q", path, header, got)
			}
		}
	}
}
