// Package authority makes what TLS needs where nobody else vouches for a machine's
// name: a private authority of the shop's own, and certificates by it.
//
// The authority may vouch for the names it was made for and no others, so that who
// trusts it trusts it with nothing else. Its key is needed only to make the next
// certificate and may be kept elsewhere meanwhile. Keys are ECDSA P-256 and are
// readable by their owner alone.
package authority

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/remelt/ledger"
)

// Names of the files in a folder. Server has the authority's certificate after its
// own, so that the server can offer it to phones.
const (
	CA        = "authority.pem"
	CAKey     = "authority.key"
	Server    = "server.pem"
	ServerKey = "server.key"
)

// How long certificates are good: browsers take no more than 398 days of a public
// authority (CA/Browser Forum, ballot SC31, from memory), and some hold private
// ones to about as much.
const (
	caTime     = 10 * 365 * 24 * time.Hour
	serverTime = 397 * 24 * time.Hour
)

// Made says what was made.
type Made struct {
	Authority   *x509.Certificate
	Server      *x509.Certificate
	NewCA       bool
	Fingerprint string // of the authority, SHA-256
}

// Make makes a certificate for names (DNS names and IP addresses) in a folder, by
// the authority that is there, or by a new one when there is none.
func Make(dir string, names []string, now time.Time) (Made, error) {
	dns, ips, err := sorted(names)
	if err != nil {
		return Made{}, err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return Made{}, err
	}
	m := Made{}
	caKey, err := m.load(dir)
	if errors.Is(err, fs.ErrNotExist) {
		m.NewCA = true
		caKey, err = m.newCA(dir, dns, ips, now)
	}
	if err != nil {
		return m, err
	}
	m.Fingerprint = Fingerprint(m.Authority)
	template := &x509.Certificate{
		Subject: pkix.Name{CommonName: names[0]}, DNSNames: dns, IPAddresses: ips,
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(serverTime),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	if template.NotAfter.After(m.Authority.NotAfter) {
		template.NotAfter = m.Authority.NotAfter
	}
	var key *ecdsa.PrivateKey
	if m.Server, key, err = signed(template, m.Authority, caKey); err != nil {
		return m, err
	}
	if err := m.check(names, now); err != nil {
		return m, err
	}
	if err := writeKey(filepath.Join(dir, ServerKey), key); err != nil {
		return m, err
	}
	return m, writeCerts(filepath.Join(dir, Server), m.Server, m.Authority)
}

// check holds the certificate against each name as a browser would.
func (m *Made) check(names []string, now time.Time) error {
	roots := x509.NewCertPool()
	roots.AddCert(m.Authority)
	for _, n := range names {
		if _, err := m.Server.Verify(x509.VerifyOptions{DNSName: n, Roots: roots, CurrentTime: now}); err != nil {
			return &ledger.Error{Class: ledger.ErrInvalid, Reason: "NOT_FOR_THIS_NAME", Field: "name", Value: n,
				Want: "must be a name that the authority here was made for; make another in another folder", Cause: err}
		}
	}
	return nil
}

func sorted(names []string) (dns []string, ips []net.IP, err error) {
	for _, n := range names {
		if ip := net.ParseIP(n); ip != nil {
			ips = append(ips, ip)
		} else if n == "" || len(n) > 253 || strings.ContainsAny(n, "/:@* \t") {
			return nil, nil, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_HOST", Field: "name", Value: n, Want: "must be a host name such as foundry.local, or an IP address"}
		} else {
			dns = append(dns, strings.ToLower(n))
		}
	}
	if len(names) == 0 {
		return nil, nil, &ledger.Error{Class: ledger.ErrInvalid, Reason: "REQUIRED", Field: "name", Want: "must be at least one host name or IP address"}
	}
	return dns, ips, nil
}

func (m *Made) newCA(dir string, dns []string, ips []net.IP, now time.Time) (crypto.Signer, error) {
	host, err := os.Hostname()
	if err != nil {
		host = "this machine"
	}
	template := &x509.Certificate{
		Subject:   pkix.Name{CommonName: "Metal book of " + host},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(caTime),
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign, BasicConstraintsValid: true, IsCA: true, MaxPathLenZero: true,
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: dns,
	}
	for _, ip := range ips {
		bits := 8 * len(ip.To16())
		if v4 := ip.To4(); v4 != nil {
			ip, bits = v4, 32
		}
		template.PermittedIPRanges = append(template.PermittedIPRanges, &net.IPNet{IP: ip, Mask: net.CIDRMask(bits, bits)})
	}
	if len(dns) == 0 { // a list that is empty permits every name
		template.ExcludedDNSDomains = []string{""}
	}
	if len(ips) == 0 {
		for _, all := range []string{"0.0.0.0/0", "::/0"} {
			_, every, _ := net.ParseCIDR(all)
			template.ExcludedIPRanges = append(template.ExcludedIPRanges, every)
		}
	}
	var key *ecdsa.PrivateKey
	if m.Authority, key, err = signed(template, nil, nil); err != nil {
		return nil, err
	}
	if err := writeKey(filepath.Join(dir, CAKey), key); err != nil {
		return nil, err
	}
	return key, writeCerts(filepath.Join(dir, CA), m.Authority)
}

// signed makes a key and a certificate of it, by itself when by is nil.
func signed(template, by *x509.Certificate, byKey crypto.Signer) (*x509.Certificate, *ecdsa.PrivateKey, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, err
	}
	if template.SerialNumber, err = rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127)); err != nil {
		return nil, nil, err
	}
	if by == nil {
		by, byKey = template, key
	}
	der, err := x509.CreateCertificate(rand.Reader, template, by, key.Public(), byKey)
	if err != nil {
		return nil, nil, err
	}
	cert, err := x509.ParseCertificate(der)
	return cert, key, err
}

// load reads the authority of a folder.
func (m *Made) load(dir string) (crypto.Signer, error) {
	text, err := os.ReadFile(filepath.Join(dir, CA))
	if err != nil {
		return nil, err
	}
	bad := func(name string) error {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_AUTHORITY", Field: "dir", Value: filepath.Join(dir, name), Want: "cannot be read as PEM; make another in another folder"}
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, bad(CA)
	}
	if m.Authority, err = x509.ParseCertificate(block.Bytes); err != nil {
		return nil, bad(CA)
	}
	if text, err = os.ReadFile(filepath.Join(dir, CAKey)); err != nil {
		return nil, fmt.Errorf("the authority's key is not in %s: %v", dir, err) //nolint:errorlint // not "there is no authority"
	}
	if block, _ = pem.Decode(text); block == nil {
		return nil, bad(CAKey)
	}
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	signer, ok := key.(crypto.Signer)
	if err != nil || !ok {
		return nil, bad(CAKey)
	}
	return signer, nil
}

func writeKey(name string, key *ecdsa.PrivateKey) error {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	return replace(name, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600)
}

func writeCerts(name string, certs ...*x509.Certificate) error {
	var b bytes.Buffer
	for _, c := range certs {
		b.Write(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: c.Raw}))
	}
	return replace(name, b.Bytes(), 0o644)
}

// replace writes a file whole or not at all: a server may be reading it.
func replace(name string, text []byte, mode fs.FileMode) error {
	tmp := name + ".new"
	if err := os.WriteFile(tmp, text, mode); err != nil {
		return err
	}
	return os.Rename(tmp, name)
}

// Fingerprint is the SHA-256 of a certificate as phones and browsers show it.
func Fingerprint(c *x509.Certificate) string {
	sum := sha256.Sum256(c.Raw)
	parts := make([]string, len(sum))
	for i, b := range sum {
		parts[i] = fmt.Sprintf("%02X", b)
	}
	return strings.Join(parts, ":")
}
