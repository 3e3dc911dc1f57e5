package server

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"

	"example.org/remelt/ledger"
	"example.org/remelt/server/authority"
	"example.org/remelt/server/signin"
	"example.org/remelt/server/web"
)

// beyond reports whether others than this machine reach the server.
func (s *Server) beyond() bool {
	return s.cfg.BehindProxy || !isLoopback(s.onGRPC.Addr()) || !isLoopback(s.onHTTP.Addr())
}

// refuseOpen refuses to be reached from beyond this machine without a key to the
// door: TLS, and somebody who can sign in, for each shop.
func (s *Server) refuseOpen(ctx context.Context, door *signin.Door) error {
	if !s.beyond() {
		return nil
	}
	where := s.GRPCAddr() + " and " + s.HTTPAddr()
	if s.cfg.CertFile == "" && !s.cfg.BehindProxy {
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_TLS", Field: "address", Value: where,
			Want: "others can reach this address, and could read along: give a certificate (--tls-cert and --tls-key; remelt tls init makes one), " +
				"or say --behind-proxy when a proxy in front of it does TLS, or keep to 127.0.0.1"}
	}
	shops, err := s.cfg.Store.Shops(ctx)
	if err != nil {
		return err
	}
	var without []string
	for _, id := range shops {
		has, err := door.HasPeople(ctx, id)
		if err != nil {
			return err
		}
		if !has {
			without = append(without, id)
		}
	}
	if len(shops) > 0 && len(without) == 0 {
		return nil
	}
	which := "no shop is open yet"
	if len(without) > 0 {
		which = "nobody can sign in to " + strings.Join(without, ", ") + " yet"
	}
	return &ledger.Error{Class: ledger.ErrState, Reason: "NO_PEOPLE", Field: "address", Value: where,
		Want: "others can reach this address, and " + which + ": start it with --shop ID on 127.0.0.1 first, and open the link it prints"}
}

// keyPair gives the certificate of the files as they are: one that is renewed
// is taken up within a minute, without a restart, and one that cannot be read
// leaves the last in use.
type keyPair struct {
	certFile, keyFile string
	log               *slog.Logger

	mu    sync.Mutex
	known *tls.Certificate
	read  time.Time // when
	made  time.Time // of the file
}

func newKeyPair(certFile, keyFile string, log *slog.Logger) (*keyPair, error) {
	c := &keyPair{certFile: certFile, keyFile: keyFile, log: log}
	pair, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, fmt.Errorf("the certificate: %w", err)
	}
	c.known, c.read, c.made = &pair, time.Now(), modified(certFile)
	return c, nil
}

func modified(name string) time.Time {
	info, err := os.Stat(name)
	if err != nil {
		return time.Time{}
	}
	return info.ModTime()
}

func (c *keyPair) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.read) > time.Minute {
		c.read = time.Now()
		if made := modified(c.certFile); !made.Equal(c.made) {
			pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
			if err != nil {
				c.log.Error("the renewed certificate cannot be used", "error", err.Error())
			} else {
				c.known, c.made = &pair, made
			}
		}
	}
	return c.known, nil
}

// config is how TLS is spoken, for protocols by their names in ALPN.
func (c *keyPair) config(protocols ...string) *tls.Config {
	return &tls.Config{GetCertificate: c.get, MinVersion: tls.VersionTLS12, NextProtos: protocols}
}

// outsideTLS speaks TLS with whoever is outside and not over the connection inside
// the process.
type outsideTLS struct {
	credentials.TransportCredentials
}

// ServerHandshake implements credentials.TransportCredentials.
func (o outsideTLS) ServerHandshake(c net.Conn) (net.Conn, credentials.AuthInfo, error) {
	if c.LocalAddr().Network() == "bufconn" {
		return insecure.NewCredentials().ServerHandshake(c)
	}
	return o.TransportCredentials.ServerHandshake(c)
}

// Clone implements credentials.TransportCredentials.
func (o outsideTLS) Clone() credentials.TransportCredentials {
	return outsideTLS{o.TransportCredentials.Clone()}
}

// address is the host that a request came from. Only a proxy that was announced
// is believed, and of what it says only what it added itself.
func (s *Server) address(r *http.Request) string {
	if via := r.Header.Values("X-Forwarded-For"); s.cfg.BehindProxy && len(via) > 0 {
		all := strings.Split(via[len(via)-1], ",")
		return strings.TrimSpace(all[len(all)-1])
	}
	return hostOf(r.RemoteAddr)
}

// OwnerLink is a link with which the first person of a shop signs in, once; "" when
// somebody can already. A link that comes with an error was not kept, and does not work.
func (s *Server) OwnerLink(ctx context.Context, shop string) (string, error) {
	has, err := s.admission.door.HasPeople(ctx, shop)
	if err != nil || has {
		return "", err
	}
	c, err := s.admission.door.Invite(ctx, shop, "")
	return s.URL() + c.Path, err
}

// URL is the address of the pages, as far as the server knows it.
func (s *Server) URL() string {
	if s.cfg.URL != "" {
		return strings.TrimSuffix(s.cfg.URL, "/")
	}
	scheme, at := "http", s.HTTPAddr()
	if s.cfg.CertFile != "" {
		scheme = "https"
	}
	if s.cfg.BehindProxy && len(s.cfg.Hosts) > 0 { // the proxy's port, as nobody said another
		return "https://" + s.cfg.Hosts[0]
	}
	if host, port, err := net.SplitHostPort(at); err == nil && !isLoopback(s.onHTTP.Addr()) {
		name, err := os.Hostname()
		if len(s.cfg.Hosts) > 0 {
			name = s.cfg.Hosts[0]
		} else if ip := net.ParseIP(host); err != nil || ip == nil || !ip.IsUnspecified() {
			name = host
		}
		at = net.JoinHostPort(name, port)
	}
	return scheme + "://" + at
}

// checkTLS refuses half a certificate.
func (c *Config) checkTLS() error {
	if (c.CertFile == "") != (c.KeyFile == "") {
		return errors.New("server: a certificate needs its key, and a key its certificate")
	}
	return nil
}

// trust is what the page about trusting the server shows: the authority's
// certificate is the last of the file, if that signed itself.
func (s *Server) trust() web.Trust {
	t := web.Trust{URL: s.URL()}
	if s.cert == nil {
		return t
	}
	chain := s.cert.known.Certificate
	last, err := x509.ParseCertificate(chain[len(chain)-1])
	if err == nil && len(chain) > 1 && last.IsCA && last.CheckSignatureFrom(last) == nil {
		t.Authority = pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: last.Raw})
		t.Fingerprint = authority.Fingerprint(last)
	}
	return t
}
