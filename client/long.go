package client

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	pb "example.org/remelt/api/remelt/v1"
)

// errCutShort: a stream ended before its result.
var errCutShort = errors.New("the server ended before it gave a result; ask again")

// Verify reads a shop's whole book on the server and gives what was found. A
// damaged book is a result, not an error. progress may be nil.
func (c *Client) Verify(ctx context.Context, shop string, progress func(*pb.Progress)) (*pb.Verification, error) {
	return c.verify(ctx, &pb.VerifyShopRequest{Name: shop}, progress)
}

// VerifyAfter verifies what was recorded after an entry, of which the number and the
// hash in hexadecimal are known, such as from a checkpoint; and that it is still there.
// What was before it is taken for right.
func (c *Client) VerifyAfter(ctx context.Context, shop string, after int64, hash string, progress func(*pb.Progress)) (*pb.Verification, error) {
	return c.verify(ctx, &pb.VerifyShopRequest{Name: shop, AfterSequence: after, AfterHash: hash}, progress)
}

func (c *Client) verify(ctx context.Context, r *pb.VerifyShopRequest, progress func(*pb.Progress)) (*pb.Verification, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel() // else the stream, and what the server holds for it, stays when the result was read or the caller gave up
	s, err := c.Shops.VerifyShop(ctx, r)
	if err != nil {
		return nil, err
	}
	for {
		m, err := s.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return nil, errCutShort
		case err != nil:
			return nil, err
		case m.GetResult() != nil:
			return m.GetResult(), nil
		case m.GetProgress() != nil && progress != nil:
			progress(m.GetProgress())
		}
	}
}

// Backup writes a copy of a shop's book to w and checks that all of it arrived
// as it was sent. On an error what was written to w is not a backup. progress
// may be nil.
func (c *Client) Backup(ctx context.Context, shop string, w io.Writer, progress func(*pb.Progress)) (*pb.BackupResult, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel() // else the stream, and what the server holds for it, stays when the result was read or the caller gave up
	s, err := c.Shops.BackupShop(ctx, &pb.BackupShopRequest{Name: shop})
	if err != nil {
		return nil, err
	}
	sum, size := sha256.New(), int64(0)
	for {
		m, err := s.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return nil, errCutShort
		case err != nil:
			return nil, err
		case m.GetProgress() != nil:
			if progress != nil {
				progress(m.GetProgress())
			}
		case m.GetResult() != nil:
			r := m.GetResult()
			if got := hex.EncodeToString(sum.Sum(nil)); got != r.GetSha256() || size != r.GetSizeBytes() {
				return nil, fmt.Errorf("the copy arrived damaged: %d bytes with SHA-256 %s, sent were %d with %s", size, got, r.GetSizeBytes(), r.GetSha256())
			}
			return r, nil
		default:
			n, err := w.Write(m.GetChunk())
			if err != nil {
				return nil, err
			}
			size += int64(n)
			sum.Write(m.GetChunk())
		}
	}
}

// Pages calls list with the token of each page, "" first, until there is none left.
func Pages(list func(token string) (next string, err error)) error {
	for token := ""; ; {
		next, err := list(token)
		if err != nil || next == "" {
			return err
		}
		token = next
	}
}
