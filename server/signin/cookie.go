package signin

import "net/http"

// CookieName is the cookie that holds the credential of a browser. Over TLS its
// name makes browsers take it from this host only, for every path, and never
// send it in the clear (RFC 6265bis, the __Host- prefix).
func CookieName(secure bool) string {
	if secure {
		return "__Host-remelt"
	}
	return "remelt"
}

// NewCookie holds a credential for as long as the server says it is good.
func NewCookie(secure bool, credential string, seconds int) *http.Cookie {
	return &http.Cookie{ //nolint:gosec // without TLS it is for this machine only
		Name: CookieName(secure), Value: credential, Path: "/", MaxAge: seconds,
		HttpOnly: true, Secure: secure, SameSite: http.SameSiteLaxMode}
}

// NoCookie takes it away.
func NoCookie(secure bool) *http.Cookie { return NewCookie(secure, "", -1) }
