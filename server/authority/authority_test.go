package authority

import (
	"crypto/x509"
	"errors"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"example.org/remelt/ledger"
)

var now = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// A certificate is good for its names and no others, and so is the authority: what
// it might be made to sign for another name is not believed.
func TestOnlyForItsNames(t *testing.T) {
	dir := t.TempDir()
	m, err := Make(dir, []string{"foundry.local", "192.168.1.20"}, now)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AddCert(m.Authority)
	believed := func(c *x509.Certificate, name string, at time.Time) bool {
		_, err := c.Verify(x509.VerifyOptions{DNSName: name, Roots: roots, CurrentTime: at})
		return err == nil
	}
	for name, want := range map[string]bool{"foundry.local": true, "192.168.1.20": true, "bank.example": false, "192.168.1.21": false} {
		if got := believed(m.Server, name, now); got != want {
			t.Errorf("%s: %v", name, got)
		}
	}
	if believed(m.Server, "foundry.local", now.Add(398*24*time.Hour)) {
		t.Error("good for more than 398 days")
	}
	again := Made{}
	key, err := again.load(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []*x509.Certificate{
		{DNSNames: []string{"bank.example"}}, {IPAddresses: []net.IP{net.IPv4(192, 0, 2, 1)}},
	} {
		c.NotBefore, c.NotAfter = now, now.Add(time.Hour)
		stolen, _, err := signed(c, m.Authority, key)
		if err != nil {
			t.Fatal(err)
		}
		name := "192.0.2.1"
		if len(c.DNSNames) > 0 {
			name = c.DNSNames[0]
		}
		if believed(stolen, name, now.Add(time.Minute)) {
			t.Errorf("the authority is believed for %s", name)
		}
	}
	for _, f := range []string{CAKey, ServerKey} {
		if info, err := os.Stat(filepath.Join(dir, f)); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", f, info.Mode(), err)
		}
	}
}

// The next certificate is by the same authority, so that phones go on trusting it;
// a name it was not made for is refused and leaves what is there.
func TestTheNextCertificate(t *testing.T) {
	dir := t.TempDir()
	first, err := Make(dir, []string{"foundry.local"}, now)
	if err != nil || !first.NewCA {
		t.Fatal(err)
	}
	next, err := Make(dir, []string{"foundry.local"}, now.Add(300*24*time.Hour))
	if err != nil || next.NewCA || next.Fingerprint != first.Fingerprint || next.Server.Equal(first.Server) {
		t.Errorf("%+v, %v", next, err)
	}
	before, err := os.ReadFile(filepath.Join(dir, Server))
	if err != nil {
		t.Fatal(err)
	}
	_, err = Make(dir, []string{"other.local"}, now)
	var e *ledger.Error
	if !errors.As(err, &e) || e.Reason != "NOT_FOR_THIS_NAME" || e.Value != "other.local" {
		t.Errorf("another name: %v", err)
	}
	if after, err := os.ReadFile(filepath.Join(dir, Server)); err != nil || string(after) != string(before) {
		t.Errorf("what was there is gone: %v", err)
	}
	for _, names := range [][]string{nil, {""}, {"https://foundry.local"}, {"*.local"}} {
		if _, err := Make(t.TempDir(), names, now); !errors.Is(err, ledger.ErrInvalid) {
			t.Errorf("%q: %v", names, err)
		}
	}
}

// OpenSSL, which is not this program, believes it too.
func TestOpenSSLBelievesIt(t *testing.T) {
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		if os.Getenv("REMELT_CI") == "1" {
			t.Fatal("no openssl on the path")
		}
		t.Skip("no openssl on the path: certificates were not checked by it")
	}
	dir := t.TempDir()
	if _, err := Make(dir, []string{"foundry.local"}, time.Now()); err != nil {
		t.Fatal(err)
	}
	check := func(name string) error {
		out, err := exec.CommandContext(t.Context(), openssl, "verify", "-x509_strict", "-verify_hostname", name,
			"-CAfile", filepath.Join(dir, CA), filepath.Join(dir, Server)).CombinedOutput()
		t.Logf("%s: %s", name, out)
		return err
	}
	if err := check("foundry.local"); err != nil {
		t.Error(err)
	}
	if check("bank.example") == nil {
		t.Error("believed for another name")
	}
}
