package server

import (
	"strings"
	"testing"

	pb "example.org/remelt/api/remelt/v1"
)

// TestVerifyAfter: what came after an entry is verified by itself, and what is said of
// that entry is held against the book, or refused.
func TestVerifyAfter(t *testing.T) {
	c := pb.NewShopServiceClient(done(t).conn)
	ask := func(after int64, hash string) (*pb.Verification, error) {
		s, err := c.VerifyShop(t.Context(), &pb.VerifyShopRequest{Name: harrow, AfterSequence: after, AfterHash: hash})
		if err != nil {
			return nil, err
		}
		for {
			if m, err := s.Recv(); err != nil || m.GetResult() != nil {
				return m.GetResult(), err
			}
		}
	}
	at, err := c.GetCheckpoint(t.Context(), &pb.GetCheckpointRequest{Name: harrow + "/checkpoint", Entries: 3})
	if err != nil {
		t.Fatal(err)
	}
	hash := at.GetCheckpoint().GetHeadHash()
	whole, err := ask(0, "")
	if err != nil || !whole.GetWhole() || whole.GetAfterSequence() != 0 {
		t.Fatal(whole, err)
	}
	if v, err := ask(3, hash); err != nil || !v.GetWhole() || v.GetAfterSequence() != 3 || v.GetEntries() != whole.GetEntries() || v.GetHeadHash() != whole.GetHeadHash() {
		t.Errorf("after entry 3: %v, %v; all: %v", v, err, whole)
	}
	if v, err := ask(4, hash); err != nil || v.GetWhole() || v.GetBadSequence() != 4 || v.GetEntries() != 0 {
		t.Errorf("another entry's hash: %v, %v", v, err)
	}
	if v, err := ask(1_000_000, hash); err != nil || v.GetWhole() || v.GetBadSequence() != 1_000_000 || v.GetEntries() != 0 || v.GetFault() != "is missing: the book ends before it" {
		t.Errorf("an entry that is not there: %v, %v", v, err)
	}
	for _, bad := range []struct {
		after        int64
		hash, reason string
	}{
		{3, "", "REQUIRED"}, {0, hash, "REQUIRED"}, {3, hash + "00", "BAD_HASH"}, {3, hash[1:], "BAD_HASH"},
		{3, strings.Repeat("x", 64), "BAD_HASH"},
	} {
		_, err := ask(bad.after, bad.hash)
		if reason, _ := reasonOf(t, err); reason != bad.reason {
			t.Errorf("after %d, hash %q: %s, want %s", bad.after, bad.hash, reason, bad.reason)
		}
	}
}
