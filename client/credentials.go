package client

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"

	"example.org/remelt/ledger"
)

// credentials are the options of a connection that say who this is and check who
// the server is.
func (c Config) credentials() ([]grpc.DialOption, error) {
	transport := insecure.NewCredentials()
	if c.CA != "" {
		trusted, err := pool(c.CA)
		if err != nil {
			return nil, err
		}
		transport = credentials.NewTLS(&tls.Config{RootCAs: trusted, MinVersion: tls.VersionTLS12})
	}
	options := []grpc.DialOption{grpc.WithTransportCredentials(transport)}
	if c.Token == "" {
		return options, nil
	}
	if c.CA == "" && !onThisMachine(c.Address) {
		return nil, &ledger.Error{Class: ledger.ErrInvalid, Reason: "TOKEN_IN_THE_CLEAR", Field: "address", Value: c.Address,
			Want: "a token is not sent to another machine without TLS; say whom to trust with a CA"}
	}
	return append(options, grpc.WithPerRPCCredentials(bearer(c.Token))), nil
}

// pool reads whom to trust; nil is the system's.
func pool(ca string) (*x509.CertPool, error) {
	if ca == "system" {
		return nil, nil //nolint:nilnil // what crypto/tls takes for the system's
	}
	text, err := os.ReadFile(ca)
	if err != nil {
		return nil, fmt.Errorf("whom to trust: %w", err)
	}
	p := x509.NewCertPool()
	if !p.AppendCertsFromPEM(text) {
		return nil, &ledger.Error{Class: ledger.ErrInvalid, Reason: "NO_CERTIFICATE", Field: "ca", Value: ca, Want: "must hold certificates in PEM"}
	}
	return p, nil
}

func onThisMachine(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil || host == "localhost" {
		return err == nil
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// bearer sends a token with every call.
type bearer string

// GetRequestMetadata implements credentials.PerRPCCredentials.
func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}

// RequireTransportSecurity implements credentials.PerRPCCredentials: Config has
// seen to it.
func (bearer) RequireTransportSecurity() bool { return false }
