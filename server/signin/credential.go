package signin

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"strings"
)

// credential is what somebody sends to be known.
type credential struct {
	shop   string
	token  string // the token's id; "" for a session
	secret string
}

const (
	mark    = "remelt"
	session = "session"
	token   = "token-"
)

func (c credential) String() string {
	what := session
	if c.token != "" {
		what = token + c.token
	}
	return strings.Join([]string{mark, c.shop, what, c.secret}, "~")
}

func parse(s string) (c credential, ok bool) {
	parts := strings.Split(s, "~")
	if len(s) > 300 || len(parts) != 4 || parts[0] != mark || parts[1] == "" || parts[3] == "" {
		return c, false
	}
	c.shop, c.secret = parts[1], parts[3]
	if parts[2] == session {
		return c, true
	}
	c.token, ok = strings.CutPrefix(parts[2], token)
	return c, ok && c.token != ""
}

// digest is what is kept of a secret that nobody can guess.
func digest(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}

func digestID(secret string) string { return hex.EncodeToString(digest(secret)) }

// letters of codes that people type: none that looks like another.
const letters = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"

// shortCode is 8 letters and figures, 40 bits: enough for ten minutes in which
// who tries waits.
func shortCode() string {
	var b [8]byte
	for i := range b {
		for {
			var r [1]byte
			rand.Read(r[:])
			if k := int(r[0]); k < 256/len(letters)*len(letters) { // each as likely
				b[i] = letters[k%len(letters)]
				break
			}
		}
	}
	return string(b[:4]) + "-" + string(b[4:])
}

// typedCode is a code as people type it, with or without dashes and capitals.
func typedCode(s string) string {
	return strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(s))
}
